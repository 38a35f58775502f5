"""A progress bar for whatever takes longer than two seconds, and a word while kernels compile."""

from __future__ import annotations

import io
import os
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import IO, Self

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from dispersion.code_version import PACKAGE, is_temporary, kernel_folder

PATIENCE_S = 2.0
"""Nothing is shown of a run that is over sooner."""
COMPILING = "Compiling the wave solver for this machine: about half a minute, once."
KEPT_FOR_NOW = (
    "What is compiled is kept among temporary files, since your folder for caches cannot be"
    " written: NUMBA_CACHE_DIR may name another."
)


PAGE_WIDTH = 100
"""Characters in a line where there is no terminal to ask."""


class _Piped(Console):
    """A console whose reader may have seen enough."""

    def on_broken_pipe(self) -> None:
        """End an answer as one that was read; of progress it is no reason to end anything."""
        if self.file is sys.stdout:
            raise BrokenPipeError
        self.quiet = True


def open_console(stream: IO[str]) -> Console:
    """Console on a stream: colours and the terminal's width only where it is a terminal."""
    if isinstance(stream, io.TextIOWrapper):
        # A character that the terminal does not know is no reason to withhold an answer.
        stream.reconfigure(errors="replace")
    if stream.isatty():
        return _Piped(file=stream, highlight=False, markup=False, emoji=False)
    return _Piped(
        file=stream,
        width=PAGE_WIDTH,
        highlight=False,
        markup=False,
        emoji=False,
        no_color=True,
        force_terminal=False,
    )


@dataclass(frozen=True)
class Noting:
    """Progress that can be told in words, too, what is known so far.

    Attributes
    ----------
    count : callable
        Told of (stage, done, total) solves.
    note : callable
        Told of words.
    """

    count: Callable[[str, int, int], None]
    note: Callable[[str], None]

    def __call__(self, stage: str, done: int, total: int) -> None:
        """Pass on how far a stage has come."""
        self.count(stage, done, total)


class Watch:
    """Progress of a run, on the terminal while it lasts.

    Called with (stage, done, total) from any thread. Where the console is no terminal, only the
    word on compiling is printed.

    Parameters
    ----------
    console : Console
        For standard error, so that results stay clean.
    """

    def __init__(self, console: Console) -> None:
        self._console = console
        self._bar = Progress(
            TextColumn("{task.description}"),
            BarColumn(),
            TextColumn("{task.percentage:>3.0f} %"),
            TimeRemainingColumn(),
            console=console,
            transient=True,
        )
        self._task = self._bar.add_task("starting", total=None)
        self._stage = ""
        self._must_compile = not kernels_are_cached()
        self._lock = threading.Lock()
        self._timer = threading.Timer(PATIENCE_S, self._appear)
        self._timer.daemon = True
        self._over = False

    def __enter__(self) -> Self:
        """Begin to wait."""
        self._timer.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Take the bar away."""
        self._timer.cancel()
        with self._lock:
            self._over = True
            if self._console.is_terminal:
                self._bar.stop()

    def __call__(self, stage: str, done: int, total: int) -> None:
        """Note how far a stage has come."""
        with self._lock:
            if stage != self._stage:
                self._stage = stage
                self._bar.reset(self._task, total=total, description=stage)
            self._bar.update(self._task, completed=done)

    def note(self, words: str) -> None:
        """Say at once what is known so far; only where somebody waits at a terminal."""
        with self._lock:
            if self._console.is_terminal and not self._over:
                self._console.print(words)

    def _appear(self) -> None:
        with self._lock:
            if self._over:
                return
            if self._must_compile and not self._stage:
                self._console.print(COMPILING)
                if is_temporary(_kernels()):
                    self._console.print(KEPT_FOR_NOW)
            if self._console.is_terminal:
                self._bar.start()


def kernels_are_cached() -> bool:
    """Return whether compiled kernels of the wave solver's assembly are on disk for this code."""
    return any(_kernels().rglob("system.*.nbi"))


def _kernels() -> Path:
    return Path(kernel_folder(os.environ.get("NUMBA_CACHE_DIR", "")) or PACKAGE)
