"""The report of a command: the answer with its picture, why, the numbers, limits and cautions.

A page is one file that fetches nothing: its Content-Security-Policy forbids it, and a test in a
headless browser counts the requests. Whatever a user wrote passes through jinja2's autoescape, in
SVG through matplotlib, in the explorer's data through `tojson`. No time stamps: the same input
gives the same bytes, PDF, DXF, STL and 3MF included.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from xml.etree import ElementTree

from markupsafe import Markup

from studies.answer.layout import lay_out
from studies.answer.report.rendering import render
from studies.answer.table import Findings

SVG, LINK = "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"
_REFERENCE = re.compile(r"url\(#([^)]+)\)")


@dataclass(frozen=True)
class _Shown:
    """A picture as it stands in the page."""

    name: str
    caption: str
    markup: Markup


def report_html(
    findings: Findings,
    captions: Mapping[str, str],
    files: Mapping[str, bytes],
    options: str = "",
    dated: date | None = None,
) -> str:
    """Write one page that holds everything a command found.

    Parameters
    ----------
    findings : Findings
    captions : mapping of str to str
        One sentence for each picture, by its name without suffix; the first picture stands beside
        the answer.
    files : mapping of str to bytes
        What is written beside the page, by file name: every picture as SVG is taken from here,
        and every animation (GIF). The JSON document, which lists them, comes last and is not
        among them.
    options : str
        What was asked beyond the design file, as on the command line.
    dated : date, optional
        Printed on the page; left out, the same input gives the same bytes.

    Returns
    -------
    str
        HTML that fetches nothing.
    """
    shown = [
        _Shown(name, caption, inline_svg(files[f"{name}.svg"].decode("utf-8"), name))
        for name, caption in captions.items()
    ]
    return render(
        "report.html.j2",
        findings=findings,
        lead=shown[:1],
        pictures=shown[1:],
        moving=[_animated(name, files[name]) for name in files if name.endswith(".gif")],
        tables=[(table, lay_out(table)) for table in findings.tables if table.scope == "printed"],
        beside=[
            f"{findings.command}.json",
            *(name for name in files if not name.endswith((".png", ".gif"))),
        ],
        stands_on=stands_on(findings),
        options=options,
        dated=dated,
    )


def stands_on(findings: Findings) -> str:
    """Return one line on what the numbers of some findings rest on.

    Method, power balance of the worst solve in dB, name of the design's file and the first 12
    digits of its fingerprint; the page adds the version.
    """
    design, evidence = findings.design, findings.evidence
    made_by = f"input {design.path.name}, SHA-256 {design.fingerprint[:12]}"
    if evidence is None:
        return f"geometry only, nothing solved; {made_by}"
    if evidence.account:
        return f"method {evidence.method}; {made_by}"
    balance = max(evidence.worst_power_error_db, 0.001)
    return f"method {evidence.method}, power balance within {balance:.3f} dB; {made_by}"


def _animated(name: str, image: bytes) -> _Shown:
    data = base64.b64encode(image).decode("ascii")
    text = "One period of the wave leaving the ring, over and over."
    tag = Markup('<img alt="{}" src="data:image/gif;base64,{}">').format(text, data)
    return _Shown(name, f"{text} {name}", tag)


def inline_svg(text: str, name: str) -> Markup:
    """Return an SVG picture as an element of a page that holds several of them.

    Parameters
    ----------
    text : str
        A whole SVG document as matplotlib writes it.
    name : str
        Put before every ``id`` and every reference to one, since they must differ on one page.

    Returns
    -------
    Markup
        The ``svg`` element, as wide as its frame, without the document's own description.
    """
    ElementTree.register_namespace("", SVG)
    ElementTree.register_namespace("xlink", LINK)
    root = ElementTree.fromstring(text)
    for described in root.findall(f"{{{SVG}}}metadata"):
        root.remove(described)
    for element in root.iter():
        for key, value in element.attrib.items():
            element.set(key, _renamed(key, value, name))
    for size in ("width", "height"):
        root.attrib.pop(size, None)
    root.set("aria-hidden", "true")  # the caption says what it shows; its letters alone do not
    return Markup(ElementTree.tostring(root, encoding="unicode"))


def _renamed(key: str, value: str, name: str) -> str:
    if key == "id":
        return f"{name}-{value}"
    if key in ("href", f"{{{LINK}}}href") and value.startswith("#"):
        return f"#{name}-{value[1:]}"
    return _REFERENCE.sub(rf"url(#{name}-\1)", value)
