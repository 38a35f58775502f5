"""A headless Chromium for tests of pages; where there is none they are skipped."""

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

OPTIONS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--window-size=1366,768",
)


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[object]:
    """Selenium driver of a fresh Chromium, 1366 x 768, that keeps its console's messages."""
    webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
    chromium, server = shutil.which("chromium"), shutil.which("chromedriver")
    if chromium is None or server is None:
        pytest.skip("no browser here: install Debian's chromium and chromium-driver")
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    for option in (*OPTIONS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(option)
    driver = webdriver.Chrome(options, webdriver.ChromeService(server))
    yield driver
    driver.quit()


@pytest.fixture
def keep_screenshot(browser: object, tmp_path: Path) -> Callable[[str], Path]:
    """Save what the browser shows as a PNG, outside the repository; return its path."""

    def keep(name: str) -> Path:
        folder = Path(os.environ.get("ROUNDCAST_SCREENSHOTS", tmp_path))
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / f"{name}.png"
        browser.save_screenshot(str(path))
        return path

    return keep
