"""Linear algebra held to one thread while any solve of this process runs.

More threads share the work of a factorisation otherwise, and round otherwise. The limit belongs
to the process: the last solve that ends lifts it, not the first, so that solves side by side give
the same bits as one after the other.
"""

import contextlib
from collections.abc import Iterator
from threading import Lock

from threadpoolctl import threadpool_limits

_lock = Lock()
_limits: list[threadpool_limits] = []
_running = 0


@contextlib.contextmanager
def one_blas_thread() -> Iterator[None]:
    """Hold the limit; may be entered from several threads at once."""
    global _running
    with _lock:
        _running += 1
        if _running == 1:
            _limits.append(threadpool_limits(1, user_api="blas"))
    try:
        yield
    finally:
        with _lock:
            _running -= 1
            if _running == 0:
                _limits.pop().restore_original_limits()
