"""Blocks that problems share: what one body does to itself and sends out, wherever it hangs.

Elements are made with each body in a place of its own (`Assembly.placed_bodies`), so its block of
the system is the same to the last bit in every candidate that holds the same body at the same
frequency: only the coupling between column and reflector is new. What lies beyond the widest ring
of a body that hangs, of a plate its edge and its top, is summed by itself, on itself and with the
column: it stays whatever hangs under a plate that stays. Of the example's cap and plate it has 9 of
15 elements at 1 kHz, and most of their corners. Another cap, and the same at another gap, where the
coupling is new, take half the processor time of a lone sweep (layers on all walls, one worker).

Factoring the column once, and entering each reflector through its Schur complement, was measured
and left out. With the factors kept, what is left of a factorisation takes 0.7 of its time at 190
unknowns, 0.6 at 250, 0.5 at 320 to 500. But the triangular solves that scipy offers crash when two
threads call them at once; and the inverse, with which numpy does it as fast, takes 1.7
factorisations of the whole system to make and pays from the third candidate of a frequency on. In
the trim of the example the column at a frequency serves five solves on average: reckoned so, it
would save 2 per cent.

The coupling block has a rank of 10 to 20 (to 1e-5 of its largest singular value) at any frequency.
A column seen through 30 to 90 of its unknowns, found from ring sources 4 to 8 mm above it, gives
levels within 0.005 dB at five caps of the example, but those lie on half of its elements, and
finding them takes sums over a hundred rings: left out.
"""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import NamedTuple, TypeVar, cast

import numpy as np

MOST_BLOCK_BYTES = 600 * 2**20
"""Memory that the shared blocks of one process may take, in bytes. Column and reflector of the
three examples take 208 to 246 MiB at 92 frequencies (4 a third octave, 100 Hz to 16 kHz), two
thirds of it for the far field in 361 directions; at 276 frequencies 624 to 739 MiB. So a study at 4
a band keeps every block of the column and of two reflectors, and a settling at 12 a band nearly all
of its own, in less than half of the 1536 MiB that a study may take."""

AGAIN_AT_MOST = 0.8
"""Share of the memory beyond which blocks that were found again give way to new ones."""


class Block(NamedTuple):
    """A part of the system, or of what is sent out: matrix p - drive q.

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


class Blocks(tuple[Block, ...]):
    """Parts of the system that are kept together."""

    @property
    def size(self) -> int:
        """Bytes in memory."""
        return sum(block.size for block in self)


Kept = TypeVar("Kept", Block, Blocks)


class SharedBlocks:
    """Blocks that were computed; when memory runs out, those never found again go first.

    Of these, and then of the others, the least recently used goes first: the blocks of a column
    that all candidates have stay, although each candidate leaves behind those of its reflector.

    Parameters
    ----------
    most_bytes : int
        Memory for blocks.
    """

    def __init__(self, most_bytes: int = MOST_BLOCK_BYTES) -> None:
        self._most_bytes, self._bytes = most_bytes, 0
        self._once: OrderedDict[Hashable, Block | Blocks] = OrderedDict()
        self._again: OrderedDict[Hashable, Block | Blocks] = OrderedDict()
        self._bytes_again = 0
        self._lock = Lock()
        self.found = self.made = 0

    def find(self, key: Hashable, make: Callable[[], Kept]) -> Kept:
        """Return the block of this key; `make` it if it is not there. Safe from any thread."""
        with self._lock:
            if (block := self._known(key)) is not None:
                self.found += 1
                return cast(Kept, block)
        block = make()
        with self._lock:
            self.made += 1
            if key not in self._once and key not in self._again:
                self._once[key] = block
                self._bytes += block.size
            while self._bytes > self._most_bytes and len(self._once) + len(self._again) > 1:
                self._give_one_up()
        return block

    def _known(self, key: Hashable) -> Block | Blocks | None:
        if key in self._again:
            self._again.move_to_end(key)
            return self._again[key]
        block = self._once.pop(key, None)
        if block is not None:
            self._again[key] = block
            self._bytes_again += block.size
        return block

    def _give_one_up(self) -> None:
        if self._bytes_again > AGAIN_AT_MOST * self._most_bytes or not self._once:
            _, oldest = self._again.popitem(last=False)
            self._bytes_again -= oldest.size
        else:
            _, oldest = self._once.popitem(last=False)
        self._bytes -= oldest.size
