"""Fit of a design's sizes to measured band levels.

A few sizes, each within bounds and with a prior round what is written, are changed until the
predicted levels at the positions come as close to the readings as they can. See
`studies.questions.overlay.estimating` for the formulas.

Every size is counted in prior widths from what is written: effective diameter 5 %, shrink frequency
half an octave, proud height and plate gap 2 mm, keep 1.5 mm (half angle 1 degree), the cone's
admittance a thirtieth of the air's, bounds at three widths, all common practice, no source. What
all positions share in a band is projected out unless the design has its driver's curve; then one
level is fitted. What is tried is the text that will be written, parsed: lengths in whole
micrometres. Before it looked for where to begin (`Search._start`, nine trials more at most) the
example took 41 trials and nine more along its shrink frequency, each third octave settled within
0.3 dB at the positions: 2870 solves without the nine. Within 0.15 dB it took 4530,
with sizes within 0.2 mm of these; at twelve even frequencies 9024, with plate gap 0.5 mm and keep
0.4 mm smaller, where the intervals are +-1.1 and 0.8 mm. Tried and left out: four even frequencies,
which end at an effective diameter 1.3 mm smaller with an interval that leaves out what is true.

What a cone takes, found of made-up readings of the example with a cone of 3 per cent (eight places,
500 Hz to 16 kHz, driver curve removed, 0.5 dB of noise): 2.1 per cent, interval 0.2 to 4.0, all
other sizes within theirs; 36 trials, 110 s of processor time.

Errors that are the same at all angles are in no interval: levels of a boundary element library
that were 0.09 dB rms off through its mesh moved the plate gap by 0.4 mm where the driver counted
as known. Intervals follow from the Jacobian at the solution; only along a frequency other minima
are looked for, by nine trials more (`Search.deviation_along`). Of two speakers of the example, read
over the bare column at six places with 1.3 dB of noise, the cones were else said to let go at 5.4
and 4.8 kHz within 0.09 and 0.08 octaves, where one did at 9.7 kHz and the other was rigid; now
within 0.3 and 1.0 octaves. A size that no fit has is in none: the cone's depth and its dust cap
are fitted only where the bare column was read.

Readings of the bare column and of a cap before its first cut are one fit: each is held against its
own solve, and what all positions share in a band is one mean over both. So driver and amplifier
drop out between the two, if no knob was touched, and one place under each tells. Four speakers of
the example on a column of 400 mm, drawn from `studies.solving.members` among cones that let go,
were read so at four places, 2 to 6.3 kHz, 1 dB of noise and 2 dB of driver curve: of 28 intervals
(diameter, frequency, proud height, plate gap, depth, dust cap, loss) 27 held what was true; one
cone let go at 15.2 kHz, beyond the farthest that is tried, and was said to at 3.6 to 10.7. A cone
whose motion runs outwards as a wave is fitted as one that lets go: of one such speaker 2.4 dB were
left, and its sizes lay within their intervals.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from dispersion.bands import band_edges
from dispersion.response import Response
from dispersion.walls import taken_head_on
from studies.design import Design, parse_design
from studies.design.fit_table import CONE_LOSS
from studies.design.parameters import Parameter, cone_loss, cone_shape, parameters_of
from studies.measured.comparing import STATED_DB
from studies.measured.positions import MeasuredBands, by_hung
from studies.questions.overlay.cross_validation import CrossValidation, cross_validate
from studies.questions.overlay.estimating import (
    Residuals,
    centred,
    correlations_of,
    covariance_of,
    degrees_of_freedom,
    free_readings,
    half_width,
    level_error,
)
from studies.questions.overlay.search import Search
from studies.questions.overlay.trials import Trials
from studies.solving.grid import FINE_PER_BAND, Fineness, Progress, Solver

INSEPARABLE, UNDETERMINED = 0.9, 0.8
"""Size of a correlation from which on the readings do not separate two sizes; standard deviation
over that of the prior from which on they say next to nothing of a size."""
OTHERS_FIT = 1.5
"""A deviation so many times that of the minimum alone: it is not the only one."""
AT_BOUND = 0.02
"""A size this near to its bound, in prior widths, is at it."""


class FitError(ValueError):
    """Readings that no sizes can be fitted to; the message holds the remedy."""


@dataclass(frozen=True, kw_only=True)
class SizeEstimate:
    """What the fit found of one size.

    Attributes
    ----------
    parameter : Parameter
    value : float
        SI, as it stands in the fitted design.
    low, high : float
        Ends of the 95 % interval, SI, within what makes sense at all.
    width_left : float
        Standard deviation over that of the prior: 1 where the readings say nothing.
    at_bound : bool
        The fit would have gone farther than it may.
    others_fit : bool
        Values beyond its minimum fit about as well.
    """

    parameter: Parameter
    value: float
    low: float
    high: float
    width_left: float
    at_bound: bool
    others_fit: bool = False

    @property
    def taken_head_on(self) -> tuple[float, float, float]:
        """Share of the sound that a cone takes of what meets it head on: low, found, high."""
        return taken_head_on(self.low), taken_head_on(self.value), taken_head_on(self.high)

    @property
    def determined(self) -> bool:
        """True if the readings say something of this size."""
        return self.width_left <= UNDETERMINED

    @property
    def differs(self) -> bool:
        """True if what is written lies outside the interval, as both are printed."""
        ends = (self.low, self.parameter.written, self.high)
        digits = 0 if self.parameter.octaves else 1
        low, written, high = (round(self.parameter.in_print(end), digits) for end in ends)
        return not low <= written <= high


@dataclass(frozen=True)
class SizePair:
    """Two sizes and their correlation by the readings, -1 to 1."""

    one: Parameter
    other: Parameter
    correlation: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Fitted:
    """A fit of K sizes to readings at P positions in B bands.

    Attributes
    ----------
    design, fitted : Design
        As written, and with the sizes found.
    measured : MeasuredBands
        The readings that count; nan elsewhere.
    estimates : tuple of SizeEstimate
    correlations : (K, K) array
        Between the sizes, by the readings.
    covariance : (K, K) array
        Of what is left of the doubt, in prior widths.
    curve_removed : bool
        The mean over the positions was subtracted in every band; otherwise one level was fitted.
    level_db, level_error_db : float or None
        That level, measured less predicted, and half of its 95 % interval; None if none was fitted.
    stated_db, sigma_db : float
        Standard deviation of a residual, as stated and with the residuals found.
    freedom : float
        Degrees of freedom of `sigma_db`.
    written_db, fitted_db : (P, B) array
        Levels of the model as written and as fitted, dB re 0 dB at 1 m.
    held_out : CrossValidation or None
        None where nothing can be left out.
    evaluations : int
        Wave solves of the whole band that it took.
    settled : bool
        False if the search was stopped before it converged.
    response : Response
        The solve of the fitted design.
    """

    design: Design
    fitted: Design
    measured: MeasuredBands
    estimates: tuple[SizeEstimate, ...]
    correlations: np.ndarray
    covariance: np.ndarray
    curve_removed: bool
    level_db: float | None
    level_error_db: float | None
    stated_db: float
    sigma_db: float
    freedom: float
    written_db: np.ndarray
    fitted_db: np.ndarray
    held_out: CrossValidation | None
    evaluations: int
    settled: bool
    response: Response = field(repr=False)

    @property
    def known(self) -> np.ndarray:
        """(P, B) true where a reading counts."""
        return np.isfinite(self.measured.level_db)

    @property
    def reading_count(self) -> int:
        """Number of readings that count."""
        return int(self.known.sum())

    @property
    def position_count(self) -> int:
        """Number of positions with a reading that counts."""
        return int(self.known.any(axis=1).sum())

    @property
    def free(self) -> int:
        """Number of readings less the number of means that were subtracted from them."""
        return free_readings(self.known, by_band=self.curve_removed)

    @property
    def cone(self) -> SizeEstimate | None:
        """What the cone takes; None where it was not fitted."""
        return next((one for one in self.estimates if one.parameter.name == CONE_LOSS), None)

    @cached_property
    def residuals(self) -> Residuals:
        """Measured less predicted levels as written and as fitted, the mean subtracted."""
        return Residuals(self._residual(self.written_db), self._residual(self.fitted_db))

    @property
    def held_out_by_position_db(self) -> np.ndarray:
        """(2, P) rms of positions left out, as written and as fitted, dB; nan if none was."""
        if self.held_out is None:
            return np.full((2, len(self.known)), np.nan)
        return self.held_out.rms_by_position_db

    @property
    def pairs(self) -> tuple[SizePair, ...]:
        """Every pair of sizes with its correlation."""
        sizes = [one.parameter for one in self.estimates]
        pairs = zip(*np.triu_indices(len(sizes), 1), strict=True)
        return tuple(SizePair(sizes[i], sizes[j], float(self.correlations[i, j])) for i, j in pairs)

    @property
    def inseparable(self) -> tuple[SizePair, ...]:
        """Pairs of sizes that the readings do not separate."""
        return tuple(pair for pair in self.pairs if abs(pair.correlation) > INSEPARABLE)

    def _residual(self, levels: np.ndarray) -> np.ndarray:
        residual = np.full(levels.shape, np.nan)
        difference = self.measured.level_db - levels
        residual[self.known] = centred(difference, self.known, by_band=self.curve_removed)
        return residual


def fit(
    design: Design,
    measured: MeasuredBands,
    solver: Solver,
    progress: Progress | None = None,
    fineness: Fineness = FINE_PER_BAND,
    *,
    curve_removed: bool | None = None,
    stated_db: float = STATED_DB,
    with_cone: bool = False,
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
    fineness : int or ByNeed
        Frequencies in a third-octave band, or as many as it takes. With four, narrow resonances
        between them moved the effective diameter of the example by 1.3 mm.
    curve_removed : bool, optional
        Subtract the mean over the positions band by band, that is the driver's own curve and the
        level with it. Left out: unless the design has a curve of its driver; then one level is
        fitted.
    stated_db : float
        Standard deviation of a residual by model and meter together.
    with_cone : bool
        Find what the cone takes as well.

    Raises
    ------
    FitError
        If the readings are too few, or none is where a cone takes anything.
    DesignError
        If the file says what its cone takes.
    """
    by_band = design.tables.driver.curve is None if curve_removed is None else curve_removed
    parameters = _movable(design, measured)
    if with_cone:
        parameters = (*parameters, cone_loss(design))
    readings = _with_two_readings(measured) if by_band else _without_empty_ends(measured)
    _require_enough(readings, len(parameters), by_band=by_band)
    if with_cone:
        _require_treble(readings, design.tables.driver.lets_go_hz)
    trials = Trials(design, parameters, readings, solver, fineness, progress)
    free = free_readings(np.isfinite(readings.level_db), by_band=by_band)
    freedom = degrees_of_freedom(free, len(parameters))
    search = Search(trials, by_band=by_band, stated_db=stated_db, freedom=freedom)
    search.run()
    held_out = cross_validate(search)
    covariance = _covariance(search)
    trials.finish()
    return _fitted(search, held_out, covariance)


def _covariance(search: Search) -> np.ndarray:
    """(K, K) that of the minimum found, wider along a frequency of which others fit as well."""
    covariance = covariance_of(search.centred_jacobian(), search.sigma_db)
    wider = np.ones(len(covariance))
    for at, size in enumerate(search.trials.parameters):
        if size.octaves:
            own = float(np.sqrt(covariance[at, at]))
            wider[at] = search.deviation_along(at, own) / own
    return covariance * np.outer(wider, wider)


def _fitted(search: Search, held_out: CrossValidation | None, covariance: np.ndarray) -> Fitted:
    trials, sigma = search.trials, search.sigma_db
    jacobian, found = search.centred_jacobian(), trials.built(search.widths)
    level = error = None
    if not search.by_band:
        level = float((trials.measured.level_db - found)[search.known].mean())
        error = level_error(search.jacobian[:, search.known], sigma, search.freedom)
    return Fitted(
        design=trials.design,
        fitted=parse_design(trials.text(search.widths), trials.design.path),
        measured=trials.measured,
        estimates=_estimates(search, covariance),
        correlations=correlations_of(jacobian, sigma),
        covariance=covariance,
        curve_removed=search.by_band,
        level_db=level,
        level_error_db=error,
        stated_db=search.stated_db,
        sigma_db=sigma,
        freedom=search.freedom,
        written_db=trials.built(np.zeros(len(trials.parameters))),
        fitted_db=found,
        held_out=held_out,
        evaluations=trials.evaluations,
        settled=search.settled,
        response=trials.response(search.widths),
    )


def _movable(design: Design, measured: MeasuredBands) -> tuple[Parameter, ...]:
    """Return the parameters whose bounds leave them room to move, the cone's shape if it shows."""
    assembly = design.assembly()
    bare = any(hung.of(assembly).upper is None for hung in by_hung(measured.positions))
    found = (*parameters_of(design), *(cone_shape(design) if bare else ()))
    return tuple(one for one in found if one.bounds[1] - one.bounds[0] > AT_BOUND)


def _with_two_readings(measured: MeasuredBands) -> MeasuredBands:
    """Drop bands with fewer than two readings: of these the driver's curve takes all."""
    levels = np.array(measured.level_db, dtype=float)
    levels[:, np.isfinite(levels).sum(axis=0) < 2] = np.nan
    return _without_empty_ends(replace(measured, level_db=levels))


def _without_empty_ends(measured: MeasuredBands) -> MeasuredBands:
    """Drop bands below the first and above the last reading."""
    there = np.flatnonzero(np.isfinite(measured.level_db).any(axis=0))
    some = slice(there[0], there[-1] + 1) if there.size else slice(0, 0)
    return replace(measured, centres=measured.centres[some], level_db=measured.level_db[:, some])


def _require_enough(readings: MeasuredBands, sizes: int, *, by_band: bool) -> None:
    known = np.isfinite(readings.level_db)
    count = int(known.sum())
    free = free_readings(known, by_band=by_band) if count else 0
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


def _require_treble(readings: MeasuredBands, lets_go_hz: float) -> None:
    highest = float(band_edges(readings.centres)[1][-1])
    if highest <= lets_go_hz:
        raise FitError(
            f"--fit-cone: no reading lies above {lets_go_hz:.0f} Hz, where the cone lets go and may"
            " take something: measure higher bands, or leave the option out"
        )


def _estimates(search: Search, covariance: np.ndarray) -> tuple[SizeEstimate, ...]:
    trials, widths = search.trials, search.widths
    halves, deviations = half_width(covariance, search.freedom), np.sqrt(np.diag(covariance))
    own = np.sqrt(np.diag(covariance_of(search.centred_jacobian(), search.sigma_db)))
    low, high = trials.bounds
    # What stays as written, at a bound, has not gone as far as it may.
    at_low, at_high = (widths - low < AT_BOUND) & (low < 0.0), high - widths < AT_BOUND
    at_bound = at_low | at_high
    return tuple(
        SizeEstimate(
            parameter=one,
            value=one.at(width),
            low=max(one.near(width - half), one.least),
            high=min(one.near(width + half), one.most),
            width_left=float(deviation),
            at_bound=bool(bound),
            others_fit=bool(deviation > OTHERS_FIT * alone),
        )
        for one, width, half, deviation, alone, bound in zip(
            trials.parameters, widths, halves, deviations, own, at_bound, strict=True
        )
    )
