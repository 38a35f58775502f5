"""The bench in a browser: from three sizes to the printed sheets, and all that may go wrong."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from math import comb
from pathlib import Path
from typing import Any

import pytest
from small import small_design

pytestmark = pytest.mark.browser

ROOT = Path(__file__).parents[2]
PATIENCE_S = 120.0
ENTER, CONTROL, NO_MORE_CONTROL = "\ue007", "\ue009", "\ue000"
CONTEST = '[[contest]]\nname = "cone"\ndesign = "reading_room_cone.toml"\n\n'
SMALL = small_design((CONTEST, "")).text
SERIOUS = ("serious", "critical")


class Running:
    """A bench in a folder of its own, as the command starts it."""

    def __init__(self, folder: Path, *design: str) -> None:
        self.folder, self.design = folder, design
        self.start()

    def start(self) -> None:
        command = [sys.executable, "-m", "studies.cli", "bench", *self.design, "--no-open"]
        command += ["--ledger", str(self.folder / "ledger.sqlite")]
        environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
        self.process = subprocess.Popen(
            command, cwd=self.folder, env=environment, stdout=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:\d+/\?token=\S+", line)
        assert found, line
        self.address = found[0]

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()


@pytest.fixture
def begun(tmp_path: Path) -> Iterator[Callable[..., Running]]:
    running: list[Running] = []

    def begin(text: str | None = None) -> Running:
        if text is not None:
            (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
        running.append(Running(tmp_path, *(() if text is None else ("mine.toml",))))
        return running[-1]

    yield begin
    for one in running:
        one.kill()


def opened(browser: Any, bench: Running) -> Any:
    browser.get_log("browser")
    browser.get(bench.address)
    until(lambda: browser.find_elements("css selector", "main h2"))
    return browser


def until(done: Callable[[], Any]) -> Any:
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        if found := done():
            return found
        time.sleep(0.1)
    pytest.fail("waited too long")


NAMED = """
const found = [...document.querySelectorAll("button")].find((one) =>
  one.innerText.trim() === arguments[0] && !one.disabled);
if (!found || !arguments[1]) return found;
found.click();  // which may take it away
return true;
"""


def button(browser: Any, words: str) -> Any:
    return until(lambda: browser.execute_script(NAMED, words, False))


def press(browser: Any, words: str) -> None:
    until(lambda: browser.execute_script(NAMED, words, True))


def type_into(browser: Any, name: str, value: str) -> None:
    """Replace what a field holds, as its owner would."""
    field = browser.find_element("id", name)
    browser.execute_script(
        """
        for (let at = arguments[0]; at; at = at.parentElement) {
          if (at.tagName === "DETAILS") at.open = true;
        }
        arguments[0].scrollIntoView({block: "center"});
        arguments[0].focus();
        """,
        field,
    )
    field.send_keys(f"{CONTROL}a{NO_MORE_CONTROL}{value}")


def opened_group(browser: Any, name: str) -> None:
    """Open a group of the form by its name, and all that stands in it."""
    for one in browser.find_elements("css selector", "summary .name"):
        if one.text.startswith(name):
            browser.execute_script("arguments[0].closest('details').open = true", one)
    until(lambda: browser.find_elements("css selector", f"[id^='field-{name}']"))


def settled(browser: Any) -> str:
    """Version of the answer on screen, once it will not get finer."""
    found = ".answer[data-settled=yes]"
    until(lambda: browser.find_elements("css selector", found))
    return browser.find_element("css selector", found).get_attribute("data-version")


def state(browser: Any) -> dict[str, Any]:
    browser.set_script_timeout(PATIENCE_S)
    return browser.execute_async_script(
        "fetch('state').then((answer) => answer.json()).then(arguments[0])"
    )


def fetched(browser: Any, address: str) -> tuple[str, int]:
    """First letters and length of what a link leads to."""
    return tuple(
        browser.execute_async_script(
            """
            fetch(arguments[0]).then((answer) => answer.arrayBuffer()).then((bytes) =>
              arguments[1]([String.fromCharCode(...new Uint8Array(bytes.slice(0, 5))),
                            bytes.byteLength]));
            """,
            address,
        )
    )


def finished(browser: Any, name: str) -> Any:
    """The question's answer; what went wrong if there is none."""
    over = f"article[aria-label='{name}, done'], article[aria-label='{name}, failed']"
    answer = until(lambda: browser.find_elements("css selector", over))[0]
    assert answer.get_attribute("aria-label") == f"{name}, done", answer.text
    return answer


def narrow(browser: Any) -> None:
    """Few frequencies, heights and gaps, so that a test is over soon."""
    press(browser, "Text of the file")
    area = until(lambda: browser.find_elements("id", "text"))[0]
    text = area.get_attribute("value")
    text = text.replace('band = ["100 Hz", "16 kHz"]', "band = [500, 800]")
    text = re.sub(r"keep = \{ from = ([^,]+), to = ([^,]+),[^}]+\}", r"keep = [\1, \2]", text)
    text = re.sub(r'(\[gap\][^[]*step = )("[^"]+"|\S+)', r'\1"30 mm"', text)
    browser.execute_script(
        "arguments[0].value = arguments[1];"
        "arguments[0].dispatchEvent(new Event('input', {bubbles: true}))",
        area,
        text,
    )
    press(browser, "Take this text")


def complaints(browser: Any) -> list[str]:
    return [line["message"] for line in browser.get_log("browser") if line["level"] == "SEVERE"]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("unit", "sizes", "words"),
    [
        ("inches", ("7", "7 inch", "3 1/2"), "3 1/2 in"),
        ("millimetres", ("130", "180 mm", "60"), "60.0 mm"),
    ],
)
def test_a_newcomer_gets_from_three_sizes_to_the_sheets(
    browser: Any, begun: Any, unit: str, sizes: tuple[str, ...], words: str, keep_screenshot: Any
) -> None:
    page = opened(browser, begun())
    for name, size in zip(("driver", "ball", "gap"), sizes, strict=True):
        type_into(page, f"begin-{name}", size)
    page.find_element("id", "begin-unit").send_keys(unit)
    press(page, "Draft a design")
    until(lambda: page.find_elements("css selector", "svg.section"))
    assert words in page.find_element("css selector", ".middle").text
    assert page.find_elements("css selector", ".mark.guess")
    narrow(page)
    settled(page)
    keep_screenshot(f"bench-{unit}")
    press(page, "Save")
    until(lambda: state(page)["desk"]["saved"])
    press(page, "trim")
    press(page, "Ask trim")
    answer = finished(page, "trim")
    assert "the ball" in answer.text or "the plate" in answer.text
    assert "listen.html" in answer.text
    press(page, "Put it into the design")
    until(lambda: state(page)["desk"]["undo"] and not state(page)["desk"]["saved"])
    assert state(page)["desk"]["mistakes"] == []
    press(page, "Save")
    until(lambda: state(page)["desk"]["saved"])
    press(page, "Show the report")
    frame = until(lambda: page.find_elements("tag name", "iframe"))[0]
    page.switch_to.frame(frame)
    until(lambda: page.find_elements("tag name", "h2"))
    page.switch_to.default_content()
    press(page, "cut")
    press(page, "Ask cut")
    sheets = finished(page, "cut").find_elements("partial link text", ".pdf")
    assert len(sheets) == 2
    for sheet in sheets:
        start, length = fetched(page, sheet.get_attribute("href"))
        assert start == "%PDF-" and length > 10_000
    archive = finished(page, "cut").find_element("link text", "All files (zip)")
    assert fetched(page, archive.get_attribute("href"))[0][:2] == "PK"
    assert complaints(page) == []


CURVE = "".join(f"{frequency} {70 - 0.01 * frequency:.2f}\n" for frequency in range(400, 1000, 6))
INDEX = '[[measurement]]\nfile = "sofa.txt"\nname = "sofa"\ndistance = "2 m"\nheight = "1.15 m"\n'
DROPPED = """
const data = new DataTransfer();
for (const [name, text] of Object.entries(arguments[1])) data.items.add(new File([text], name));
const how = {dataTransfer: data, bubbles: true, cancelable: true};
arguments[0].dispatchEvent(new DragEvent("drop", how));
"""


@pytest.mark.slow
def test_measurements_are_dropped_on_the_page(browser: Any, begun: Any) -> None:
    bench = begun(SMALL)
    page = opened(browser, bench)
    press(page, "overlay")
    place = until(lambda: page.find_elements("css selector", ".drop"))[0]
    page.execute_script(DROPPED, place, {"sofa.txt": CURVE, "index.toml": INDEX, "a.exe": "MZ"})
    until(lambda: "must end in .csv" in place.text)
    until(lambda: place.find_elements("css selector", "input:checked"))
    (ticked,) = place.find_elements("css selector", "input:checked")
    assert (
        page.execute_script("return arguments[0].parentElement.innerText.trim()", ticked)
        == "index.toml"
    )
    press(page, "Ask overlay")
    answer = finished(page, "overlay")
    assert "overlay.html" in page.execute_script("return arguments[0].textContent", answer)
    assert (bench.folder / "sofa.txt").read_text() == CURVE
    assert not (bench.folder / "a.exe").exists()
    complained = complaints(page)
    assert all("422" in line for line in complained)  # the browser notes what was refused


WRONG = {
    "plate_gap": ("60 km", "unknown unit 'km'"),
    "reflector.keep": ("-3", "-3 mm is negative"),
    "driver.effective_diameter": ("150", "larger than frame_diameter"),
    "driver.frame_diameter": ("\ue017", "is missing: add it"),
    "driver.cone_depth": ("much", "cannot read 'much' as a length"),
    "plate.thickness": ("[1, 2", "cannot be read"),
    "posts.count": ("2.5", "must be a whole number"),
    "seats[1].distance": ("50", "did you mean 50 cm?"),
    "target.leak_limit": ("7", "must be at most 1"),
    "target.band": ("[1, 2000]", "choose a frequency people hear"),
    "contest[1].name": ("\ue017", "is missing: add it"),
}
"""What is typed, and what the command says of it."""


ROW = "return arguments[0].closest('.field').innerText"


def put_back(page: Any, text: str) -> bool:
    """Whether the file is whole again: a key that was typed may still be on its way."""
    page.execute_async_script(
        """
        const body = JSON.stringify({text: arguments[0]});
        fetch("do/text", {method: "POST", body}).then(() => arguments[1]());
        """,
        text,
    )
    return state(page)["desk"]["mistakes"] == []


def marked(page: Any) -> set[str]:
    """Fields at which a mistake stands."""
    every = "return [...document.querySelectorAll('[aria-invalid=true]')].map((one) => one.id)"
    return set(page.execute_script(every))


def test_every_kind_of_mistake_stands_at_its_field(browser: Any, begun: Any) -> None:
    page = opened(browser, begun(SMALL))
    until(lambda: page.find_elements("id", "field-plate_gap"))
    for group in ("plate", "posts", "seats", "target", "contest"):
        opened_group(page, group)
    until(lambda: page.find_elements("id", "field-contest[1].name"))
    for key, (typed, words) in WRONG.items():
        before = state(page)["desk"]["text"]
        already = marked(page)
        type_into(page, f"field-{key}", typed)
        field = page.find_element("id", f"field-{key}")
        until(lambda one=field: one.get_attribute("aria-invalid") == "true")
        until(lambda one=field, said=words: said in page.execute_script(ROW, one))
        assert marked(page) - already == {f"field-{key}"}
        until(lambda text=before: put_back(page, text))


@pytest.mark.slow
def test_twenty_changes_in_a_row_leave_no_stale_curve(browser: Any, begun: Any) -> None:
    page = opened(browser, begun(SMALL))
    settled(page)
    for keep in range(20, 40):
        type_into(page, "field-reflector.keep", str(keep))
    until(lambda: "keep = 39 " in state(page)["desk"]["text"])
    until(lambda: state(page)["live"]["version"] == state(page)["desk"]["version"])
    now = state(page)
    until(lambda: settled(page) == str(now["desk"]["version"]))
    shown = page.execute_script("return document.querySelector('.chart').data.at(-1).y")
    now = state(page)
    assert shown == now["live"]["curves"][0] and now["live"]["last"]
    before = len(now["desk"]["text"])
    press(page, "Undo")
    until(lambda: state(page)["desk"]["redo"])
    press(page, "Redo")
    until(lambda: len(state(page)["desk"]["text"]) == before)
    assert complaints(page) == []


@pytest.mark.slow
def test_a_blind_test_by_keyboard(browser: Any, begun: Any, keep_screenshot: Any) -> None:
    page = opened(browser, begun(SMALL))
    settled(page)
    press(page, "Pin this design")
    button(page, "Unpin")
    type_into(page, "field-reflector.keep", "20")
    until(lambda: "keep = 20 " in state(page)["desk"]["text"])
    settled(page)
    press(page, "Filters that help")
    press(page, "Hear it")
    begin = button(page, "Begin a blind test")
    press(page, "the pinned design")
    said = ".listening > [role=status]"
    until(lambda: "no room" in page.find_element("css selector", said).text)
    for box in page.find_elements("css selector", ".listening .tick input"):
        page.execute_script("arguments[0].click()", box)
    until(lambda: "bounces off floor, ceiling" in page.find_element("css selector", said).text)
    assert "high shelf" in page.find_element("css selector", ".listening table").text
    page.execute_script("arguments[0].focus()", begin)
    begin.send_keys(ENTER)
    place = "fieldset [role=status]"
    for number in range(1, 11):
        until(lambda n=number: f"Round {n} of 10" in page.find_element("css selector", place).text)
        for key in ("a", "b", "x", "1" if number % 2 else "2"):
            page.switch_to.active_element.send_keys(key)
    told = until(lambda: re.match(r"(\d+) of 10 right; .* in (less than )?([\d.]+) per cent",
                                  page.find_element("css selector", place).text))  # fmt: skip
    right = int(told[1])
    chance = 100 * sum(comb(10, k) for k in range(right, 11)) / 2**10
    assert told[2] or float(told[3]) == pytest.approx(chance, abs=0.051)
    keep_screenshot("bench-blind-test")
    assert complaints(page) == []


@pytest.mark.slow
def test_closed_and_reopened_killed_and_restarted(browser: Any, begun: Any) -> None:
    longer = SMALL.replace("band = [500, 800]", "band = [500, 8000]")
    bench = begun(longer)
    page = opened(browser, bench)
    settled(page)
    press(page, "trim")
    press(page, "Ask trim")
    until(lambda: page.find_elements("css selector", "article progress"))
    page.get("about:blank")
    page = opened(browser, bench)
    assert until(lambda: page.find_elements("css selector", "article[aria-label^='trim']"))
    bench.kill()
    until(lambda: page.find_elements("css selector", ".away"))
    bench.start()
    page = opened(browser, bench)
    found = state(page)
    if found["unfinished"]:
        press(page, "Go on: trim of mine.toml")
    finished(page, "trim")
    assert state(page)["unfinished"] == []
    assert json.loads((bench.folder / "mine-trim" / "trim.json").read_text())["command"] == "trim"


@pytest.mark.parametrize(("width", "height"), [(1366, 768), (390, 844)])
def test_it_fits_the_screen_and_is_accessible(
    browser: Any, begun: Any, width: int, height: int, keep_screenshot: Any
) -> None:
    page = browser
    page.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 500},
    )
    try:
        bench = begun(SMALL)
        opened(page, bench)
        settled(page)
        press(page, "meter")
        button(page, "Ask meter")
        press(page, "Hear it")
        button(page, "Begin a blind test")
        keep_screenshot(f"bench-{width}")
        wide = page.execute_script("return document.documentElement.scrollWidth")
        assert wide <= width
        assert faults(page) == []
        assert complaints(page) == []
    finally:
        page.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def faults(page: Any) -> list[str]:
    """Serious accessibility faults as axe-core finds them; none where it is not installed."""
    script = Path(os.environ.get("ROUNDCAST_NPM", "node_modules")) / "axe-core" / "axe.min.js"
    if not script.exists():
        return []
    page.set_script_timeout(PATIENCE_S)
    page.execute_script(script.read_text(encoding="utf-8"))
    found = page.execute_async_script("axe.run().then(arguments[0])")
    return [
        f"{one['id']}: {[node['target'] for node in one['nodes']][:5]}"
        for one in found["violations"]
        if one["impact"] in SERIOUS
    ]


def test_the_page_ends_the_bench(browser: Any, begun: Any) -> None:
    bench = begun(SMALL)
    page = opened(browser, bench)
    press(page, "End")
    words = "return document.body.innerText"
    until(lambda: "has ended" in page.execute_script(words))
    assert bench.process.wait(timeout=PATIENCE_S) == 0
