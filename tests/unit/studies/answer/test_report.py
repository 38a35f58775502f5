"""The report: one page, the answer first, everything escaped, nothing fetched, same bytes."""

import re
from collections.abc import Iterator
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner

from dispersion.solvers import solve_waves
from studies import cli
from studies.answer.charts.style import in_both_formats
from studies.answer.picture import section_pictures
from studies.answer.release import version
from studies.answer.report.rendering import render
from studies.answer.report.report import SVG, inline_svg, report_html
from studies.answer.table import Findings
from studies.design import Design, parse_design
from studies.questions.section.tables import section_tables
from studies.questions.spread.study import spread
from studies.questions.spread.tables import spread_tables

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"
TITLE = "<script>alert(1)</script> & a/b \\\\ room"


class Page(HTMLParser):
    """Every id, link, source and word of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.tags: list[str] = []
        self.reaches: list[str] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        for key, value in attrs:
            if key == "id":
                self.ids.append(value or "")
            elif key in ("src", "href", "xlink:href", "data", "action"):
                self.reaches.append(value or "")

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def design_titled(title: str) -> Design:
    path = EXAMPLES / "reading_room.toml"
    text = path.read_text(encoding="utf-8")
    old = "Reading room, 130 mm driver under a cap of a 180 mm ball"
    assert text.count(old) == 1
    narrow = text.replace('band = ["100 Hz", "16 kHz"]', "band = [630, 800]")
    narrow = narrow.replace('design = "reading_room_cone.toml"', 'reflector = { kind = "none" }')
    return parse_design(narrow.replace(old, title), path)


@pytest.fixture(scope="module")
def findings() -> Findings:
    return spread_tables(spread(design_titled(TITLE), solve_waves, fineness=4))


def page_of(findings: Findings, **more: object) -> str:
    pictures = section_pictures(findings.design)
    files = {
        f"{name}.{kind}": content
        for name, picture in pictures.items()
        for kind, content in in_both_formats(picture.figure).items()
    }
    captions = {name: picture.caption for name, picture in pictures.items()}
    return report_html(findings, captions, files | {"wave.gif": b"GIF89a"}, **more)


def test_the_answer_comes_first_then_its_picture_then_limits_and_cautions(
    findings: Findings,
) -> None:
    page = page_of(findings)
    order = [
        'class="answer"',
        "<svg",
        "Why, and what else",
        "The numbers",
        "What this rests on",
        "Take care",
        "The input",
    ]
    places = [page.index(mark) for mark in order]
    assert places == sorted(places)
    words = " ".join(Page(page).words)
    for sentence in (*findings.answer, *findings.evidence.sentences(), *findings.cautions):
        assert sentence in words.replace("\u00a0", " ")


def test_what_a_user_wrote_stays_text(findings: Findings) -> None:
    page = Page(page_of(findings))
    assert "script" not in page.tags
    shown = design_titled(TITLE).title
    assert shown in "".join(page.words)
    assert findings.design.text in "".join(page.words)


def test_nothing_is_fetched(findings: Findings) -> None:
    text = page_of(findings)
    page = Page(text)
    inside = [link for link in page.reaches if link.startswith(("#", "data:"))]
    beside = [link for link in page.reaches if link not in inside]
    assert all(re.fullmatch(r"[\w.%-]+", link) for link in beside)
    assert "default-src 'none'" in text
    assert not re.search(r"url\((?!#)", text)


def test_ids_differ_and_references_are_met(findings: Findings) -> None:
    text = page_of(findings)
    page = Page(text)
    assert len(page.ids) == len(set(page.ids))
    pointed = {link[1:] for link in page.reaches if link.startswith("#")}
    pointed |= set(re.findall(r"url\(#([^)]+)\)", text))
    assert pointed
    assert pointed <= set(page.ids)


def test_numbers_state_method_balance_version_and_input(findings: Findings) -> None:
    page = page_of(findings)
    error = max(findings.evidence.worst_power_error_db, 0.001)
    origin = f"method waves, power balance within {error:.3f} dB; input reading_room.toml"
    printed = sum(table.scope == "printed" for table in findings.tables)
    pictures = 2  # section and animation
    assert page.count(origin) == printed + pictures
    assert f"roundcast {version()}" in page
    assert findings.design.fingerprint in page


def test_geometry_says_that_nothing_was_solved() -> None:
    design = design_titled("plain")
    assert "geometry only, nothing solved" in page_of(section_tables(design))


def test_same_input_same_page_and_a_date_only_if_asked(findings: Findings) -> None:
    assert page_of(findings) == page_of(findings)
    assert "2031-02-03" not in page_of(findings)
    assert "2031-02-03" in page_of(findings, dated=date(2031, 2, 3))


def test_a_variable_that_is_missing_is_an_error() -> None:
    from jinja2 import UndefinedError

    with pytest.raises(UndefinedError):
        render("report.html.j2")


def test_svg_ids_are_renamed_in_attributes_only() -> None:
    drawn = (
        f'<svg xmlns="{SVG}" xmlns:xlink="http://www.w3.org/1999/xlink" width="9pt">'
        '<metadata/><defs><clipPath id="c"/></defs>'
        '<g clip-path="url(#c)" style="fill: url(#c)"><use xlink:href="#c"/></g>'
        '<text>url(#c) id="c" &lt;b&gt;</text></svg>'
    )
    root = ElementTree.fromstring(inline_svg(drawn, "a"))
    group, use, text = root[1], root[1][0], root[2]
    assert root[0][0].get("id") == "a-c"
    assert (group.get("clip-path"), group.get("style")) == ("url(#a-c)", "fill: url(#a-c)")
    assert use.get("{http://www.w3.org/1999/xlink}href") == "#a-c"
    assert text.text == 'url(#c) id="c" <b>'
    assert root.get("width") is None


@pytest.fixture
def workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.chdir(tmp_path)
    yield tmp_path


def test_a_command_writes_the_same_page_twice(workshop: Path) -> None:
    path = workshop / "room.toml"
    path.write_text(design_titled("twice").text, encoding="utf-8")
    pages = []
    for folder in ("one", "two"):
        result = CliRunner().invoke(
            cli.main, ["spread", str(path), "--per-band", "4", "--out", folder]
        )
        assert result.exit_code == 0, result.output
        assert "open spread.html in a browser" in result.output
        pages.append(Path(folder, "spread.html").read_bytes())
    assert pages[0] == pages[1]
    (asked,) = re.findall(r'class="asked">([^<]*)<', pages[0].decode())
    assert asked.startswith("roundcast spread --")
    for option in ("--method waves", "--per-band 4", "--finer 1"):
        assert option in asked
