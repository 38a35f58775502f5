"""What does a millimetre cost? Every size moved a little, alone and all at once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from dispersion.paths.rays import meaningful_above_hz
from studies.design import Design
from studies.design.design import DesignFile, assemble
from studies.design.moves import Dimension, dimensions_of, moved
from studies.questions.tolerance.askew import Askew, hung_askew
from studies.questions.tolerance.batch import Batch, can_be_thinned, seat_levels_db, thinned
from studies.questions.tolerance.sensitivity import Sensitivity
from studies.solving.candidates import Candidate, NotSolvedError, Row
from studies.solving.grid import FINE_PER_BAND, Progress, Solver, run
from studies.solving.target import NO_DIFFERENCE_DB

ONE_AT_A_TIME, ALL_AT_ONCE = "one size at a time", "all sizes at once"
SAMPLES, MOST_SAMPLES, SEED = 32, 4096, 5


class SampleError(ValueError):
    """The number of speakers of a batch is not a power of two from 2 to `MOST_SAMPLES`."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Tolerance:
    """What small errors of every size do to a design: answer of `roundcast tolerance`.

    Attributes
    ----------
    design : Design
    nominal : Row
        The design as written.
    sizes : tuple of Sensitivity
        Each size moved alone: what cannot be built first, then the most costly.
    askew : tuple of Askew
        Off-centre and tilt, estimated by rays; empty where rays mean nothing.
    meaningful_above_hz : float
        Below this frequency rays mean nothing.
    batch : Batch
        All sizes off at once; without off-centre and tilt.
    """

    design: Design
    nominal: Row
    sizes: tuple[Sensitivity, ...]
    askew: tuple[Askew, ...]
    meaningful_above_hz: float
    batch: Batch

    @property
    def ears(self) -> str:
        """Where the curve is heard: the first seat, else the mean of the window."""
        return self.design.seats[0].name if self.design.seats else "mean of the window"

    @property
    def worst(self) -> Sensitivity:
        """The size to watch first."""
        return self.sizes[0]

    @property
    def loudest(self) -> Sensitivity:
        """The size that moves the curve most, by the rms over its bands."""
        return max(self.sizes, key=lambda size: size.curve_rms_db)

    @property
    def harmless(self) -> tuple[Sensitivity, ...]:
        """Sizes whose error neither score nor level meter shows."""
        return tuple(size for size in self.sizes if not size.matters)

    @property
    def as_costly(self) -> tuple[Sensitivity, ...]:
        """Sizes that matter and cost as much as the worst within `NO_DIFFERENCE_DB`."""
        if not self.worst.matters:
            return ()
        most = self.worst.cost_db
        others = (size for size in self.sizes[1:] if size.matters)
        return tuple(size for size in others if most - size.cost_db < NO_DIFFERENCE_DB)


def tolerance(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    per_band: int = FINE_PER_BAND,
    samples: int = SAMPLES,
    seed: int = SEED,
    batch_per_band: int = FINE_PER_BAND,
) -> Tolerance:
    """Move every size within its tolerance, alone and all at once.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    per_band : int
        Frequencies in a third-octave band, four or more, where sizes are moved one at a time.
    samples : int
        Speakers of the batch, a power of two.
    seed : int
        Of the Sobol sequence's scramble; the same seed gives the same speakers.
    batch_per_band : int
        Frequencies in a third-octave band for the batch, which is compared with the design solved
        alike. Where `per_band` is an odd multiple of it, the error of so coarse a grid is measured.

    Raises
    ------
    SampleError
        If `samples` is no power of two.
    ValueError
        If the design as written cannot be solved.
    """
    _check_samples(samples)
    dimensions = dimensions_of(design.tables)
    sizes = _one_at_a_time(design, dimensions, solver, per_band, progress)
    nominal = sizes[0].nominal
    return Tolerance(
        design=design,
        nominal=nominal,
        sizes=tuple(sorted(sizes, key=_rank)),
        askew=hung_askew(design),
        meaningful_above_hz=meaningful_above_hz(nominal.assembly, design.air),
        batch=_batch(design, sizes, solver, batch_per_band, samples, seed, progress),
    )


def _rank(size: Sensitivity) -> tuple[bool, float, float]:
    """Sort key: what cannot be built, then the cost as printed, then the rms of the curve."""
    return not size.reason, -round(size.cost_db, 2), -size.curve_rms_db


def _check_samples(samples: int) -> None:
    if not 2 <= samples <= MOST_SAMPLES or samples & (samples - 1):
        raise SampleError(
            f"{samples} samples do not fill the tolerances evenly: take a power of two from 2 to"
            f" {MOST_SAMPLES}, such as 16, 32 or 64"
        )


def _one_at_a_time(
    design: Design,
    dimensions: Sequence[Dimension],
    solver: Solver,
    per_band: int,
    progress: Progress | None,
) -> list[Sensitivity]:
    files = {"as written": design.tables}
    for dimension in dimensions:
        files[f"{dimension.name} -"] = dimension.move(design.tables, -dimension.down)
        files[f"{dimension.name} +"] = dimension.move(design.tables, dimension.up)
    rows = _solved(design, files, solver, per_band, ONE_AT_A_TIME, progress, keep_far=True)
    nominal = _solvable(rows["as written"])
    return [Sensitivity(d, nominal, rows[f"{d.name} -"], rows[f"{d.name} +"]) for d in dimensions]


def _batch(
    design: Design,
    sizes: Sequence[Sensitivity],
    solver: Solver,
    per_band: int,
    samples: int,
    seed: int,
    progress: Progress | None,
) -> Batch:
    from scipy.stats import qmc

    dimensions = tuple(size.dimension for size in sizes)
    low = np.array([-dimension.down for dimension in dimensions])
    high = np.array([dimension.up for dimension in dimensions])
    even = qmc.Sobol(len(dimensions), scramble=True, rng=seed).random(samples)
    changes = low + even * (high - low)
    files = {"as written": design.tables}
    for number, some in enumerate(changes, start=1):
        files[f"speaker {number}"] = moved(design.tables, dimensions, some)
    rows = _solved(design, files, solver, per_band, ALL_AT_ONCE, progress)
    nominal = _solvable(rows.pop("as written"))
    doubt_db, curve_doubt_db = _doubts(design, sizes, per_band)
    return Batch(
        dimensions=dimensions,
        changes=changes,
        nominal=nominal,
        rows=tuple(rows.values()),
        within_db=design.target.near_best_db,
        doubt_db=doubt_db,
        curve_doubt_db=curve_doubt_db,
    )


def _doubts(
    design: Design, sizes: Sequence[Sensitivity], per_band: int
) -> tuple[float, np.ndarray]:
    """Largest error of a change when only `per_band` frequencies are used: score, (B,) bands, dB.

    Taken over all ends of all sizes, against their changes at every frequency solved; nan where
    the frequencies solved do not hold those of a coarser grid.
    """
    nominal = sizes[0].nominal
    if not can_be_thinned(nominal, per_band):
        return float("nan"), np.full(len(nominal.coverage.centres), np.nan)
    ends = [row for size in sizes for row in (size.minus, size.plus) if row.solved]
    coarse, *coarse_ends = (thinned(row, design.target, per_band) for row in (nominal, *ends))
    scores, curves = [0.0], [np.zeros(len(nominal.coverage.centres))]
    for few, every in zip(coarse_ends, ends, strict=True):
        scores.append((few.score - coarse.score) - (every.score - nominal.score))
        at_few = seat_levels_db(few) - seat_levels_db(coarse)
        curves.append(at_few - (seat_levels_db(every) - seat_levels_db(nominal)))
    return float(np.max(np.abs(scores))), np.max(np.abs(curves), axis=0)


def _solvable(nominal: Row) -> Row:
    if not nominal.solved:
        raise NotSolvedError(nominal.reason)
    return nominal


def _solved(
    design: Design,
    files: Mapping[str, DesignFile],
    solver: Solver,
    per_band: int,
    stage: str,
    progress: Progress | None,
    keep_far: bool = False,
) -> dict[str, Row]:
    """Solve every file, scored by the target and at the seats of the design as written.

    A run has one air, so those that share it are run together.
    """
    by_air: dict[object, list[str]] = {}
    for name, tables in files.items():
        by_air.setdefault(tables.air, []).append(name)
    rows: dict[str, Row] = {}
    for air, names in by_air.items():
        there = replace(design, tables=design.tables.model_copy(update={"air": air}))
        candidates = [Candidate(name, partial(assemble, files[name])) for name in names]
        watch = _part_of(progress, len(rows) / len(files), len(names) / len(files))
        solved = run(there, candidates, solver, per_band, stage, watch, keep_far)
        rows |= dict(zip(names, solved, strict=True))
    return {name: rows[name] for name in files}


def _part_of(progress: Progress | None, before: float, share: float) -> Progress | None:
    """Progress of one run as a part of several, in thousandths of the whole."""
    if progress is None:
        return None

    def advance(stage: str, done: int, total: int) -> None:
        progress(stage, round(1000 * (before + share * done / total)), 1000)

    return advance
