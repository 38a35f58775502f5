"""A measurement laid over the prediction: band levels, residuals, the size that would explain them.

Everything is compared as third-octave band levels. A delay has no part in them; the level (one
number) and, with three positions or more, the driver's own curve (one number a band, the same at
all positions) are removed. So the residuals test differences between positions only.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np

from dispersion.response import Response
from shapes.assembly import Assembly
from studies.design import Design
from studies.measured.comparing import Comparison, compare, scatter_round_db
from studies.measured.positions import MeasuredBands, Measurement, Position, by_hung, by_place
from studies.measured.reading import in_bands
from studies.measured.text_files import MeasurementError
from studies.questions.overlay.fitting import Fitted, fit
from studies.questions.overlay.off_axis import OffAxis, fit_off_axis
from studies.questions.overlay.one_size_off import (
    Comparer,
    SizeOff,
    best_by_size,
    one_size_off,
    settled,
)
from studies.solving.askew_changes import askew_at_positions
from studies.solving.grid import (
    COARSE_BY_NEED,
    COARSE_PER_BAND,
    FINE_PER_BAND,
    ByNeed,
    Fineness,
    Progress,
    Solver,
)
from studies.solving.levels_of_members import (
    MemberSolving,
    in_the_room,
    levels_of_members,
    range_of,
    spread_of,
)
from studies.solving.posted import ChangeAround, change_at_positions
from studies.solving.predicting import Predicted, places, predict

LEAST_GAIN_DB, LEAST_GAIN = 0.1, 0.1
"""A size explains something if what is left, weighed, falls by this, and by this share of itself:
less can be chance where one of many sizes is picked."""


@dataclass(frozen=True, kw_only=True)
class PositionResidual:
    """Residuals of one position over the bands that are compared there.

    Attributes
    ----------
    count : int
        Number of bands.
    mean_db, rms_db : float
        Mean, and root mean square, of measured less predicted.
    worst_db, worst_hz : float
        The residual of largest size, and the centre of its band.
    """

    count: int
    mean_db: float
    rms_db: float
    worst_db: float
    worst_hz: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Overlay:
    """A measurement at P positions in B bands laid over the prediction.

    Attributes
    ----------
    design : Design
    assembly : Assembly
    measurements : tuple of Measurement
    measured : MeasuredBands
        The levels that count; nan below gate limits.
    whole_db : (P, B) array
        Measured levels whatever the gate, to be shown, dB.
    predicted : Predicted
    members_db : (M, P, B) array
        Levels in every driver and build that the file may stand for, dB; M = 0 for quick methods.
    comparison : Comparison
    distance_only : Comparison
        As if the speaker radiated alike in all directions: what the distances alone explain.
    tried : tuple of SizeOff
        Every size and change, solved by need or at four frequencies in each third octave.
    tried_as_written : Comparison
        The design as written, solved as coarsely as those.
    best_by_size : tuple of SizeOff
        For each size the change that leaves least, weighed by the covariance of the errors, solved
        like the prediction; the best first.
    fitted : Fitted or None
        Where a fit was asked for.
    posts : ChangeAround or None
        What the posts change at the positions, in the prediction; None where they are left out.
    askew : ChangeAround or None
        What [askew] changes there, (P, B) in dB, likewise.
    off_axis : OffAxis or None
        What shift the azimuths call for, posts taken off; where a fit was asked for and they tell.
    """

    design: Design
    assembly: Assembly
    measurements: tuple[Measurement, ...]
    measured: MeasuredBands
    whole_db: np.ndarray
    predicted: Predicted
    members_db: np.ndarray
    comparison: Comparison
    distance_only: Comparison
    tried: tuple[SizeOff, ...]
    tried_as_written: Comparison
    best_by_size: tuple[SizeOff, ...]
    fitted: Fitted | None = None
    posts: ChangeAround | None = None
    askew: ChangeAround | None = None
    off_axis: OffAxis | None = None

    @property
    def responses(self) -> list[Response]:
        """Every solve, that of the prediction first."""
        solved = [one.response for one in (*self.tried, *self.best_by_size)]
        fitted = [] if self.fitted is None else [self.fitted.response]
        found = [*self.predicted.responses, *solved, *fitted]
        return [response for response in found if response is not None]

    @property
    def positions(self) -> tuple[Position, ...]:
        """Where it was measured."""
        return self.measured.positions

    @property
    def distances(self) -> np.ndarray:
        """(P,) distance of every position from the middle of the baffle, m."""
        return distances_of(self.design, self.positions)

    @property
    def elevations_deg(self) -> tuple[float, ...]:
        """Elevation of every position seen from the ring, degrees."""
        ring = self.assembly.height_of_ring
        return tuple(math.degrees(math.atan2(at.height - ring, at.r)) for at in self.positions)

    @property
    def predicted_spread_db(self) -> float:
        """Predicted difference between positions in one band, distance aside, rms, dB."""
        alone = self.predicted.level_db + 20.0 * np.log10(self.distances)[:, None]
        known = np.where(self.comparison.compared, alone, np.nan)
        counts = np.isfinite(known).any(axis=0)
        means = np.nanmean(known[:, counts], axis=0)
        return float(np.sqrt(np.nanmean((known[:, counts] - means) ** 2)))

    @property
    def aligned_db(self) -> np.ndarray:
        """(P, B) all that was measured with level and driver curve removed, dB re 0 dB at 1 m."""
        return self.whole_db - self.comparison.offset_db - np.nan_to_num(self.comparison.driver_db)

    def at_distance(self, level_db: np.ndarray) -> np.ndarray:
        """(P, B) levels re 0 dB at 1 m as levels re 0 dB at each position's own distance, dB."""
        return level_db + 20.0 * np.log10(self.distances)[:, None]

    @cached_property
    def range_db(self) -> np.ndarray:
        """(2, P, B) ends of what nine of ten drivers and builds predict, dB re 0 dB at 1 m."""
        if not len(self.members_db):
            return np.array([self.predicted.level_db, self.predicted.level_db])
        return range_of(self.members_db)

    @cached_property
    def members_rms_db(self) -> np.ndarray:
        """(M,) what would be left of the differences in every member, rms, dB."""
        return np.array(
            [compare(self.measured.level_db, level).rms_db for level in self.members_db]
        )

    @property
    def by_position(self) -> tuple[PositionResidual | None, ...]:
        """Residuals of every position; None where no band is compared."""
        rms = self.comparison.rms_by_position_db
        return tuple(
            self._residual_of(residual, float(rms[at]))
            for at, residual in enumerate(self.comparison.difference_db)
        )

    def _residual_of(self, residual: np.ndarray, rms: float) -> PositionResidual | None:
        known = np.isfinite(residual)
        if not known.any():
            return None
        worst = int(np.argmax(np.nan_to_num(np.abs(residual))))
        return PositionResidual(
            count=int(known.sum()),
            mean_db=float(residual[known].mean()),
            rms_db=rms,
            worst_db=float(residual[worst]),
            worst_hz=float(self.measured.centres[worst]),
        )

    @property
    def gated(self) -> np.ndarray:
        """(P, B) true where a level was measured but lies below the gate's limit."""
        return np.isfinite(self.whole_db) & ~np.isfinite(self.measured.level_db)

    @property
    def gate_limits_hz(self) -> tuple[float, ...]:
        """Lower limits of the gates, Hz, ascending, each once; empty without any gate."""
        return tuple(sorted({one.gate_limit_hz for one in self.measurements} - {0.0}))

    @property
    def sparse_hz(self) -> np.ndarray:
        """Bands that were measured at too few positions to be compared, Hz."""
        measured = np.isfinite(self.measured.level_db).any(axis=0)
        sparse = measured & ~self.comparison.compared.any(axis=0)
        return self.measured.centres[sparse & self.comparison.driver_removed]

    def fall_db(self, size: SizeOff) -> float:
        """How much less is left with a size off than as written, both weighed, dB."""
        return self.comparison.weighed_db - size.weighed_db

    @property
    def culprits(self) -> tuple[SizeOff, ...]:
        """The size that would explain the residuals, and those that do so equally well.

        Empty if none makes noticeably less of what is left, weighed.
        """
        left = self.comparison.weighed_db
        limit = min(left - LEAST_GAIN_DB, left * (1.0 - LEAST_GAIN))
        good = [one for one in self.best_by_size if one.weighed_db <= limit]
        return tuple(one for one in good if one.weighed_db < good[0].weighed_db + LEAST_GAIN_DB)

    @cached_property
    def round_db(self) -> float:
        """Scatter of positions that differ in azimuth only, dB; nan if there are no such."""
        groups = by_place(self.positions, range(len(self.positions)))
        return scatter_round_db(self.comparison.difference_db, groups)


def overlay(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    fineness: Fineness = FINE_PER_BAND,
    *,
    measurements: Sequence[Measurement],
    with_fit: bool = False,
    with_cone: bool = False,
) -> Overlay:
    """Lay measurements over the prediction, and try which one size off would explain the residuals.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    fineness : int or ByNeed
        Frequencies in a third-octave band for the prediction and the fit; sizes off are then solved
        at four. By need, what is tried settles within `COARSE_BY_NEED`.
    measurements : sequence of Measurement
        See `studies.measured.reading.read_measurements`.
    with_fit : bool
        Fit the sizes of the design as well, see `studies.questions.overlay.fitting`.
    with_cone : bool
        Fit what the cone takes along with them.

    Raises
    ------
    MeasurementError
        If nothing can be compared.
    FitError
        If the readings are too few for a fit.
    DesignError
        If the cone's loss is asked for and the file gives it.
    """
    design = in_the_room(design)
    measured, whole = _bands_measured(design, measurements)
    by_need = isinstance(fineness, ByNeed)
    trials = COARSE_BY_NEED if by_need else fineness
    assembly = design.assembly()
    band = (float(measured.centres[0]), float(measured.centres[-1]))
    around = partial(
        _change,
        design=design,
        assembly=assembly,
        measured=measured,
        solver=solver,
        progress=progress,
    )
    posts, askew = around(change_at_positions), around(askew_at_positions)
    # What is tried and fitted is round: what is not is taken off what was measured instead.
    changed_db = np.zeros(measured.level_db.shape)
    changed_db += 0.0 if posts is None else posts.values
    changed_db += 0.0 if askew is None else askew.values
    without = replace(measured, level_db=measured.level_db - changed_db)
    fitted = off_axis = None
    if with_fit:
        posted = 0.0 if posts is None else posts.values
        unposted = replace(measured, level_db=measured.level_db - posted)
        off_axis = fit_off_axis(design, assembly, unposted, solver, progress)
        fitted = fit(design, without, solver, progress, trials, with_cone=with_cone)
    alone = predict(design, assembly, measured.positions, solver, fineness, progress, band)
    predicted = replace(alone, level_db=alone.level_db + changed_db)
    members = np.zeros((0, *alone.level_db.shape))
    if alone.response.method == "waves":
        solving = MemberSolving(solver=solver, fineness=trials, progress=progress, band=band)
        members = _members(design, assembly, measured.positions, solving)
    distance = distances_of(design, measured.positions)
    spreading = np.broadcast_to(-20.0 * np.log10(distance)[:, None], measured.level_db.shape)
    shared = spread_of(members)
    comparer = Comparer(design, without, shared, solver, progress)
    coarse = COARSE_BY_NEED if by_need else COARSE_PER_BAND
    as_written, tried = one_size_off(comparer, coarse)
    best = tried if by_need or fineness == coarse else settled(comparer, tried, fineness)
    return Overlay(
        design=design,
        assembly=assembly,
        measurements=tuple(measurements),
        measured=measured,
        whole_db=whole,
        predicted=predicted,
        members_db=members + changed_db,
        comparison=compare(measured.level_db, predicted.level_db, shared),
        posts=posts,
        askew=askew,
        off_axis=off_axis,
        distance_only=compare(measured.level_db, spreading),
        tried=tried,
        tried_as_written=as_written,
        best_by_size=best_by_size(best),
        fitted=fitted,
    )


def distances_of(design: Design, positions: Sequence[Position]) -> np.ndarray:
    """(P,) distance of positions from the middle of the baffle, m."""
    return np.hypot(*places(positions, design.column_height).T)


def _change(
    change: Callable[..., ChangeAround | None],
    *,
    design: Design,
    assembly: Assembly,
    measured: MeasuredBands,
    solver: Solver,
    progress: Progress | None,
) -> ChangeAround | None:
    """What is not round changes at all positions, each under what hung there."""
    band = (float(measured.centres[0]), float(measured.centres[-1]))
    values, found = np.zeros(measured.level_db.shape), []
    for hung, numbers in by_hung(measured.positions).items():
        own = [measured.positions[number] for number in numbers]
        one = change(design, hung.of(assembly), own, solver, progress, band)
        if one is not None:
            values[numbers] = one.values
            found.append(one)
    return found[0]._replace(values=values) if found else None


def _members(
    design: Design, assembly: Assembly, positions: Sequence[Position], solving: MemberSolving
) -> np.ndarray:
    """(M, P, B) levels in every driver and build, each position under what hung there."""
    groups = by_hung(positions)
    built = [hung.of(assembly) for hung in groups]
    every = levels_of_members(design, built, positions, solving)
    levels = np.empty(every.shape[1:])
    for own, numbers in zip(every, groups.values(), strict=True):
        levels[:, numbers] = own[:, numbers]
    return levels


def _bands_measured(
    design: Design, measurements: Sequence[Measurement]
) -> tuple[MeasuredBands, np.ndarray]:
    """Return the bands of the design with any level: the levels that count, and (P, B) all."""
    band = design.target.band
    measured = in_bands(measurements, band)
    ungated = [replace(one, gate_limit_hz=0.0) for one in measurements]
    whole = in_bands(ungated, band).level_db
    if np.count_nonzero(np.isfinite(measured.level_db)) < 2:
        raise MeasurementError(
            _nothing_left(measurements, band, gated=bool(np.isfinite(whole).any()))
        )
    there = np.flatnonzero(np.isfinite(whole).any(axis=0))
    some = slice(there[0], there[-1] + 1)
    counted_db = measured.level_db[:, some]
    return MeasuredBands(measured.positions, measured.centres[some], counted_db), whole[:, some]


def _nothing_left(
    measurements: Sequence[Measurement], band: tuple[float, float], *, gated: bool
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
