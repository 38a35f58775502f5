"""One size moved to either end of its tolerance: what that does to score and curve."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from studies.design.moves import Dimension
from studies.questions.tolerance.batch import seat_levels_db
from studies.solving.candidates import Row
from studies.solving.target import METER_DB, NO_DIFFERENCE_DB


@dataclass(frozen=True, eq=False)
class Sensitivity:
    """A design solved as written, and with one size at either end of its tolerance.

    Scores are decibels of `studies.solving.target.score`; less is better. The curve is the
    third-octave level at the first seat, or of the window where there is no seat.

    Attributes
    ----------
    dimension : Dimension
        The size that is moved, with its tolerance downwards and upwards.
    nominal, minus, plus : Row
        The design as written, at the lower end and at the upper end. An end that cannot be built
        is a row with its reason.
    """

    dimension: Dimension
    nominal: Row
    minus: Row
    plus: Row

    @property
    def minus_db(self) -> float:
        """Change of the score at the lower end, dB; nan if that cannot be built."""
        return _change(self.minus, self.nominal)

    @property
    def plus_db(self) -> float:
        """Change of the score at the upper end, dB; nan if that cannot be built."""
        return _change(self.plus, self.nominal)

    @property
    def reason(self) -> str:
        """Why an end cannot be built; empty if both can."""
        ends = (("minus", self.minus), ("plus", self.plus))
        return "; ".join(f"{side}: {row.reason}" for side, row in ends if row.reason)

    @property
    def cost_db(self) -> float:
        """How much the score worsens at the worse end, dB; 0 if it worsens at neither."""
        return float(np.nanmax([self.minus_db, self.plus_db, 0.0]))

    @property
    def slope_db(self) -> float:
        """Change of the score per unit of the dimension, dB: central difference.

        One-sided where one end cannot be built; 0 where neither can.
        """
        high, low = self._outermost
        return float(high.score - low.score) * self._units_per_span

    @property
    def bend_db(self) -> float:
        """Curvature: mean change of the score at both ends, dB; 0 if linear; or nan."""
        return 0.5 * (self.minus_db + self.plus_db)

    @property
    def curve_slope_db(self) -> np.ndarray:
        """(B,) change of the curve per unit of the dimension, dB: central difference."""
        high, low = self._outermost
        return (seat_levels_db(high) - seat_levels_db(low)) * self._units_per_span

    @property
    def curve_slope_rms_db(self) -> float:
        """Root mean square of that slope over the bands, dB per unit."""
        return float(np.sqrt(np.mean(self.curve_slope_db**2)))

    @cached_property
    def curve_change_db(self) -> np.ndarray:
        """(2, B) change of the curve at the lower and the upper end, dB; nan if not built."""
        levels = seat_levels_db(self.nominal)
        ends = (self.minus, self.plus)
        nothing = np.full(levels.shape, np.nan)
        return np.array([seat_levels_db(r) - levels if r.solved else nothing for r in ends])

    @property
    def curve_rms_db(self) -> float:
        """Change of the curve at the worse end, rms over the bands, dB; 0 if neither is built."""
        if np.isnan(self.curve_change_db).all():
            return 0.0
        return float(np.sqrt(np.nanmax(np.mean(self.curve_change_db**2, axis=1))))

    @property
    def largest_db(self) -> float:
        """Largest change of a third octave at either end, signed, dB."""
        end, band = self._largest_at
        return float(np.nan_to_num(self.curve_change_db[end, band]))

    @property
    def largest_at_hz(self) -> float:
        """Centre of the third octave with the largest change, Hz."""
        return float(self.nominal.coverage.centres[self._largest_at[1]])

    @property
    def curve_ends_db(self) -> tuple[float, float]:
        """Largest change of a third octave at lower and upper end, signed, dB; or nan."""
        minus, plus = (float(ends[np.argmax(np.abs(ends))]) for ends in self.curve_change_db)
        return minus, plus

    @property
    def matters(self) -> bool:
        """Whether score or a level meter show the change, or an end cannot be built."""
        seen = self.cost_db >= NO_DIFFERENCE_DB or abs(self.largest_db) >= METER_DB
        return seen or bool(self.reason)

    @property
    def _largest_at(self) -> tuple[int, int]:
        sizes = np.nan_to_num(np.abs(self.curve_change_db))
        end, band = np.unravel_index(int(np.argmax(sizes)), sizes.shape)
        return int(end), int(band)

    @property
    def _outermost(self) -> tuple[Row, Row]:
        """Upper and lower end; the nominal row in place of one that cannot be built."""
        upper, lower = (row if row.solved else self.nominal for row in (self.plus, self.minus))
        return upper, lower

    @property
    def _units_per_span(self) -> float:
        span = self.dimension.up * self.plus.solved + self.dimension.down * self.minus.solved
        return self.dimension.unit.size / span if span else 0.0


def _change(row: Row, nominal: Row) -> float:
    return row.score - nominal.score if row.solved else float("nan")
