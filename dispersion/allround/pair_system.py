"""The system of two bodies, each with its own blocks inverted, by GMRES.

GMRES: Saad and Schultz, SIAM J. Sci. Stat. Comput. 7, 856 (1986) [from memory], without restarts.
"""

import numpy as np

from dispersion.allround.flat_ring import AllRoundError
from dispersion.stopping import current_stop

WITHIN = 1e-6
"""Residual at which GMRES stops, over the right side."""
MOST_ROUNDS = 400


class PairSystem:
    """The system of both bodies, orders 0 ... M - 1 of either together.

    Parameters
    ----------
    inverses : two lists of M arrays
        Of the own blocks of either.
    unknowns : (int, int)
        Of either, of one order.
    to_hung, to_column : (M, N_1, M, N_0) and (M, N_0, M, N_1) arrays
        What one does to the other.
    """

    def __init__(
        self,
        inverses: list[list[np.ndarray]],
        unknowns: tuple[int, int],
        to_hung: np.ndarray,
        to_column: np.ndarray,
    ) -> None:
        self.inverses, self.orders = inverses, len(inverses[0])
        self.split = self.orders * unknowns[0]
        self.size = self.split + self.orders * unknowns[1]
        self.to_hung = to_hung.reshape(-1, self.split)
        self.to_column = to_column.reshape(self.split, -1)

    def solved(
        self, on_column: np.ndarray, on_hung: np.ndarray
    ) -> tuple[tuple[np.ndarray, np.ndarray], int]:
        """Pressures (M, N, W) on either for right sides (M, N, W), and rounds of GMRES."""
        ways, most = on_column.shape[-1], 0
        found = np.empty((self.size, ways), dtype=complex)
        for w in range(ways):
            right = np.concatenate((on_column[..., w].ravel(), on_hung[..., w].ravel()))
            found[:, w], rounds = self._found(self._by_own(right))
            most = max(most, rounds)
        first, second = np.split(found, [self.split])
        shape = (self.orders, -1, ways)
        return (first.reshape(shape), second.reshape(shape)), most

    def _found(self, right: np.ndarray) -> tuple[np.ndarray, int]:
        """Solution by GMRES without restarts, and its rounds."""
        size = np.linalg.norm(right)
        span = [right / size]
        steep = np.zeros((MOST_ROUNDS + 1, MOST_ROUNDS), dtype=complex)
        aim = np.zeros(MOST_ROUNDS + 1, dtype=complex)
        aim[0] = size
        for n in range(MOST_ROUNDS):
            current_stop().check()
            new = self._applied(span[n])
            basis_so_far = np.array(span)
            for _ in range(2):  # twice is enough to keep it orthogonal
                along = basis_so_far.conj() @ new
                new = new - along @ basis_so_far
                steep[: n + 1, n] += along
            steep[n + 1, n] = left = np.linalg.norm(new)
            part = steep[: n + 2, : n + 1]
            shares, *_ = np.linalg.lstsq(part, aim[: n + 2], rcond=None)
            if np.linalg.norm(aim[: n + 2] - part @ shares) < WITHIN * size:
                return shares @ basis_so_far, n + 1
            span.append(new / left)
        raise AllRoundError(f"no solution within {MOST_ROUNDS} rounds: hang it straighter")

    def _applied(self, x: np.ndarray) -> np.ndarray:
        first, second = x[: self.split], x[self.split :]
        return x - self._by_own(np.concatenate((self.to_column @ second, self.to_hung @ first)))

    def _by_own(self, right: np.ndarray) -> np.ndarray:
        """Solve with the own blocks, order by order."""
        out, begin = np.empty_like(right), 0
        for blocks in self.inverses:
            for inverse in blocks:
                end = begin + len(inverse)
                out[begin:end] = inverse @ right[begin:end]
                begin = end
        return out
