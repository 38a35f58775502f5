"""From a question about a design file to its answer: read, find, write, print."""

from __future__ import annotations

import functools
import math
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

from rich.prompt import Confirm

from studies import exports
from studies.asking import PROOF, QUESTIONS, Question
from studies.budget import Budget, require_consent
from studies.charts import in_both_formats
from studies.design import Design, read_design
from studies.ledger import Ledger, LedgerError
from studies.next_steps import told_next
from studies.pages.report import report_html
from studies.pictures import Pictures
from studies.printing import open_console, print_files, print_findings, print_next, print_table
from studies.progress import Watch
from studies.proof import prove
from studies.release import mark_of
from studies.tables import Findings
from studies.tables.ledger import ledger_table

ARGUMENTS = ("files",)
"""What stands on the command line without a name."""

CHANGES_NOTHING = ("workers", "ledger", "no_ledger", "cluster")


def answer(
    command: str,
    path: Path,
    out: Path | None,
    as_json: bool,
    dated: bool = False,
    time_budget: float = math.inf,
    memory_budget: float = math.inf,
    yes: bool = False,
    allow_outside: bool = False,
    **how: Any,
) -> Findings:
    """Answer one question about a design file; write everything or nothing.

    Parameters
    ----------
    command : str
        One of `QUESTIONS`.
    path : Path
        The design file.
    out : Path, optional
        Folder for the results; left out, named after the design and the command.
    as_json : bool
        Print the JSON document in place of tables.
    dated : bool
        Put today's date on the page; otherwise the same input gives the same bytes.
    time_budget, memory_budget : float
        Minutes and megabytes that may be spent without asking.
    yes : bool
        Do not ask.
    allow_outside : bool
        Whether files that the design names may lie outside of its folder.
    **how
        Further options of the command.

    Raises
    ------
    DesignError, ExportError
        If the design has mistakes or the folder cannot be written; nothing is written then.
    BudgetError
        If it would cost more than the budget, and nobody says yes.
    """
    question = QUESTIONS[command]
    design = read_design(path, allow_outside)
    folder = out or Path(f"{path.stem}-{command}")
    exports.require_folder(folder)
    if not yes:
        budget = Budget(time_budget, memory_budget, _question())
        work = question.weigh(design, how)
        require_consent(design, work, budget, how.get("workers"), how.get("finer", 1.0))
    result = question.find(design, **how)
    return _delivered(command, question, result, folder, as_json, dated, _asked(how))


def show_proof(
    out: Path | None, as_json: bool, dated: bool = False, workers: int | None = None
) -> bool:
    """Hold the program against all that is known; write and print what came of it.

    Returns
    -------
    bool
        Whether every check holds.

    Raises
    ------
    ExportError
        If the folder cannot be written; nothing is written then.
    """
    folder = out or Path("roundcast-proof")
    exports.require_folder(folder)
    with Watch(open_console(sys.stderr)) as watch:
        proof = prove(watch, workers)
    _delivered("proof", PROOF, proof, folder, as_json, dated)
    return not proof.failed


def show_ledger(path: Path, prune: bool = False, most_mb: int | None = None) -> None:
    """Print what a ledger holds, after shrinking it if asked.

    Raises
    ------
    LedgerError
        If there is none, or it cannot be used.
    """
    if not path.exists():
        raise LedgerError(f"there is no ledger at {path} yet: the first solve begins it")
    console = open_console(sys.stdout)
    with Ledger(path, console.print) as ledger:
        if prune:
            gone = ledger.prune(None if most_mb is None else most_mb * 10**6)
            console.print(f"{gone} solves dropped.")
        print_table(console, ledger_table(ledger.volumes()))
        console.print(f"{path}: {ledger.size / 1e6:.1f} MB on disk")


def _delivered(
    command: str,
    question: Question,
    result: Any,
    folder: Path,
    as_json: bool,
    dated: bool,
    asked: str = "",
) -> Findings:
    """Put a result into words, pictures and files; write everything or nothing, and print."""
    findings = question.tell(result)
    drawn = {f"{command}-{name}": picture for name, picture in question.draw(result).items()}
    drawings = _pictures(drawn, mark_of(findings.design))
    files = exports.csv_files(findings) | drawings | question.make(result)
    captions = {name: picture.caption for name, picture in drawn.items()}
    page = report_html(findings, captions, files, asked, date.today() if dated else None)
    files.setdefault(f"{command}.html", page.encode("utf-8"))
    document = exports.json_text(findings, files)
    exports.write_files(folder, files | {f"{command}.json": document.encode("ascii")})
    if as_json:
        sys.stdout.write(document)
    else:
        console = open_console(sys.stdout)
        print_findings(console, findings)
        print_files(console, folder, len(files) + 1, f"{command}.html")
        if isinstance(findings.design, Design):
            print_next(console, told_next(command, findings.design, folder))
    return findings


def _question() -> Callable[[str], bool] | None:
    """How to ask whoever sits at the terminal; None if nobody does."""
    if not sys.stdin.isatty():
        return None
    return functools.partial(Confirm.ask, console=open_console(sys.stderr), default=False)


def _pictures(drawn: Pictures, mark: str) -> dict[str, bytes]:
    return {
        f"{name}.{kind}": content
        for name, picture in drawn.items()
        for kind, content in in_both_formats(picture.figure, mark).items()
    }


def _asked(how: dict[str, Any]) -> str:
    """Options as on the command line, without those that change nothing in the answer."""
    given = {key: value for key, value in how.items() if key not in CHANGES_NOTHING and value}
    return " ".join(
        _in_words(value) if key in ARGUMENTS else f"--{key.replace('_', '-')}{_after(value)}"
        for key, value in given.items()
    )


def _after(value: Any) -> str:
    """What follows an option: nothing if it is a switch."""
    return "" if value is True else f" {_in_words(value)}"


def _in_words(value: Any) -> str:
    if isinstance(value, tuple | list):
        return " ".join(map(_in_words, value))
    return f"{value:g}" if isinstance(value, float) else str(value)
