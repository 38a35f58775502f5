"""The report of a command: the answer with its picture, why, the numbers, limits and cautions."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from markupsafe import Markup

from studies.answer.layout import lay_out
from studies.answer.report.rendering import render
from studies.answer.report.vectors import inline_svg
from studies.answer.table import Findings


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
    """Say in one line what a number of these findings stands on: method, balance, version, input.

    The version is left to the page.
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
