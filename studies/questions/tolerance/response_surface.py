"""Band levels of a design with several sizes off, read from the sizes moved one at a time.

A quadratic response surface without cross terms: every level, in dB, is that of the design as
written and what each size alone changes, a parabola through both ends of its tolerance. Where sizes
act on each other it does not hold; that shows in speakers that were solved throughout, see
`studies.questions.tolerance.batch`.

Over 32 speakers of two examples, all six sizes off at once, against solving each: error of the
window's level in the third octave that is worst, rms, and how much the speakers differ there, dB:

    ==================================  =====  ========
    ..                                  error  speakers
    ==================================  =====  ========
    cone                                0.07   0.25
    ball, but for 5 and 6.3 kHz         0.35   0.95
    ball, but for 5, 6.3 and 12.5 kHz   0.15   0.50
    ball, all third octaves             1.2    1.8
    ==================================  =====  ========

Under the ball a resonance of Q 150 at 5.6 kHz crosses from one third octave into the next. Left
out: the same of complex pressures at single frequencies, and of their logarithms. Levels at a seat
are then off by 1.4 dB rms at 10 kHz (logarithms 0.7 dB at 16 kHz) too, where phases turn too far.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dispersion.coverage import Coverage, coverage_of_bands
from dispersion.sliding import SlidingBands
from studies.questions.tolerance.sensitivity import Sensitivity, seat_levels_db
from studies.solving.candidates import Row


@dataclass(frozen=True, eq=False)
class BandLevels:
    """Third-octave levels of one speaker.

    Attributes
    ----------
    far_db : (B, E) array
        Far away, by elevation, dB.
    seat_db : (B,) array
        At the first seat, or of the window where there is no seat, dB.
    centres : (B,) array
        Hz.
    sliding : SlidingBands
        From which the score is taken.
    """

    far_db: np.ndarray
    seat_db: np.ndarray
    centres: np.ndarray
    sliding: SlidingBands

    def coverage(self, like: Coverage) -> Coverage:
        """What the pattern amounts to, in the bands, window and elevations of another."""
        power = 10.0 ** (self.far_db / 10.0)
        return coverage_of_bands(
            like.centres, like.elevations, power, like.window, like.band, self.sliding
        )

    def with_bands(self, bands: np.ndarray | slice, others: BandLevels) -> BandLevels:
        """The same with some bands from others, which hold these bands only."""
        far, seat = self.far_db.copy(), self.seat_db.copy()
        far[bands], seat[bands] = others.far_db, others.seat_db
        chosen = np.zeros(len(self.centres), dtype=bool)
        chosen[bands] = True
        where = chosen[_nearest(self.sliding.centres, self.centres)]
        return BandLevels(far, seat, self.centres, self.sliding.replaced(where, others.sliding))

    def only(self, bands: np.ndarray) -> BandLevels:
        """Some of the bands."""
        return BandLevels(
            self.far_db[bands], self.seat_db[bands], self.centres[bands], self.sliding
        )


def _nearest(places: np.ndarray, centres: np.ndarray) -> np.ndarray:
    """Number of the third octave in which each place lies."""
    return np.abs(np.log(places[:, None] / centres)).argmin(axis=1)


def levels_of(row: Row) -> BandLevels:
    """Levels of a row that was solved."""
    found = row.coverage
    return BandLevels(found.level_db, seat_levels_db(row), found.centres, found.sliding)


def read_levels(sizes: Sequence[Sensitivity], changes: Sequence[float]) -> BandLevels:
    """Read the levels of a design with every size off by its own amount.

    Parameters
    ----------
    sizes : sequence of Sensitivity
        One at least. An end that cannot be built is taken as far off as the other, with the sign
        reversed.
    changes : sequence of float
        How far each of these sizes is off, SI.
    """
    nominal = levels_of(sizes[0].nominal)
    moves = [
        (share, levels_of(row))
        for size, change in zip(sizes, changes, strict=True)
        for row, share in zip(
            (size.minus, size.plus), _shares_of_ends(size, float(change)), strict=True
        )
        if share != 0.0
    ]
    return BandLevels(
        nominal.far_db + sum(share * (there.far_db - nominal.far_db) for share, there in moves),
        nominal.seat_db + sum(share * (there.seat_db - nominal.seat_db) for share, there in moves),
        nominal.centres,
        nominal.sliding.changed(
            [share for share, _ in moves], [there.sliding for _, there in moves]
        ),
    )


def _shares_of_ends(size: Sensitivity, change: float) -> tuple[float, float]:
    """Shares of the changes at lower and upper end in the change at `change`.

    Those of the parabola through both ends and 0; of the straight line where there is one end.
    """
    down = size.dimension.down if size.minus.solved else 0.0
    up = size.dimension.up if size.plus.solved else 0.0
    if down == 0.0 or up == 0.0:
        return (-change / down if down else 0.0), (change / up if up else 0.0)
    span = down + up
    return change * (change - up) / (down * span), change * (change + down) / (up * span)
