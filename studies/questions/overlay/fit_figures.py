"""What a fit found: sizes with their intervals, and what it leaves."""

from __future__ import annotations

import numpy as np

from studies.charts import Sized, fitted_sizes_figure, left_by_fit_figure
from studies.fitting import Estimate, Fitted
from studies.pictures.picture import Picture, Pictures


def fitting_pictures(fitted: Fitted) -> Pictures:
    """Draw what a fit found."""
    return {"fit": _sizes(fitted), "fit-left": _left(fitted)}


def _sizes(fitted: Fitted) -> Picture:
    figure = fitted_sizes_figure(
        f"{fitted.design.title}: sizes fitted to the readings",
        [_sized(o) for o in fitted.estimates],
    )
    return Picture(
        figure,
        "A short bar far from the line is a size that the readings know, and that is not as"
        " written; a bar as long as the grey one is a size of which they know nothing.",
    )


def _sized(one: Estimate) -> Sized:
    size = one.parameter
    ends = (size.widths_of(value) for value in (one.value, one.low, one.high))
    return Sized(size.name, size.in_words(one.value), *ends)


def _left(fitted: Fitted) -> Picture:
    held = fitted.held_out
    nothing = np.full(fitted.known.shape, np.nan)
    figure = left_by_fit_figure(
        f"{fitted.design.title}: what is left of the readings",
        fitted.measured.centres,
        [_rms(left, 0) for left in fitted.left_db],
        [at.name for at in fitted.measured.positions],
        [_rms(left, 1) for left in fitted.left_db],
        [_rms(left, 1) for left in ((nothing,) * 2 if held is None else held.errors_db)],
    )
    return Picture(
        figure,
        "Where the fit leaves less than the design as written. An orange diamond beyond the blue"
        " one is a position that the fit to the rest foretells worse than what is written.",
    )


def _rms(left: np.ndarray, over: int) -> np.ndarray:
    counts = np.isfinite(left).sum(axis=over)
    square = np.nansum(left**2, axis=over)
    return np.sqrt(np.divide(square, counts, out=np.full(counts.shape, np.nan), where=counts > 0))
