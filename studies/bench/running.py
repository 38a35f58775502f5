"""Questions asked on the bench: one runs, others wait; what was found is kept on disk."""

from __future__ import annotations

import itertools
import json
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from dispersion.stopping import StopFlag, StoppedError, stopped_by
from shapes.lengths import written_in
from studies.answer import exports
from studies.answer.delivering import files_of
from studies.answer.writing import write_files, write_text
from studies.bench.adopting import chooses
from studies.bench.asking import Asked, refused
from studies.bench.live import Turn
from studies.bench.pace import Pace
from studies.design import Design
from studies.solving.options import SolverOptions
from studies.solving.progress import Noting

Data = dict[str, Any]
WAITING, RUNNING, DONE, FAILED, ENDED = "waiting", "running", "done", "failed", "ended"
WRITING = "all is solved; words, pictures and files are made"
TELL_EVERY_S = 0.2
BEGUN = ".roundcast-unfinished.json"
"""What runs or waits, so that a bench that was killed can offer it again."""
MOST_KEPT = 100


@dataclass
class Run:
    """One question that was asked.

    Attributes
    ----------
    number : int
    name, title, design : str
        The command, the design's title, its file.
    asked : str
        Options that were chosen, in words.
    text : str
        Of the design as it was asked about.
    choice : dict
        Options and files as chosen on the page, to ask again.
    state : str
    stage : str
        What it does just now.
    so_far : str
        What is known already.
    pace : Pace or None
        What is known of the time that is left; None before it runs.
    message : str
        What went wrong.
    answer : list of str
        Sentences.
    folder : str
        Of its files, beside the design.
    files : list of str
    """

    number: int
    name: str
    title: str
    design: str
    asked: str = ""
    text: str = ""
    choice: Data = field(default_factory=dict)
    state: str = WAITING
    stage: str = ""
    so_far: str = ""
    pace: Pace | None = None
    message: str = ""
    answer: list[str] = field(default_factory=list)
    folder: str = ""
    files: list[str] = field(default_factory=list)
    result: Any = None
    stop: StopFlag = field(default_factory=StopFlag)

    def shown(self) -> Data:
        """The run as the page lists it."""
        pace = self.pace if self.state == RUNNING else None
        left, share = (None, None) if pace is None else (pace.left_s, pace.share)
        keys = ("number", "name", "title", "design", "asked", "state", "stage",
                "so_far", "message", "answer", "folder", "files")  # fmt: skip
        return {key: getattr(self, key) for key in keys} | {
            "left_s": None if left is None else round(left),
            "share": None if share is None else round(share, 4),
            "late": pace is not None and pace.late,
            "chooses": self.state == DONE and chooses(self.name),
        }


class Runs:
    """All questions, in the order they were asked.

    Parameters
    ----------
    folder : Path
        Where folders of answers are written.
    solving : SolverOptions
        Ledger and workers.
    turn : Turn
        The live answer goes first.
    tell : callable
        Given a run whenever it changes.
    """

    def __init__(
        self,
        folder: Path,
        solving: SolverOptions,
        turn: Turn,
        tell: Callable[[Data], None],
    ) -> None:
        self._folder, self._solving, self._turn, self._tell = folder, solving, turn, tell
        self._runs: dict[int, Run] = {}
        self._tasks: dict[int, tuple[Asked, Design]] = {}
        self._numbers = itertools.count(1)
        self._changed = threading.Condition()
        self._over = False
        for run in _found_in(folder, self._numbers):
            self._runs[run.number] = run
        self._thread = threading.Thread(target=self._work, name="questions", daemon=True)
        self._thread.start()

    def add(self, asked: Asked, design: Design, choice: Data) -> Run:
        """Ask a question about a design."""
        run = Run(
            number=next(self._numbers),
            name=asked.question.name,
            title=design.title,
            design=design.path.name,
            asked=_in_words(choice),
            text=design.text,
            choice=choice,
        )
        with self._changed:
            self._runs[run.number] = run
            self._tasks[run.number] = (asked, design)
            self._changed.notify_all()
        self._note()
        self._tell(run.shown())
        return run

    def run(self, number: int) -> Run:
        """Return a run by its number; KeyError if there is none."""
        return self._runs[number]

    def shown(self) -> list[Data]:
        """Every run, the latest first."""
        return [run.shown() for run in reversed(list(self._runs.values()))]

    def cancel(self, number: int) -> None:
        """Stop a run; what was solved stays in the ledger."""
        run = self._runs[number]
        if run.state in (WAITING, RUNNING):
            run.state = ENDED
            run.stop.set()
            run.message = "Stopped. What was solved is kept: asked again, it goes on from there."
            self._tell(run.shown())
            self._note()

    def forget(self, number: int) -> None:
        """Take a run off the list; its files stay."""
        self.cancel(number)
        self._runs.pop(number, None)
        self._note()

    def close(self) -> None:
        """Stop what runs; it stays noted as unfinished."""
        with self._changed:
            self._over = True
            for run in self._runs.values():
                run.stop.set()
            self._changed.notify_all()
        self._thread.join(timeout=30.0)

    def _work(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._over or bool(self._tasks))
                if self._over:
                    return
                number = next(iter(self._tasks))
                asked, design = self._tasks.pop(number)
            run = self._runs.get(number)
            if run is not None and run.state == WAITING:
                self._answer(run, asked, design)

    def _answer(self, run: Run, asked: Asked, design: Design) -> None:
        run.state = RUNNING
        self._tell(run.shown())
        try:
            with written_in(design.unit), stopped_by(run.stop):
                run.pace = Pace(asked.cost(design, self._solving.workers))
                solving = replace(self._solving, watch=self._watch(run, run.pace))
                result = asked.find(design, solving)
                run.stage, run.pace = WRITING, None
                self._tell(run.shown())
                findings, files = files_of(asked.question, result, asked.delivery)
                run.stop.check()
            folder = _free_folder(self._folder, f"{design.path.stem}-{run.name}")
            write_files(folder, files)
        except StoppedError:
            if self._over:
                return
        except Exception as error:  # noqa: BLE001 (the page is told; the bench goes on)
            run.state = FAILED
            fault = "" if refused(error) else "This is a fault in roundcast, not in your design: "
            run.message = f"{fault}{error}"
        else:
            run.answer, run.folder, run.files = list(findings.answer), folder.name, sorted(files)
            run.result = result
            run.state = DONE
        self._note()
        self._tell(run.shown())

    def _watch(self, run: Run, pace: Pace) -> Noting:
        """Progress of a run: told to the page now and then; ends the run where it is stopped."""
        told = 0.0

        def stopped() -> bool:
            return bool(run.stop.flag[0])

        def watch(stage: str, done: int, total: int) -> None:
            nonlocal told
            pace.wait(lambda: self._turn.wait(stopped))
            run.stop.check()
            now = time.monotonic()
            if stage != run.stage:
                told = 0.0
            run.stage = stage
            pace.note(stage, done, total)
            if now - told >= TELL_EVERY_S:
                told = now
                self._tell(run.shown())

        def note(words: str) -> None:
            run.so_far = words
            self._tell(run.shown())

        return Noting(watch, note)

    def _note(self) -> None:
        """Write down what is unfinished."""
        if self._over:
            return
        open_runs = [
            {"name": run.name, "design": run.design, "text": run.text, "choice": run.choice}
            for run in list(self._runs.values())
            if run.state in (WAITING, RUNNING)
        ]
        place = self._folder / BEGUN
        if open_runs:
            write_text(place, json.dumps(open_runs))
        else:
            place.unlink(missing_ok=True)


def _in_words(choice: Data) -> str:
    """Options and files as they were chosen: "samples 40, readings.csv"."""
    options = choice.get("options", {})
    said = [f"{name.replace('_', ' ')} {text}" for name, text in options.items() if text.strip()]
    return ", ".join([*said, *choice.get("files", [])])


def unfinished_in(folder: Path) -> list[Data]:
    """What ran or waited when a bench in this folder was killed: name, design, text, choice."""
    try:
        found = json.loads((folder / BEGUN).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return []
    keys = {"name": str, "design": str, "text": str, "choice": dict}
    return [
        one
        for one in (found if isinstance(found, list) else [])
        if isinstance(one, dict) and all(isinstance(one.get(k), t) for k, t in keys.items())
    ]


def _free_folder(beside: Path, name: str) -> Path:
    """A folder that is not there yet: name, name-2, name-3."""
    for number in itertools.count(1):
        folder = beside / (name if number == 1 else f"{name}-{number}")
        if not folder.exists():
            return folder
    raise AssertionError


def _found_in(folder: Path, numbers: Iterator[int]) -> Iterator[Run]:
    """Answers that lie in the folder from before, the oldest first."""
    documents = []
    for place in folder.iterdir():
        if not place.is_dir() or place.is_symlink():
            continue
        for document in place.glob("*.json"):
            if (place / f"{document.stem}.html").is_file():
                documents.append((document.stat().st_mtime, document))
    for _, document in sorted(documents)[-MOST_KEPT:]:
        found = _read_document(document)
        if found is not None:
            files = sorted(file.name for file in document.parent.iterdir() if file.is_file())
            yield Run(
                number=next(numbers),
                name=document.stem,
                title=str(found["design"].get("title", "")),
                design=Path(str(found["design"].get("file", ""))).name,
                state=DONE,
                answer=[str(sentence) for sentence in found["answer"]],
                folder=document.parent.name,
                files=files,
            )


def _read_document(path: Path) -> Mapping[str, Any] | None:
    try:
        found = json.loads(path.read_text(encoding="ascii"))
    except (OSError, ValueError):
        return None
    ours = isinstance(found, dict) and found.get("format") == exports.FORMAT
    return found if ours and found.get("command") == path.stem else None
