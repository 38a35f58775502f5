"""What runs in the processes that `studies.solving.processes` begins.

Loads nothing heavy before it can be ended: loading takes a second.
"""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from studies.solving.ledger import Ledger


@dataclass(frozen=True, kw_only=True)
class Returned:
    """What comes back from a piece, and what its process did with the ledger.

    Attributes
    ----------
    result : object
    found, kept : int
        Solves of earlier runs that were found in the ledger, and solves that were written.
    said : tuple of str
        What the ledger had to say to the user.
    """

    result: Any
    found: int
    kept: int
    said: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class _Here:
    """What this process has of its own; `own` are keywords of the wave solver."""

    own: dict[str, Any]
    ledger: Ledger | None
    counts: Any
    said: list[str]


_here: list[_Here] = []
_until_it_ends = contextlib.ExitStack()


def begin_here(count: int, path: Path | None, since: float, counts: Any, alive: Connection) -> None:
    """Make ready a process that was just begun.

    Parameters
    ----------
    count : int
        Processes that share the memory which one would use.
    path : Path or None
        Of the ledger, if there is one.
    since : float
        Unix time, s, at which the run began.
    counts : multiprocessing.SimpleQueue
        Where finished solves are counted.
    alive : Connection
        Which ends when this process is to end.
    """
    threading.Thread(target=_end_with, args=(alive,), daemon=True).start()
    from dispersion.waves import SharedBlocks, one_blas_thread
    from dispersion.waves.sharing import MOST_BLOCK_BYTES
    from studies.solving.ledger import Ledger
    from studies.solving.ledger_file import LedgerError
    from studies.solving.memory import MOST_BYTES, Remembering

    _until_it_ends.enter_context(one_blas_thread())  # others would only spin between solves
    said: list[str] = []
    ledger = None
    if path is not None:
        with contextlib.suppress(LedgerError):  # of which its owner has told
            ledger = Ledger(path, said.append, since=since)
    own = {
        "shared": SharedBlocks(MOST_BLOCK_BYTES // count),
        "store": Remembering(ledger, MOST_BYTES // count),
    }
    _here.append(_Here(own=own, ledger=ledger, counts=counts, said=said))


def _end_with(alive: Connection) -> None:
    """End this process when the one that began it wants so, or is gone, whatever killed it."""
    with contextlib.suppress(EOFError, OSError):
        alive.recv()
    os._exit(1)


def answered(
    piece: Callable[..., Any], sent: tuple[Callable[..., Any], bool], item: tuple[Any, ...]
) -> Returned:
    """Solve a piece in this process.

    Parameters
    ----------
    piece : callable
        See `studies.solving.processes.Piece`.
    sent : (callable, bool)
        The solver, and whether it takes shared blocks and a store.
    item : tuple
        What the piece is given besides.
    """
    (here,), (solver, waves) = _here, sent
    own = partial(solver, workers=1, **here.own) if waves else partial(solver, workers=1)
    before, heard = _tally(here.ledger), len(here.said)
    result = piece(own, here.counts.put, *item)
    found, kept = (now - then for now, then in zip(_tally(here.ledger), before, strict=True))
    return Returned(result=result, found=found, kept=kept, said=tuple(here.said[heard:]))


def _tally(ledger: Ledger | None) -> tuple[int, int]:
    return (0, 0) if ledger is None else (ledger.found, ledger.kept)
