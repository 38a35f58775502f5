"""Finished solves of one study kept in memory, so that what is settled later begins with them."""

from __future__ import annotations

from collections import OrderedDict
from threading import Lock

from dispersion.fields import Fields, Store

MOST_BYTES = 200 * 2**20
"""Some 25 000 solves of 361 directions; the oldest go first."""


class Remembering:
    """A store that remembers the latest solves, before another store that keeps them all.

    Parameters
    ----------
    behind : Store or None
        Such as the ledger; None if nothing is kept when the study is over.
    most_bytes : int
        Memory that the remembered fields may take.
    """

    def __init__(self, behind: Store | None, most_bytes: int = MOST_BYTES) -> None:
        self._behind, self._most_bytes = behind, most_bytes
        self._known: OrderedDict[bytes, Fields] = OrderedDict()
        self._bytes, self._lock = 0, Lock()

    def fetch(self, key: bytes) -> Fields | None:
        """Return what was kept under a name, None if there is nothing."""
        with self._lock:
            if key in self._known:
                return self._known[key]
        found = None if self._behind is None else self._behind.fetch(key)
        if found is not None:
            self._remember(key, found)
        return found

    def keep(self, key: bytes, fields: Fields) -> None:
        """Keep a finished solve."""
        self._remember(key, fields)
        if self._behind is not None:
            self._behind.keep(key, fields)

    def _remember(self, key: bytes, fields: Fields) -> None:
        with self._lock:
            if key in self._known:
                return
            self._known[key] = fields
            self._bytes += _size(fields)
            while self._bytes > self._most_bytes:
                self._bytes -= _size(self._known.popitem(last=False)[1])


def _size(fields: Fields) -> int:
    return fields.far.nbytes + fields.near.nbytes + fields.arrived.nbytes
