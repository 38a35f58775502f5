"""Blocks that problems share: what one body does to itself and sends out, wherever it hangs."""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import NamedTuple

import numpy as np


class Block(NamedTuple):
    """A part of the system.

    Attributes
    ----------
    matrix : (R, N) complex array
        Acts on the pressure at the unknowns; R rows, of the system or of directions.
    drive : (R, D) complex array
        Acts on the driven node values of dp/dn.
    """

    matrix: np.ndarray
    drive: np.ndarray

    @property
    def size(self) -> int:
        """Bytes in memory."""
        return self.matrix.nbytes + self.drive.nbytes


class SharedBlocks:
    """Blocks that were computed, the least recently used given up when memory runs out.

    Parameters
    ----------
    most_bytes : int
        Memory for blocks. A column and a reflector at 92 frequencies up to 19.2 kHz take about
        300 MB, half of it for the far field in 361 directions.
    """

    def __init__(self, most_bytes: int = 600 * 2**20) -> None:
        self._most_bytes, self._bytes = most_bytes, 0
        self._blocks: OrderedDict[Hashable, Block] = OrderedDict()
        self._lock = Lock()
        self.found = self.made = 0

    def find(self, key: Hashable, make: Callable[[], Block]) -> Block:
        """Return the block of this key; `make` it if it is not there. Safe from any thread."""
        with self._lock:
            if key in self._blocks:
                self._blocks.move_to_end(key)
                self.found += 1
                return self._blocks[key]
        block = make()
        with self._lock:
            self.made += 1
            if key not in self._blocks:
                self._blocks[key] = block
                self._bytes += block.size
            while self._bytes > self._most_bytes and len(self._blocks) > 1:
                _, oldest = self._blocks.popitem(last=False)
                self._bytes -= oldest.size
        return block
