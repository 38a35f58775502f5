"""The design on the bench: its text, every step back and forth, and what the page shows of it."""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from threading import Lock
from typing import Any

from shapes.lengths import written_in
from studies.bench.editing import EditError
from studies.bench.form import form_of
from studies.bench.section_view import section_view
from studies.design import Design, DesignError, Mistake, parse_design
from studies.questions.section.tables import section_tables

Data = dict[str, Any]
MOST_STEPS_BACK = 500
SAME_KEY_S = 1.5
"""Letters typed into one field within this time are one step back."""


@dataclass(frozen=True)
class Edition:
    """One state of the design.

    Attributes
    ----------
    text : str
    path : Path
        Its file, as the commands would name it.
    allow_outside : bool
        Whether files that it names may lie outside of the folder.
    """

    text: str
    path: Path
    allow_outside: bool = False

    @cached_property
    def read(self) -> Design | tuple[Mistake, ...]:
        """The design, or its mistakes."""
        try:
            return parse_design(self.text, self.path, self.allow_outside)
        except DesignError as error:
            return error.mistakes

    @property
    def design(self) -> Design | None:
        """The design; None if it has mistakes."""
        return self.read if isinstance(self.read, Design) else None

    @cached_property
    def shown(self) -> Data:
        """What the page shows: form, section, words, mistakes with their keys."""
        design = self.design
        mistakes = () if isinstance(self.read, Design) else self.read
        try:
            groups = form_of(self.text)
        except Exception as error:  # noqa: BLE001 (no TOML: its text can still be corrected)
            groups = []
            mistakes = mistakes or (Mistake("", str(error)),)
        return {
            "groups": groups,
            "mistakes": [{"key": one.key, "message": one.message} for one in mistakes],
            "section": section_view(self.text, self.path, design),
            "words": _in_words(design),
            "title": "" if design is None else design.title,
        }


@dataclass
class Desk:
    """The edition that lies on the desk, those under it and those taken back.

    Attributes
    ----------
    version : int
        Counts every change: what is computed for an older one is dropped.
    """

    version: int = 0
    _editions: list[Edition] = field(default_factory=list)
    _at: int = -1
    _saved: str | None = None
    _last: tuple[str, float] = ("", 0.0)
    _lock: Lock = field(default_factory=Lock)

    @property
    def edition(self) -> Edition | None:
        """The present state; None before a design was begun or opened."""
        return self._editions[self._at] if self._at >= 0 else None

    def lay(self, edition: Edition, *, saved: bool, key: str = "") -> None:
        """Put a new state on top; one key that is typed on stays one step."""
        with self._lock:
            now = time.monotonic()
            typed_on = key != "" and self._last[0] == key and now - self._last[1] < SAME_KEY_S
            self._last = (key, now)
            keep = self._at if typed_on and self._at > 0 else self._at + 1
            below = [replace(one) for one in self._editions[:keep]]  # without what they showed
            self._editions = [*below, edition][-MOST_STEPS_BACK:]
            self._at = len(self._editions) - 1
            if saved:
                self._saved = edition.text
            self.version += 1

    def step(self, by: int) -> None:
        """Go back (-1) or forth (+1); EditError where there is nothing."""
        with self._lock:
            if not 0 <= self._at + by < len(self._editions):
                raise EditError("there is nothing to undo" if by < 0 else "nothing to redo")
            self._at += by
            self._last = ("", 0.0)
            self.version += 1

    def name(self, path: Path) -> None:
        """Note that the present state was saved under a name."""
        with self._lock:
            if self._at >= 0:
                self._editions[self._at] = replace(self._editions[self._at], path=path)
                self._saved = self._editions[self._at].text

    def shown(self) -> Data:
        """The state of the desk for the page."""
        edition = self.edition
        if edition is None:
            return {"version": self.version, "begun": False}
        return {
            "version": self.version,
            "begun": True,
            "name": edition.path.name,
            "saved": edition.text == self._saved,
            "undo": self._at > 0,
            "redo": self._at < len(self._editions) - 1,
            "text": edition.text,
            **edition.shown,
        }


def _in_words(design: Design | None) -> list[str]:
    """What `roundcast section` answers, in the design's own unit first."""
    if design is None:
        return []
    with written_in(design.unit):
        return list(section_tables(design).answer)
