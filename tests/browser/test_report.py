"""The report in a browser: it opens from a file, shows every picture, and asks for nothing."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from studies import cli

pytestmark = pytest.mark.browser

EXAMPLES = Path(__file__).parents[2] / "studies" / "examples"


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("report")
    text = (EXAMPLES / "reading_room.toml").read_text(encoding="utf-8")
    design = folder / "room.toml"
    text = text.replace('band = ["100 Hz", "16 kHz"]', "band = [630, 800]")
    text = text.replace('design = "reading_room_cone.toml"', 'reflector = { kind = "none" }')
    design.write_text(text, encoding="utf-8")
    out = folder / "out"
    ran = CliRunner().invoke(
        cli.main, ["spread", str(design), "--per-band", "4", "--out", str(out)]
    )
    assert ran.exit_code == 0, ran.output
    return out / "spread.html"


def test_report_opens_without_an_error(
    browser: Any, page: Path, keep_screenshot: Callable[[str], Path]
) -> None:
    browser.get_log("browser")
    browser.get(page.as_uri())
    assert [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []
    fetched = browser.execute_script("return performance.getEntriesByType('resource').length")
    assert fetched == 0
    assert keep_screenshot("report").stat().st_size > 20_000


def test_every_picture_has_its_place(browser: Any, page: Path) -> None:
    browser.get(page.as_uri())
    sizes = browser.execute_script(
        "return [...document.querySelectorAll('figure svg')].map(s => {"
        " const b = s.getBoundingClientRect(), c = s.parentElement.getBoundingClientRect();"
        " return [b.width, b.height, b.right - c.right]; })"
    )
    assert len(sizes) == 7
    for width, height, beyond in sizes:
        assert width > 800
        assert height > 200
        assert beyond <= 1


def test_nothing_runs_out_of_the_page_sideways(browser: Any, page: Path) -> None:
    browser.get(page.as_uri())
    wide, seen = browser.execute_script(
        "return [document.documentElement.scrollWidth, document.documentElement.clientWidth]"
    )
    assert wide <= seen
