"""The bench itself: desk, live answer, questions and folder, and what one does to another."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from studies.answer.command_options import Refusal
from studies.answer.listening.panel import filter_data, listening_data
from studies.answer.voiced import voicing_in_words
from studies.bench.adopting import with_answer
from studies.bench.asking import ask, offered
from studies.bench.channel import Channel
from studies.bench.desk import Desk, Edition
from studies.bench.editing import (
    EditError,
    with_kind,
    with_table,
    with_value,
    without,
)
from studies.bench.folder import Folder, FolderError, plain_name
from studies.bench.form import is_words, kinds_at
from studies.bench.live import Answer, Live, Turn
from studies.bench.live_view import answer_view, difference_in_words
from studies.bench.running import Runs, unfinished_in
from studies.design import Design
from studies.design.quantities import UNITS
from studies.design.reading import LARGEST_DESIGN
from studies.questions.draft.command import brief_of
from studies.questions.draft.sizes import DraftError
from studies.questions.draft.study import draft_design
from studies.solving.budget import Cost
from studies.solving.ledger import Ledger
from studies.solving.options import SolverOptions
from studies.solving.voicing import voice

Data = dict[str, Any]
AT_ONCE_IN_WORDS = "Nothing is solved: it comes at once."
LENGTHS = ("driver", "ball", "gap", "column", "height", "baffle")
"""Sizes of a draft; those after the third may be left out."""


class Workbench:
    """One bench in one folder.

    Parameters
    ----------
    folder : Path
    solving : SolverOptions
        Ledger and workers of all that is solved.
    on_end : callable
        Called when the page ends the bench.
    """

    def __init__(
        self, folder: Path, solving: SolverOptions, on_end: Callable[[], None] = lambda: None
    ) -> None:
        self.folder, self.desk, self.channel = Folder(folder), Desk(), Channel()
        self._on_end = on_end
        self._open = contextlib.ExitStack()
        kept_in = None if solving.no_ledger else solving.ledger
        store = None if kept_in is None else self._open.enter_context(Ledger(kept_in))
        self._workers = solving.workers
        turn = Turn()
        self._unfinished = unfinished_in(folder)
        self._live: Data = {}
        self._answer: Answer | None = None
        self._pinned: Answer | None = None
        self.live = Live(store, turn, self._answered, self._not_answered)
        self.runs = Runs(folder, solving, turn, lambda run: self.channel.tell("run", run))

    def close(self) -> None:
        """Stop all work, at its next solve."""
        self.channel.close()
        self.live.close()
        self.runs.close()
        self._open.close()

    def end(self) -> None:
        """End the bench, as its page asked."""
        self.channel.tell("end", {})
        self._on_end()

    def state(self) -> Data:
        """Everything that a page which was just opened shows."""
        return {
            "told": self.channel.told,  # before all else is read: what is told later is newer
            "desk": self.desk.shown(),
            "live": self._live,
            "pinned": self._pinned_view(),
            "questions": offered(),
            "runs": self.runs.shown(),
            "unfinished": [
                {"name": one["name"], "design": one["design"]} for one in self._unfinished
            ],
            "designs": self.folder.designs(),
            "measured": self.folder.measured(),
        }

    # The design

    def draft(self, given: Data) -> Data:
        """Begin a design from a few sizes; EditError names the one that does not fit."""
        unit = next((one for one in UNITS if one == given.get("unit")), UNITS[0])
        typed = {name: str(given.get(name, "")).strip() for name in LENGTHS}
        sizes = {name: _with_unit(text, unit) for name, text in typed.items() if text}
        if missing := [name for name in LENGTHS[:3] if name not in sizes]:
            raise EditError(f"--{missing[0]}: is missing: how large is it?")
        try:
            brief = brief_of(board=None, posts=None, sides=None, coaxial=bool(given.get("coaxial")),
                             title=None, **sizes)  # fmt: skip
            text = draft_design(brief)
        except Refusal as error:
            raise EditError(error.message) from error
        except DraftError as error:
            raise EditError(str(error)) from error
        return self._lay(text, self._new_name(), saved=False)

    def open(self, name: str) -> Data:
        """Open a design of the folder."""
        return self._lay(self.folder.read(name), name, saved=True)

    def lay(self, edition: Edition) -> None:
        """Begin with a design that was named on the command line."""
        self.desk.lay(edition, saved=True)
        self.live.want(self.desk.version, edition.design)

    def save(self, name: str) -> Data:
        """Write the design into the folder under a name; another's file is not written over."""
        edition = self._edition()
        name = name if name.endswith(".toml") else f"{name}.toml"
        if name != edition.path.name and name in self.folder.designs():
            raise FolderError(f"{name} is there already: take another name, or open that one")
        self.folder.write(name, edition.text.encode("utf-8"))
        self.desk.name(self.folder.path / name)
        self.channel.tell("files", self._files())
        return self._told()

    def edit(self, key: str, action: str, value: str) -> Data:
        """Change one key: "set", "add", "remove"; EditError if that cannot be."""
        edition = self._edition()
        if action == "set" and (kinds := kinds_at(key.removesuffix(".kind"))) and value in kinds:
            at = key.removesuffix(".kind")
            text = with_kind(edition.text, at, value, kinds[value])
        elif action == "set":
            text = with_value(edition.text, key, value, words=is_words(key))
        elif action == "add":
            text = with_table(edition.text, key)
        elif action == "remove":
            text = without(edition.text, key)
        else:
            raise EditError(f"{action!r} is nothing that can be done to a key")
        return self._change(text, key if action == "set" else "")

    def replace(self, text: str, name: str) -> Data:
        """Put another text in place of the whole design; a new one where a name comes with it."""
        if len(text.encode("utf-8")) > LARGEST_DESIGN:
            raise EditError("is too large for a design")
        if name:
            return self._lay(text, plain_name(name, (".toml",)), saved=False)
        return self._change(text, "")

    def step(self, by: int) -> Data:
        """Go back or forth."""
        self.desk.step(by)
        return self._now()

    def _change(self, text: str, key: str) -> Data:
        edition = self._edition()
        if text == edition.text:
            return self.desk.shown()
        self.desk.lay(Edition(text, edition.path, edition.allow_outside), saved=False, key=key)
        return self._now()

    def _lay(self, text: str, name: str, *, saved: bool) -> Data:
        self.desk.lay(Edition(text, self.folder.path / name), saved=saved)
        return self._now()

    def _now(self) -> Data:
        """Have the present state solved, and shown everywhere."""
        edition = self._edition()
        self.live.want(self.desk.version, edition.design)
        return self._told()

    def _told(self) -> Data:
        shown = self.desk.shown()
        self.channel.tell("desk", shown)
        return shown

    def _edition(self) -> Edition:
        if self.desk.edition is None:
            raise EditError("there is no design yet: begin one, or open one")
        return self.desk.edition

    def _design(self) -> Design:
        found = self._edition().read
        if not isinstance(found, Design):
            raise EditError("the design has mistakes: correct them first")
        return found

    def _new_name(self) -> str:
        there = self.folder.designs()
        names = ("mine.toml", *(f"mine-{number}.toml" for number in range(2, 1000)))
        return next(name for name in names if name not in there)

    # The live answer

    def pin(self, on: bool) -> Data:
        """Keep the present answer to compare later ones with, or let it go."""
        self._pinned = self._answer if on else None
        pinned = self._pinned_view()
        self.channel.tell("pinned", pinned)
        return pinned

    def _pinned_view(self) -> Data:
        pinned, now = self._pinned, self._answer
        if pinned is None:
            return {}
        difference = difference_in_words(now, pinned) if now is not None else ""
        return {**answer_view(pinned), "difference": difference}

    def listen(self) -> Data:
        """What the listening panel needs: the pinned design against the present one."""
        now, pinned = self._settled(), self._pinned
        if not now.design.seats:
            raise EditError("there is no seat to listen at: add one")
        rows = {"the present design": now.row}
        if pinned is not None:
            _require_comparable(pinned, now)
            rows["the pinned design"] = pinned.row
        return listening_data(now.design, rows)

    def voicing(self) -> Data:
        """The few filters for the present design, and what they cannot mend."""
        now = self._settled()
        found = voice(now.row, now.design.target)
        return {
            "filters": [filter_data(one) for one in found.filters],
            "words": voicing_in_words(found),
        }

    def _settled(self) -> Answer:
        answer = self._answer
        if answer is None or not answer.last or answer.version != self.desk.version:
            raise EditError("the answer has not settled yet: one moment")
        return answer

    def _answered(self, answer: Answer) -> None:
        self._answer = answer
        if self._pinned is not None and self._pinned.version == answer.version:
            self._pinned = answer
            self.channel.tell("pinned", self._pinned_view())
        self._live = answer_view(answer)
        if self._pinned is not None:
            self._live["difference"] = difference_in_words(answer, self._pinned)
        self.channel.tell("live", self._live)

    def _not_answered(self, version: int, reason: str) -> None:
        self._live = {"version": version, "refused": reason}
        self.channel.tell("live", self._live)

    # Questions

    def cost(self, name: str, options: dict[str, str], files: list[str]) -> Data:
        """What a question will take on this machine, in words."""
        design = self._design()
        asked = ask(name, design.path, options, files, self.folder)
        found = asked.cost(design, self._workers)
        return {"words": AT_ONCE_IN_WORDS if found is None else _in_words(found)}

    def ask(self, name: str, options: dict[str, str], files: list[str]) -> Data:
        """Ask a question about the present design."""
        design = self._design()
        asked = ask(name, design.path, options, files, self.folder)
        return self.runs.add(asked, design, {"options": options, "files": files}).shown()

    def again(self, number: int) -> Data:
        """Go on with what a bench that was killed had begun; its solves are in the ledger."""
        one = self._unfinished.pop(number)
        edition = Edition(one["text"], self.folder.path / plain_name(one["design"], (".toml",)))
        if edition.design is None:
            raise EditError("its design has mistakes by now: open it and correct them")
        choice = one["choice"]
        options, files = choice.get("options", {}), choice.get("files", [])
        asked = ask(one["name"], edition.path, options, files, self.folder)
        return self.runs.add(asked, edition.design, choice).shown()

    def adopt(self, number: int) -> Data:
        """Put the sizes that an answer chose into the design."""
        run = self.runs.run(number)
        document = json.loads(self.file_of(number, f"{run.name}.json"))
        return self._change(with_answer(self._design(), run.name, document["facts"]), "")

    def file_of(self, number: int, name: str) -> bytes:
        """Return a file of an answer, by its name in the list; KeyError if it is not there."""
        run = self.runs.run(number)
        if name not in run.files:
            raise KeyError(name)
        place = self.folder.path / run.folder / name
        if place.is_symlink() or not place.is_file():
            raise KeyError(name)
        return place.read_bytes()

    def take(self, name: str, content: bytes) -> None:
        """Keep a measurement that was dropped on the page."""
        self.folder.take(name, content)
        self.channel.tell("files", self._files())

    def _files(self) -> Data:
        return {"designs": self.folder.designs(), "measured": self.folder.measured()}


def _require_comparable(pinned: Answer, now: Answer) -> None:
    """Refuse to let two designs be heard at different seats, or before both have settled."""
    if not pinned.last:
        raise EditError("the pinned design was changed before its answer settled: pin one that has")
    first, second = (
        (one.tables.seats, one.tables.room, one.column_height)
        for one in (pinned.design, now.design)
    )
    if first != second:
        raise EditError("seats, room or column height are not those of the pinned design: pin anew")


def _in_words(cost: Cost) -> str:
    designs = "one design" if cost.designs == 1 else f"{cost.designs} designs"
    return (
        f"About {cost.time_in_words} on this machine, less for what was solved before: {designs},"
        f" {cost.megabytes / 1e3:.1f} GB of memory."
    )


def _with_unit(text: str, unit: str) -> str:
    """A size with its unit: that of the form where none was typed."""
    bare = not text.lstrip("0123456789./,- ")
    return f"{text} {unit}" if bare else text
