"""Does the measurement bear the model out? Band levels measured and predicted, by position.

Everything is compared as third-octave band levels. A delay has no part in them; the level (one
number) and, with three positions or more, the driver's own curve (one number a band, the same at
all positions) are removed. What is left tests differences between positions only.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from dispersion.response import Response
from shapes.assembly import Assembly
from shapes.clashes import find_clashes
from studies.design import Design
from studies.design.design import DesignFile, assemble
from studies.design.moves import Dimension, dimensions_of
from studies.measured.comparing import Comparison, compare, scatter_round_db
from studies.measured.positions import MeasuredBands, Measurement, Position
from studies.measured.reading import in_bands
from studies.measured.text_files import MeasurementError
from studies.questions.overlay.fitting import Fitted, fit
from studies.solving.grid import COARSE_PER_BAND, FINE_PER_BAND, Progress, Solver, counted
from studies.solving.predicting import Predicted, predict, predicted_at

ONE_SIZE_OFF, SETTLING = "one size off at a time", "settling the best of each size"
STEPS = (-4.0, -2.0, -1.0, 1.0, 2.0, 4.0)
"""How far a size is moved, in its own steps (millimetres, half degrees)."""
NEVER_MEASURED_WRONG = ("plate diameter", "temperature")
"""Sizes that are not tried: one is easily measured, the other no geometry."""
LEAST_GAIN_DB, LEAST_GAIN = 0.1, 0.1
"""A size explains something if the rms falls by this, and by this share of itself: less can be
chance where one of many sizes is picked."""
SAME_PLACE = 5e-3

Advance = Callable[[int], None]


@dataclass(frozen=True, eq=False)
class SizeOff:
    """The comparison as it would be with one size off.

    Attributes
    ----------
    dimension : Dimension
    change : float
        By which it is moved, SI.
    rms_db : float
        nan if it cannot be built.
    reason : str
        Why it cannot be built; empty if it can.
    response : Response or None
    """

    dimension: Dimension
    change: float
    rms_db: float
    reason: str = ""
    response: Response | None = field(default=None, repr=False)


@dataclass(frozen=True, eq=False)
class Overlay:
    """A measurement laid over what the model says.

    Attributes
    ----------
    design : Design
    assembly : Assembly
    measurements : tuple of Measurement
    measured : MeasuredBands
        What counts; nan below gate limits.
    whole_db : (P, B) array
        The same without regard to gates, to be shown.
    predicted : Predicted
    comparison : Comparison
    distance_only : Comparison
        As if the speaker radiated alike in all directions: what the distances alone explain.
    tried : tuple of SizeOff
        Every size and change, solved at four frequencies in each third octave.
    tried_rms_db : float
        rms of the design as written, solved as coarsely as those.
    best_by_size : tuple of SizeOff
        For each size the change that explains most, solved like the prediction; the best first.
    fitted : Fitted or None
        Where a fit was asked for.
    """

    design: Design
    assembly: Assembly
    measurements: tuple[Measurement, ...]
    measured: MeasuredBands
    whole_db: np.ndarray
    predicted: Predicted
    comparison: Comparison
    distance_only: Comparison
    tried: tuple[SizeOff, ...]
    tried_rms_db: float
    best_by_size: tuple[SizeOff, ...]
    fitted: Fitted | None = None

    @property
    def positions(self) -> tuple[Position, ...]:
        """Where it was measured."""
        return self.measured.positions

    @property
    def distances(self) -> np.ndarray:
        """(P,) from the middle of the baffle, m."""
        return np.hypot(*self.predicted.response.problem.points.T)

    @property
    def elevations_deg(self) -> tuple[float, ...]:
        """Of every position, seen from the ring, degrees."""
        ring = self.assembly.height_of_ring
        return tuple(math.degrees(math.atan2(at.height - ring, at.r)) for at in self.positions)

    @property
    def foreseen_db(self) -> float:
        """What the model foresees between the positions in a band, distance aside, rms, dB."""
        alone = self.predicted.level_db + 20.0 * np.log10(self.distances)[:, None]
        known = np.where(self.comparison.compared, alone, np.nan)
        counts = np.isfinite(known).any(axis=0)
        means = np.nanmean(known[:, counts], axis=0)
        return float(np.sqrt(np.nanmean((known[:, counts] - means) ** 2)))

    @property
    def aligned_db(self) -> np.ndarray:
        """(P, B) all that was measured with level and driver curve removed, dB re 0 dB at 1 m."""
        return self.whole_db - self.comparison.offset_db - np.nan_to_num(self.comparison.driver_db)

    @property
    def culprits(self) -> tuple[SizeOff, ...]:
        """The size that would explain the difference, and those that do so equally well.

        Empty if none makes the rms fall noticeably.
        """
        rms = self.comparison.rms_db
        limit = min(rms - LEAST_GAIN_DB, rms * (1.0 - LEAST_GAIN))
        good = [one for one in self.best_by_size if one.rms_db <= limit]
        return tuple(one for one in good if one.rms_db < good[0].rms_db + LEAST_GAIN_DB)

    @cached_property
    def round_db(self) -> float:
        """Scatter of positions that differ in azimuth only, dB; nan if there are no such."""
        groups: dict[tuple[int, int], list[int]] = {}
        for number, at in enumerate(self.positions):
            place = (round(at.r / SAME_PLACE), round(at.height / SAME_PLACE))
            groups.setdefault(place, []).append(number)
        return scatter_round_db(self.comparison.difference_db, list(groups.values()))


def _rank(size: SizeOff) -> float:
    return math.inf if math.isnan(size.rms_db) else size.rms_db


def overlay(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    per_band: int = FINE_PER_BAND,
    *,
    measurements: Sequence[Measurement],
    with_fit: bool = False,
) -> Overlay:
    """Lay measurements over the prediction, and try which one size off would explain the rest.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    per_band : int
        Frequencies in a third-octave band for the prediction; sizes off are solved at four.
    measurements : sequence of Measurement
        See `studies.measured.reading.read_measurements`.
    with_fit : bool
        Fit the sizes of the design as well, see `studies.questions.overlay.fitting`.

    Raises
    ------
    MeasurementError
        If nothing can be compared.
    FitError
        If the readings are too few for a fit.
    """
    measured, whole = _bands_measured(design, measurements)
    fitted = fit(design, measured, solver, progress, per_band) if with_fit else None
    assembly = design.assembly()
    band = (measured.centres[0], measured.centres[-1])
    predicted = predict(design, assembly, measured.positions, solver, per_band, progress, band)
    distance = np.hypot(*predicted.response.problem.points.T)
    spreading = np.broadcast_to(-20.0 * np.log10(distance)[:, None], measured.level_db.shape)
    trial = _Trial(design, measured, solver, progress)
    as_written, tried = _one_size_off(trial)
    best = tried if per_band == COARSE_PER_BAND else _settled(trial, tried, per_band)
    return Overlay(
        design,
        assembly,
        tuple(measurements),
        measured,
        whole,
        predicted,
        compare(measured.level_db, predicted.level_db),
        compare(measured.level_db, spreading),
        tried,
        as_written,
        _best_by_size(best),
        fitted,
    )


def _bands_measured(
    design: Design, measurements: Sequence[Measurement]
) -> tuple[MeasuredBands, np.ndarray]:
    """Bands of the design in which something was measured: what counts, and all there is."""
    band = design.target.band
    measured = in_bands(measurements, band)
    ungated = [replace(one, gate_limit_hz=0.0) for one in measurements]
    whole = in_bands(ungated, band).level_db
    if np.count_nonzero(np.isfinite(measured.level_db)) < 2:
        raise MeasurementError(_nothing_left(measurements, band, bool(np.isfinite(whole).any())))
    there = np.flatnonzero(np.isfinite(whole).any(axis=0))
    some = slice(there[0], there[-1] + 1)
    counted_db = measured.level_db[:, some]
    return MeasuredBands(measured.positions, measured.centres[some], counted_db), whole[:, some]


def _nothing_left(
    measurements: Sequence[Measurement], band: tuple[float, float], gated: bool
) -> str:
    files = ", ".join(dict.fromkeys(one.source for one in measurements))
    wanted = f"the design's band, {band[0]:.0f} to {band[1]:.0f} Hz"
    if gated:
        limit = min(one.gate_limit_hz for one in measurements)
        return (
            f"{files}: nothing to compare: all bands of {wanted}, lie below what a gate in front of"
            f" the first bounce leaves honest ({limit:.0f} Hz): move speaker and microphone away"
            " from floor and walls, or closer together"
        )
    return (
        f"{files}: nothing to compare: at least two third octaves of {wanted}, are due, each"
        " covered by a curve with three points or more in it, or read by a meter"
    )


@dataclass(frozen=True, eq=False)
class _Trial:
    """What every size off is held against, and how it is solved."""

    design: Design
    measured: MeasuredBands
    solver: Solver
    progress: Progress | None

    def watch(self, stage: str, trials: int, per_band: int) -> Advance:
        """Progress of so many solves of all bands."""
        return counted(self.progress, stage, trials * per_band * len(self.measured.centres))

    def compared(
        self, assembly: Assembly, per_band: int, advance: Advance
    ) -> tuple[float, Response]:
        """Return what is left with this assembly, rms, dB, and the solve behind it."""
        centres = self.measured.centres
        band = (centres[0], centres[-1])
        found = predicted_at(
            self.design, assembly, self.measured.positions, self.solver, per_band, advance, band
        )
        return compare(self.measured.level_db, found.level_db).rms_db, found.response


def _one_size_off(trial: _Trial) -> tuple[float, tuple[SizeOff, ...]]:
    """Find the rms as written and with every size moved, solved coarsely."""
    moves = list(_moves(trial.design))
    advance = trial.watch(ONE_SIZE_OFF, 1 + len(moves), COARSE_PER_BAND)
    as_written, _ = trial.compared(trial.design.assembly(), COARSE_PER_BAND, advance)
    tried = []
    for dimension, change in moves:
        built, reason = _built(dimension.move(trial.design.tables, change))
        if built is None:
            advance(COARSE_PER_BAND * len(trial.measured.centres))
            tried.append(SizeOff(dimension, change, math.nan, reason))
        else:
            found = trial.compared(built, COARSE_PER_BAND, advance)
            tried.append(SizeOff(dimension, change, found[0], "", found[1].without_far()))
    return as_written, tuple(tried)


def _settled(trial: _Trial, tried: Sequence[SizeOff], per_band: int) -> list[SizeOff]:
    """Solve the best change of every size again as finely as the prediction."""
    best = [one for one in _best_by_size(tried) if not one.reason]
    advance = trial.watch(SETTLING, len(best), per_band)
    settled = [one for one in _best_by_size(tried) if one.reason]
    for one in best:
        built = assemble(one.dimension.move(trial.design.tables, one.change))
        rms, response = trial.compared(built, per_band, advance)
        settled.append(replace(one, rms_db=rms, response=response.without_far()))
    return settled


def _best_by_size(sizes: Sequence[SizeOff]) -> tuple[SizeOff, ...]:
    """For each size the change that explains most, the best size first."""
    names = dict.fromkeys(one.dimension.name for one in sizes)
    best = [min((one for one in sizes if one.dimension.name == name), key=_rank) for name in names]
    return tuple(sorted(best, key=_rank))


def _moves(design: Design) -> Iterator[tuple[Dimension, float]]:
    proud = design.tables.driver.proud
    for dimension in dimensions_of(design.tables):
        if dimension.name in NEVER_MEASURED_WRONG:
            continue
        for step in STEPS:
            change = step * dimension.unit.size
            if dimension.name == "driver proud height" and proud + change < 0.0:
                continue  # a frame does not sink below the baffle
            yield dimension, change


def _built(tables: DesignFile) -> tuple[Assembly | None, str]:
    """What can be built, or why it cannot."""
    try:
        assembly = assemble(tables)
        clashes = find_clashes(assembly)
    except ValueError as mistake:
        return None, str(mistake)
    if clashes:
        return None, "; ".join(f"{clash.message}: {clash.remedy}" for clash in clashes)
    return assembly, ""
