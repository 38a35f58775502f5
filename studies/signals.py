"""Signals that end the command: how soon, in which order, with which status. Loads nothing heavy.

The first Ctrl-C, SIGTERM or SIGHUP stops what is being solved and ends the command in good order;
what has not ended `PATIENCE_S` later, such as a factorisation that nothing can stop, is ended. A
second one ends it at once: the ledger and all files bear that.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
from collections.abc import Callable
from types import FrameType
from typing import Any

PATIENCE_S = 1.5
WORDS = "Interrupted. No half-written file is left."
TAKEN = ("SIGINT", "SIGTERM", "SIGHUP")
"""Those that a system does not know are left out, and those that whoever started us ignores."""


class Signals:
    """The signals that end the command.

    Attributes
    ----------
    came : int
        Number of the first that came; 0 before.
    """

    def __init__(self) -> None:
        self.came = 0

    @property
    def status(self) -> int:
        """Exit status of what was interrupted, as shells have it: 128 and the signal's number."""
        return 128 + (self.came or signal.SIGINT)

    def take(self) -> None:
        """Answer to all of `TAKEN` from here on; in the main thread."""
        known = [number for name in TAKEN if (number := getattr(signal, name, None))]
        taken = [number for number in known if signal.getsignal(number) != signal.SIG_IGN]
        ear, mouth = os.pipe()
        os.set_blocking(mouth, False)
        signal.set_wakeup_fd(mouth, warn_on_full_buffer=False)
        for number in taken:
            signal.signal(number, self._interrupt)
        threading.Thread(target=self._watch, args=(ear, taken), daemon=True).start()

    def _interrupt(self, number: int, frame: FrameType | None) -> None:
        self.came = self.came or number
        # Wherever it is raised, in a callback or a thread that ends, nothing more is to be told.
        sys.unraisablehook = threading.excepthook = _say_nothing
        raise KeyboardInterrupt

    def _watch(self, ear: int, taken: list[int]) -> None:
        """Hear of signals in a thread of its own: the main one may be deep in compiled code."""
        self.came = self.came or _next_of(taken, ear)
        if stopping := sys.modules.get("dispersion.stopping"):
            stopping.EVERYTHING.set()
        patience = threading.Timer(PATIENCE_S, self._end_it)
        patience.daemon = True
        patience.start()
        _next_of(taken, ear)
        os._exit(self.status)

    def _end_it(self) -> None:
        with contextlib.suppress(OSError):
            os.write(2, f"\n{WORDS}\n".encode())
        os._exit(self.status)


SIGNALS = Signals()


def _next_of(numbers: list[int], ear: int) -> int:
    while (number := os.read(ear, 1)[0]) not in numbers:
        pass
    return number


def run_answering(command: Callable[[], None]) -> None:
    """Run a command that ends the process, and answer to signals meanwhile."""
    for name in ("stdin", "stdout", "stderr"):
        if getattr(sys, name) is None:  # closed by whoever started us
            setattr(sys, name, open(os.devnull, "r+", encoding="utf-8"))  # noqa: PTH123, SIM115
    SIGNALS.take()
    try:
        command()
    except BaseException:
        if not SIGNALS.came:
            raise
    if SIGNALS.came:
        # In good order, but without the second in which compiled code is taken down.
        for stream in (sys.stdout, sys.stderr):
            with contextlib.suppress(AttributeError, OSError):
                stream.flush()
        os._exit(SIGNALS.status)


def _say_nothing(_: Any) -> None:
    pass
