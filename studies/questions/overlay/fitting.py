"""Which sizes does the speaker truly have? The model's sizes fitted to what was measured.

Few sizes, each within bounds and drawn to what is written by its prior, are changed until the
model's band levels at the positions come as close to the readings as they can. See
`studies.questions.overlay.estimating` for the formulas.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from dispersion.response import Response
from studies.design import Design, parse_design
from studies.design.parameters import Parameter, parameters_of
from studies.measured.comparing import MODEL_DB, READING_DB
from studies.measured.positions import MeasuredBands
from studies.questions.overlay.estimating import (
    centred,
    correlations_of,
    covariance_of,
    free_readings,
    freedom_of,
    half_width,
    level_error,
    scale_of,
)
from studies.questions.overlay.holding_out import HeldOut, hold_out
from studies.questions.overlay.trials import MOST_EVALUATIONS, Trials
from studies.solving.grid import FINE_PER_BAND, Progress, Solver

STATED_DB = float(np.hypot(MODEL_DB, READING_DB))
CONFUSED, UNTOLD = 0.9, 0.8
"""Correlation from which on two sizes cannot be told apart, and share of its prior's width from
which on the readings tell next to nothing of a size."""
AT_BOUND = 0.02
NEAR = 0.5
"""Prior widths within which slopes are kept."""
RESERVED, MOST_STEPS, MOST_ROUNDS, STEADY = 22, 10, 4, 0.1
"""Evaluations kept for slopes at the solution and for angles held out; steps of one search; how
often the scale may be told anew, and what change of it counts as none."""
IMPOSSIBLE_DB = 1e3


class FitError(ValueError):
    """Readings that no sizes can be fitted to; the message holds the remedy."""


@dataclass(frozen=True)
class Estimate:
    """What the fit found of one size.

    Attributes
    ----------
    parameter : Parameter
    value : float
        SI, as it stands in the fitted design.
    low, high : float
        Ends of the 95 % interval, SI, within what makes sense at all.
    spread : float
        Its standard deviation over that of the prior: 1 where the readings tell nothing.
    at_bound : bool
        The fit would have gone farther than it may.
    """

    parameter: Parameter
    value: float
    low: float
    high: float
    spread: float
    at_bound: bool

    @property
    def told(self) -> bool:
        """Tell whether the readings say something of this size."""
        return self.spread <= UNTOLD

    @property
    def differs(self) -> bool:
        """Tell whether what is written lies outside the interval, as both are printed."""
        ends = (self.low, self.parameter.written, self.high)
        digits = 0 if self.parameter.octaves else 1
        low, written, high = (round(self.parameter.in_print(end), digits) for end in ends)
        return not low <= written <= high


@dataclass(frozen=True, eq=False)
class Fitted:
    """The answer.

    Attributes
    ----------
    design, fitted : Design
        As written, and with the sizes found.
    measured : MeasuredBands
        The readings that count; nan elsewhere.
    estimates : tuple of Estimate
    correlations : (K, K) array
        Between the sizes, as the readings tell them.
    curve_removed : bool
        Only differences between positions were fitted; otherwise one level was.
    level : (float, float) or None
        That level, measured less predicted, and half of its 95 % interval, dB.
    stated_db, scale_db : float
        What a reading may be off by, as stated before, and with what is left of the readings.
    freedom : float
        Degrees of freedom of that scale.
    written_db, fitted_db : (P, B) array
        Levels of the model as written and as fitted, dB re 0 dB at 1 m.
    held_out : HeldOut or None
        None where nothing can be left out.
    evaluations : int
        Wave solves of the whole band that it took.
    settled : bool
        False if it was stopped before it stood still.
    response : Response
        The solve of the fitted design.
    """

    design: Design
    fitted: Design
    measured: MeasuredBands
    estimates: tuple[Estimate, ...]
    correlations: np.ndarray
    curve_removed: bool
    level: tuple[float, float] | None
    stated_db: float
    scale_db: float
    freedom: float
    written_db: np.ndarray
    fitted_db: np.ndarray
    held_out: HeldOut | None
    evaluations: int
    settled: bool
    response: Response = field(repr=False)

    @property
    def known(self) -> np.ndarray:
        """(P, B) true where a reading counts."""
        return np.isfinite(self.measured.level_db)

    @property
    def free(self) -> int:
        """Readings less what was removed from them."""
        return free_readings(self.known, self.curve_removed)

    @cached_property
    def left_db(self) -> tuple[np.ndarray, np.ndarray]:
        """(P, B) measured less predicted as written and as fitted, common part removed, dB."""
        return self._left(self.written_db), self._left(self.fitted_db)

    @property
    def rms_db(self) -> tuple[float, float]:
        """Root mean square of both, dB."""
        written, fitted = (float(np.sqrt(np.nanmean(left**2))) for left in self.left_db)
        return written, fitted

    @property
    def confused(self) -> tuple[tuple[Parameter, Parameter, float], ...]:
        """Pairs of sizes that the readings cannot tell apart, with their correlation."""
        sizes = [one.parameter for one in self.estimates]
        pairs = zip(*np.triu_indices(len(sizes), 1), strict=True)
        told = ((sizes[i], sizes[j], float(self.correlations[i, j])) for i, j in pairs)
        return tuple(pair for pair in told if abs(pair[2]) > CONFUSED)

    def _left(self, levels: np.ndarray) -> np.ndarray:
        left = np.full(levels.shape, np.nan)
        left[self.known] = centred(self.measured.level_db - levels, self.known, self.curve_removed)
        return left


def fit(
    design: Design,
    measured: MeasuredBands,
    solver: Solver,
    progress: Progress | None = None,
    per_band: int = FINE_PER_BAND,
    *,
    curve_removed: bool | None = None,
    stated_db: float = STATED_DB,
) -> Fitted:
    """Find the sizes with which the model comes closest to what was measured.

    Parameters
    ----------
    design : Design
    measured : MeasuredBands
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    per_band : int
        Frequencies in a third-octave band. With four, narrow resonances between them moved the
        effective diameter of the example by 1.3 mm.
    curve_removed : bool, optional
        Remove what all positions have in common band by band, that is the driver's own curve, and
        the level with it. Left out: unless the design has a curve of its driver; then one level
        is fitted along.
    stated_db : float
        What a reading may be off by, model and meter together, one standard deviation.

    Raises
    ------
    FitError
        If the readings are too few.
    """
    by_band = design.tables.driver.curve is None if curve_removed is None else curve_removed
    parameters = _movable(design)
    readings = _that_count(measured, by_band)
    _require_enough(readings, len(parameters), by_band)
    trials = Trials(design, parameters, readings, solver, per_band, progress)
    free = free_readings(np.isfinite(readings.level_db), by_band)
    freedom = freedom_of(free, len(parameters))
    search = _Search(trials, by_band, stated_db, freedom)
    search.run()
    slopes = search.slopes
    held = hold_out(trials, search.widths, slopes, search.scale_db, by_band)
    trials.finish()
    flat = centred(slopes, search.known, by_band)
    final = trials.built(search.widths)
    left = (readings.level_db - final)[search.known]
    error = level_error(slopes[:, search.known], search.scale_db, freedom)
    return Fitted(
        design,
        parse_design(trials.text(search.widths), design.path),
        readings,
        _estimates(trials, search.widths, covariance_of(flat, search.scale_db), freedom),
        correlations_of(flat, search.scale_db),
        by_band,
        None if by_band else (float(left.mean()), error),
        stated_db,
        search.scale_db,
        freedom,
        trials.built(np.zeros(len(parameters))),
        final,
        held,
        trials.evaluations,
        search.settled,
        trials.response(search.widths),
    )


class _Search:
    """Least squares, and the scale of what is left told anew until both stand still.

    Slopes are kept while the sizes stay near, and told from both sides at the end.
    """

    def __init__(self, trials: Trials, by_band: bool, stated_db: float, freedom: float) -> None:
        self.trials, self.by_band = trials, by_band
        self.known = np.isfinite(trials.measured.level_db)
        self.stated_db, self.freedom = stated_db, freedom
        self.widths = np.zeros(len(trials.parameters))
        self.scale_db, self.settled = stated_db, False
        self._at, self.slopes = self.widths, trials.slopes(self.widths)

    def run(self) -> None:
        """Search from the design as written."""
        self._until_steady()
        self._at, self.slopes = self.widths, self.trials.slopes(self.widths, both_sides=True)
        self._until_steady()

    def _until_steady(self) -> None:
        for _ in range(MOST_ROUNDS):
            standing = self._least_squares()
            before, self.scale_db = self.scale_db, self._scale()
            self.settled = standing and abs(self.scale_db / before - 1.0) < STEADY
            if self.settled:
                return

    def _least_squares(self) -> bool:
        """Move to the most likely sizes at this scale; tell whether they stand still there."""
        from scipy.optimize import least_squares

        found = least_squares(
            self._misfit,
            self.widths,
            jac=self._jacobian,
            bounds=self.trials.bounds,
            ftol=1e-3,
            xtol=1e-3,
            gtol=1e-2,
            max_nfev=max(1, min(self._left, MOST_STEPS)),
        )
        self.widths = found.x
        return found.status > 0

    @property
    def _left(self) -> int:
        """Solves that may still be spent on the search."""
        return MOST_EVALUATIONS - RESERVED - self.trials.evaluations

    def _scale(self) -> float:
        return scale_of(self._residual(self.widths), self.stated_db, self.freedom)

    def _residual(self, widths: np.ndarray) -> np.ndarray:
        levels = self.trials.levels(widths)
        if levels is None:
            return np.full(int(self.known.sum()), IMPOSSIBLE_DB)
        return centred(self.trials.measured.level_db - levels, self.known, self.by_band)

    def _misfit(self, widths: np.ndarray) -> np.ndarray:
        return np.append(self._residual(widths) / self.scale_db, widths)

    def _jacobian(self, widths: np.ndarray) -> np.ndarray:
        far = np.max(np.abs(widths - self._at)) > NEAR
        if far and self._left > 2 * len(widths):
            self._at, self.slopes = widths, self.trials.slopes(widths)
        flat = centred(self.slopes, self.known, self.by_band)
        return np.vstack((-flat.T / self.scale_db, np.eye(len(widths))))


def _movable(design: Design) -> tuple[Parameter, ...]:
    """Parameters that can move at all."""
    return tuple(one for one in parameters_of(design) if one.bounds[1] - one.bounds[0] > AT_BOUND)


def _that_count(measured: MeasuredBands, by_band: bool) -> MeasuredBands:
    """Without what says nothing: bands of one reading where the curve is removed, empty ends."""
    levels = np.array(measured.level_db, dtype=float)
    if by_band:
        levels[:, np.isfinite(levels).sum(axis=0) < 2] = np.nan
    there = np.flatnonzero(np.isfinite(levels).any(axis=0))
    some = slice(there[0], there[-1] + 1) if there.size else slice(0, 0)
    return replace(measured, centres=measured.centres[some], level_db=levels[:, some])


def _require_enough(readings: MeasuredBands, sizes: int, by_band: bool) -> None:
    known = np.isfinite(readings.level_db)
    count = int(known.sum())
    free = free_readings(known, by_band) if count else 0
    if free > sizes:
        return
    if by_band and np.count_nonzero(known.any(axis=1)) < 2:
        raise FitError(
            "--fit needs readings of the same bands at two positions or more: with one, every"
            " difference may be the driver's own curve. Measure at other heights as well, or give"
            " the driver's curve in [driver] curve"
        )
    removed = f", of which {count - free} go to the " + (
        "driver's own curve (one a band)" if by_band else "level"
    )
    raise FitError(
        f"--fit has {count} readings{removed if count else ''}: too few for {sizes} sizes."
        " Measure in more bands or at more positions; heights tell more than azimuths"
    )


def _estimates(
    trials: Trials, widths: np.ndarray, covariance: np.ndarray, freedom: float
) -> tuple[Estimate, ...]:
    halves, spreads = half_width(covariance, freedom), np.sqrt(np.diag(covariance))
    low, high = trials.bounds
    at_bound = (widths - low < AT_BOUND) | (high - widths < AT_BOUND)
    return tuple(
        Estimate(
            one,
            one.at(width),
            max(one.near(width - half), one.least),
            min(one.near(width + half), one.most),
            float(spread),
            bool(bound),
        )
        for one, width, half, spread, bound in zip(
            trials.parameters, widths, halves, spreads, at_bound, strict=True
        )
    )
