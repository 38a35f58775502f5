"""Linear algebra held to one thread while any solve of this process runs.

More threads share the work of a factorisation otherwise, and round otherwise. The limit belongs
to the process, and threadpoolctl lets one thread at a time set it: a thread of its own takes it
with the first solve and gives it back with the last, so that solves side by side give the same
bits as one after the other.
"""

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from threading import Event, Lock, Thread

from threadpoolctl import threadpool_limits


@dataclass
class _Holder:
    """A thread that holds the limit from `take` to `give_back`."""

    held: Event = field(default_factory=Event)
    over: Event = field(default_factory=Event)

    def take(self) -> None:
        self._thread = Thread(target=self._hold, daemon=True)
        self._thread.start()
        self.held.wait()

    def give_back(self) -> None:
        self.over.set()
        self._thread.join()

    def _hold(self) -> None:
        try:
            with threadpool_limits(1, user_api="blas"):
                self.held.set()
                self.over.wait()
        finally:
            self.held.set()  # whoever waits is not left waiting


_lock = Lock()
_running = 0
_holder = _Holder()


@contextlib.contextmanager
def one_blas_thread() -> Iterator[None]:
    """Hold the limit; may be entered from several threads at once."""
    global _running, _holder
    with _lock:
        _running += 1
        if _running == 1:
            _holder = _Holder()
            _holder.take()
    try:
        yield
    finally:
        with _lock:
            _running -= 1
            if _running == 0:
                _holder.give_back()
