"""What does a millimetre cost? Every size moved a little, alone and all at once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np

from dispersion.paths.rays import meaningful_above_hz
from studies.design import Design
from studies.design.design import DesignFile, assemble
from studies.design.moves import Dimension, dimensions_of, moved
from studies.questions.tolerance.askew import Askew, hung_askew
from studies.questions.tolerance.batch import Batch, can_be_thinned, seat_levels_db, thinned
from studies.solving.candidates import Candidate, NotSolvedError, Row
from studies.solving.grid import FINE_PER_BAND, Progress, Solver, run
from studies.solving.target import METER_DB, NO_DIFFERENCE_DB

ONE_AT_A_TIME, ALL_AT_ONCE = "one size at a time", "all sizes at once"
SAMPLES, MOST_SAMPLES, SEED = 32, 4096, 5


class SampleError(ValueError):
    """A number of speakers that fills no batch."""


@dataclass(frozen=True, eq=False)
class Sensitivity:
    """What one size costs: the design as written, and with it at both ends of its tolerance.

    Attributes
    ----------
    dimension : Dimension
    nominal, minus, plus : Row
        Ends that cannot be built are rows with their reasons.
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
        """How much the score worsens at most within the tolerance, dB; 0 if it does nowhere."""
        changes = [self.minus_db, self.plus_db, 0.0]
        return float(np.nanmax(changes))

    @property
    def slope_db(self) -> float:
        """Change of the score per unit of the dimension, dB: central difference."""
        high, low = self._outermost
        return float(high.score - low.score) * self._units_per_span

    @property
    def bend_db(self) -> float:
        """What both ends share, dB: mean of the two changes; nan unless both are solved."""
        return 0.5 * (self.minus_db + self.plus_db)

    @property
    def curve_slope_db(self) -> np.ndarray:
        """(B,) change of the band level at the main seat per unit, dB: central difference."""
        high, low = self._outermost
        return (seat_levels_db(high) - seat_levels_db(low)) * self._units_per_span

    @cached_property
    def curve_change_db(self) -> np.ndarray:
        """(2, B) change of the band level at the main seat at either end, dB; nan if none."""
        levels = seat_levels_db(self.nominal)
        ends = (self.minus, self.plus)
        nothing = np.full(levels.shape, np.nan)
        return np.array([seat_levels_db(r) - levels if r.solved else nothing for r in ends])

    @property
    def curve_rms_db(self) -> float:
        """Change of the curve within the tolerance, dB: rms over the bands, the worse end."""
        if np.isnan(self.curve_change_db).all():
            return 0.0
        return float(np.sqrt(np.nanmax(np.mean(self.curve_change_db**2, axis=1))))

    @property
    def largest_db(self) -> float:
        """Largest change of a third octave at the main seat within the tolerance, dB, signed."""
        end, band = self._largest_at
        return float(np.nan_to_num(self.curve_change_db[end, band]))

    @property
    def largest_at_hz(self) -> float:
        """Centre of the band where that is, Hz."""
        return float(self.nominal.coverage.centres[self._largest_at[1]])

    @property
    def curve_ends_db(self) -> tuple[float, float]:
        """Largest change of a third octave at either end, dB, signed; nan if it is not solved."""
        minus, plus = (float(ends[np.argmax(np.abs(ends))]) for ends in self.curve_change_db)
        return minus, plus

    @property
    def matters(self) -> bool:
        """Tell whether score or level meter show anything, or an end cannot be built."""
        seen = self.cost_db >= NO_DIFFERENCE_DB or abs(self.largest_db) >= METER_DB
        return seen or bool(self.reason)

    @property
    def _largest_at(self) -> tuple[int, int]:
        sizes = np.nan_to_num(np.abs(self.curve_change_db))
        end, band = np.unravel_index(int(np.argmax(sizes)), sizes.shape)
        return int(end), int(band)

    @property
    def _outermost(self) -> tuple[Row, Row]:
        """Upper and lower end; the design as written in place of one that cannot be built."""
        upper, lower = (row if row.solved else self.nominal for row in (self.plus, self.minus))
        return upper, lower

    @property
    def _units_per_span(self) -> float:
        span = self.dimension.up * self.plus.solved + self.dimension.down * self.minus.solved
        return self.dimension.unit.size / span if span else 0.0


@dataclass(frozen=True, eq=False)
class Tolerance:
    """What every millimetre of a design costs.

    Attributes
    ----------
    design : Design
    nominal : Row
        The design as written.
    sizes : tuple of Sensitivity
        One at a time by the solver given, the most costly first.
    askew : tuple of Askew
        By rays, apart from the rest; none where rays mean nothing.
    meaningful_above_hz : float
        Below it rays mean nothing.
    batch : Batch
        All at once by the solver given, without what only rays can tell.
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
        Of their scramble; the same seed gives the same speakers.
    batch_per_band : int
        Frequencies in a third-octave band for the batch, which is compared with the design solved
        alike. Where `per_band` is an odd multiple of it, what that is worth is measured.

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
    ranked = sorted(sizes, key=_rank)
    return Tolerance(
        design,
        nominal,
        tuple(ranked),
        hung_askew(design),
        meaningful_above_hz(nominal.assembly, design.air),
        _batch(design, sizes, solver, batch_per_band, samples, seed, progress),
    )


def _rank(size: Sensitivity) -> tuple[bool, float, float]:
    """What cannot be built first, then by cost as printed, then by what the curve does."""
    return not size.reason, -round(size.cost_db, 2), -size.curve_rms_db


def _change(row: Row, nominal: Row) -> float:
    return row.score - nominal.score if row.solved else float("nan")


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
    doubts = _doubts(design, sizes, per_band)
    within = design.target.near_best_db
    return Batch(dimensions, changes, nominal, tuple(rows.values()), within, *doubts)


def _doubts(
    design: Design, sizes: Sequence[Sensitivity], per_band: int
) -> tuple[float, np.ndarray]:
    """How far changes at so few frequencies are off those at all solved, at most: score, bands."""
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
    """Solve every file, held against the target and the seats of the design as written.

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
