"""Stop what is being solved, from any thread: a flag that compiled loops look at.

The assembly looks at it between two rows of elements, hundredths of a second apart even on the
largest mesh, the field at points between two points, the coupling of two axes between two elements.
Whatever is stopped raises `StoppedError`.

    stop = StopFlag()
    with stopped_by(stop):  # in the thread that asks; another may call stop.set()
        ...

A question that runs under no stop of its own answers to `EVERYTHING`, which the command sets when
it is interrupted. Threads that share the work answer to the stop of the thread that started them:
they must be `Threads`.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextvars import ContextVar, copy_context
from functools import partial
from typing import ParamSpec, TypeVar

import numpy as np

Given = ParamSpec("Given")
Result = TypeVar("Result")


class StoppedError(RuntimeError):
    """What was being solved was stopped from outside; there is no result, and none is at fault."""


class StopFlag:
    """A flag that any thread may set; what runs under it then raises `StoppedError`.

    Attributes
    ----------
    flag : (1,) uint8 array
        0 until it is set; compiled loops look at it.
    """

    def __init__(self) -> None:
        self.flag = np.zeros(1, np.uint8)

    def set(self) -> None:
        """Stop all that runs under this, and whatever begins under it later."""
        self.flag[0] = 1

    def check(self) -> None:
        """Raise StoppedError if it was set."""
        if self.flag[0]:
            raise StoppedError("stopped before it was finished")


EVERYTHING = StopFlag()
"""Of all that runs under no stop of its own."""
_asked = ContextVar("_asked", default=EVERYTHING)


def current_stop() -> StopFlag:
    """Return the stop that this thread answers to."""
    return _asked.get()


@contextlib.contextmanager
def stopped_by(stop: StopFlag) -> Iterator[StopFlag]:
    """Have this thread, and all `Threads` that it starts, answer to a stop of their own."""
    token = _asked.set(stop)
    try:
        yield stop
    finally:
        _asked.reset(token)


class Threads(ThreadPoolExecutor):
    """A pool of threads that answer to the stop of whoever gives them work."""

    def submit(
        self, fn: Callable[Given, Result], /, *args: Given.args, **kwargs: Given.kwargs
    ) -> Future[Result]:
        """Give it a call, which runs in the context of the caller."""
        return super().submit(partial(copy_context().run, fn, *args, **kwargs))
