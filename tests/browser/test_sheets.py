"""Sheets to fill in, printed by a browser: boxes for a pencil, whole rows, headings repeated."""

import base64
import io
import re
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from studies.answer.report.sheets import ReadingBox, SheetBlock, WrittenSheet, sheets_html
from studies.design import read_design

pytestmark = pytest.mark.browser

EXAMPLE = Path(__file__).parents[2] / "studies" / "examples" / "reading_room.toml"
PLACES, CUTS, MM_PER_PIXEL = 9, 40, 25.4 / 96
PAPERS = {"A4": (21.0, 29.7), "Letter": (21.59, 27.94)}  # cm: ISO 216 and ANSI/ASME Y14.1


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    readings = SheetBlock(
        columns=("", *(f"{number}\nplace" for number in range(1, PLACES + 1))),
        rows=tuple(
            ("12.5 kHz", *(ReadingBox(predicted="-10.0") for _ in range(PLACES))) for _ in range(23)
        ),
    )
    cuts = SheetBlock(
        columns=("", "100 Hz", "200 Hz"),
        rows=tuple((f"keep {at}\ncut {at}", ReadingBox(), ReadingBox()) for at in range(CUTS)),
    )
    sheets = (WrittenSheet("Readings", (readings,)), WrittenSheet("After each cut", (cuts,)))
    path = tmp_path_factory.mktemp("sheets") / "sheets.html"
    path.write_bytes(sheets_html(read_design(EXAMPLE), sheets))
    return path


@pytest.mark.parametrize("paper", PAPERS)
def test_rows_stay_whole_on_either_paper(browser: Any, page: Path, paper: str) -> None:
    browser.get(page.as_uri())
    width, height = (side / 2.54 for side in PAPERS[paper])
    printed = browser.execute_cdp_cmd(
        "Page.printToPDF", {"paperWidth": width, "paperHeight": height}
    )
    pages = [
        sheet.extract_text().replace("\u00a0", " ")
        for sheet in PdfReader(io.BytesIO(base64.b64decode(printed["data"]))).pages
    ]
    readings, *cuts = pages
    assert "Readings" in readings and "After" not in readings
    assert readings.count("12.5 kHz") == 23
    assert len(cuts) == 2
    for at in range(CUTS):
        whole = re.compile(rf"keep {at}\s+cut {at}\b")
        assert sum(bool(whole.search(text)) for text in cuts) == 1
    for text in cuts:
        assert "100 Hz" in text
    for text in pages:
        assert f"design {read_design(EXAMPLE).fingerprint[:12]}" in text


def test_boxes_are_large_enough_for_a_pencil(browser: Any, page: Path) -> None:
    # As printed on the narrower of the two papers, which leaves 210 - 2 x 12 mm.
    narrow = {"width": round(186 / MM_PER_PIXEL), "height": 1000}
    metrics = narrow | {"deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    browser.get(page.as_uri())
    sizes = browser.execute_script(
        "return [...document.querySelectorAll('.boxes i')].map(box => {"
        " const b = box.getBoundingClientRect(); return [b.width, b.height]; })"
    )
    assert len(sizes) == PLACES * 23 + 2 * CUTS
    for width, height in sizes:
        assert width * MM_PER_PIXEL >= 9.0
        assert height * MM_PER_PIXEL >= 8.0
