"""Blocks that problems share: what one body does to itself and sends out, wherever it hangs.

Elements are made with each body in a place of its own (`Assembly.placed_bodies`), so its block of
the system is the same to the last bit in every candidate that holds the same body at the same
frequency: only the coupling between column and reflector is new. A study with the column shared
takes 0.6 of the time, with the reflector too (another gap) 0.5. Factoring the column once, and
entering each reflector through its Schur complement, was measured and left out: it saves 16 per
cent of the factorisation at the highest frequency, 5 per cent of a candidate, for twice the memory.
"""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import NamedTuple

import numpy as np

MOST_BLOCK_BYTES = 600 * 2**20
"""Memory that the shared blocks of one process may take, in bytes. Column and reflector of the
three examples take 208 to 246 MiB at 92 frequencies (4 a third octave, 100 Hz to 16 kHz), two
thirds of it for the far field in 361 directions; at 276 frequencies 624 to 739 MiB. So a study at 4
a band keeps every block of the column and of two reflectors, and a settling at 12 a band nearly all
of its own, in less than half of the 1536 MiB that a study may take."""


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
        Memory for blocks.
    """

    def __init__(self, most_bytes: int = MOST_BLOCK_BYTES) -> None:
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
