"""From a question about a design file to its answer: read, find, write, print."""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextvars import ContextVar
from datetime import date
from pathlib import Path
from typing import Any

from shapes.lengths import written_in
from studies.answer import exports
from studies.answer.charts.style import in_both_formats
from studies.answer.delivery import Delivery, DesignDelivery
from studies.answer.picture import Pictures
from studies.answer.printing import (
    ask_at_the_terminal,
    print_files,
    print_findings,
    print_next,
)
from studies.answer.question import Asked, Found, Question
from studies.answer.release import mark_of
from studies.answer.report.report import report_html
from studies.answer.table import Findings
from studies.answer.writing import require_folder, write_files
from studies.design import Design, read_design
from studies.solving.budget import Budget, require_consent
from studies.solving.progress import open_console

TAKEN_BY: ContextVar[Callable[[Question[Any, Any], DesignDelivery, Any], None] | None] = ContextVar(
    "taken_by", default=None
)
"""Who takes a question, its delivery and its options in place of the terminal: the bench, which
reads them as the command does and answers later."""


def answer(
    question: Question[Asked, Found], delivery: DesignDelivery, options: Asked
) -> Findings | None:
    """Answer one question about a design file; write everything or nothing.

    Returns
    -------
    Findings or None
        None if another takes the question, see `TAKEN_BY`.

    Raises
    ------
    DesignError, ExportError
        If the design has mistakes or the folder cannot be written; nothing is written then.
    BudgetError
        If it would cost more than the budget, and nobody says yes.
    """
    if (take := TAKEN_BY.get()) is not None:
        take(question, delivery, options)
        return None
    design = read_design(delivery.path, delivery.allow_outside)
    folder = delivery.out or Path(f"{delivery.path.stem}-{question.name}")
    require_folder(folder)
    with written_in(design.unit):
        return _answered(question, design, folder, delivery, options)


def _answered(
    question: Question[Asked, Found],
    design: Design,
    folder: Path,
    delivery: DesignDelivery,
    options: Asked,
) -> Findings:
    solving = options.solving
    # The quick methods are quick.
    if question.weigh is not None and solving.method == "waves" and not solving.yes:
        budget = Budget(solving.time_budget, solving.memory_budget, ask_at_the_terminal())
        work = question.weigh(design, options)
        require_consent(design, work, budget, solving.workers, solving.finer)
    return deliver(question, question.find(design, options), folder, delivery)


def deliver(
    question: Question[Asked, Found], result: Found, folder: Path, delivery: Delivery
) -> Findings:
    """Put a result into words, pictures and files; write everything or nothing, and print.

    Raises
    ------
    ExportError
        If the folder cannot be written; nothing is written then.
    """
    findings, files = files_of(question, result, delivery)
    write_files(folder, files)
    page, document = f"{question.name}.html", files[f"{question.name}.json"]
    if delivery.as_json:
        sys.stdout.write(document.decode("ascii"))
    else:
        console = open_console(sys.stdout)
        print_findings(console, findings)
        print_files(console, folder, len(files), page)
        if isinstance(findings.design, Design):
            print_next(console, question.next_steps(findings.design, folder))
    return findings


def files_of(
    question: Question[Asked, Found], result: Found, delivery: Delivery
) -> tuple[Findings, dict[str, bytes]]:
    """Put a result into words, and make every file of its folder: the page, the data, pictures."""
    command = question.name
    findings = question.tell(result)
    drawn = {f"{command}-{name}": picture for name, picture in question.draw(result).items()}
    drawings = _pictures(drawn, mark_of(findings.design))
    files = exports.csv_files(findings) | drawings | question.make(result)
    captions = {name: picture.caption for name, picture in drawn.items()}
    today = date.today() if delivery.dated else None
    page = report_html(findings, captions, files, delivery.asked, today)
    files.setdefault(f"{command}.html", page.encode("utf-8"))
    document = exports.json_text(findings, files)
    return findings, files | {f"{command}.json": document.encode("ascii")}


def _pictures(drawn: Pictures, mark: str) -> dict[str, bytes]:
    return {
        f"{name}.{kind}": content
        for name, picture in drawn.items()
        for kind, content in in_both_formats(picture.figure, mark).items()
    }
