"""Pieces of work for `studies.solving.processes`: other processes must be able to load them."""

import os
import signal
import time

from studies.solving.processes import Advance, Solve, workers_of


def told(solver: Solve, advance: Advance, number: int) -> tuple[int, int, int]:
    """Piece: what it was given, how many workers its solver has, and in which process it ran."""
    advance(1)
    return number, workers_of(solver), os.getpid()


def refused(solver: Solve, advance: Advance, number: int) -> int:
    if number == 3:
        raise ValueError(f"no {number}")
    return number


def ended(solver: Solve, advance: Advance, number: int) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def slow(solver: Solve, advance: Advance, number: int) -> None:
    advance(1)
    time.sleep(60.0)
