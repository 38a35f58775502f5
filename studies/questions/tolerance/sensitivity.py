"""One size moved to either end of its tolerance: what that does to score and curve.

By need, the ends of all sizes begin at the frequencies that the design as written took: what
column and reflector do to themselves is then shared, and errors of both have much in common
(`studies.solving.grid.CHANGES_BY_NEED`).

Slopes by shape derivatives were not tried. One factorisation gives the derivative of the pressure
by every size, but a millimetre is no small step where it costs anything: at 16 kHz it turns what
comes back from the reflector by 0.6 rad, and a resonance of Q 150 moves by three of its bandwidths.
The change at an end, which is what is asked, needs the pressure there. Below 2 kHz, where a
derivative would do, a solve costs next to nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np

from shapes.assembly import Assembly
from studies.design import Design
from studies.design.design import DesignFile, assemble
from studies.design.moves import Dimension, Leeway
from studies.solving.candidates import Candidate, NotSolvedError, Row
from studies.solving.grid import Fineness, Progress, Solver, run
from studies.solving.target import METER_DB, NO_DIFFERENCE_DB

ONE_AT_A_TIME = "one size at a time"


@dataclass(frozen=True, eq=False)
class Sensitivity:
    """A design solved as written, and with one thing at either end of what it may be off by.

    Scores are decibels of `studies.solving.target.score`; less is better. The curve is the
    third-octave level at the first seat, or of the window where there is no seat.

    Attributes
    ----------
    dimension : Leeway
        The size that is moved, with its tolerance downwards and upwards; or what the cone takes.
    nominal, minus, plus : Row
        The design as written, at the lower end and at the upper end. An end that cannot be built
        is a row with its reason.
    """

    dimension: Leeway
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


def seat_levels_db(row: Row) -> np.ndarray:
    """(B,) band level at the first seat, or of the window if there are no seats, dB."""
    if not row.response.near.shape[1]:
        return row.coverage.window_level_db
    return row.seat_levels_db[:, 0]


def one_at_a_time(
    design: Design,
    dimensions: Sequence[Dimension],
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None,
) -> list[Sensitivity]:
    """Solve a design as written, and with each size at either end of its tolerance.

    Raises
    ------
    NotSolvedError
        If the design as written cannot be solved.
    """
    written = {"as written": design.tables}
    solve = partial(solved_files, design, solver=solver, fineness=fineness, stage=ONE_AT_A_TIME)
    ends = {}
    for dimension in dimensions:
        ends[f"{dimension.name} -"] = dimension.move(design.tables, -dimension.down)
        ends[f"{dimension.name} +"] = dimension.move(design.tables, dimension.up)
    share = 1.0 / (1 + len(ends))
    nominal = solve(written, progress=part_of(progress, 0.0, share))["as written"]
    if not nominal.solved:
        raise NotSolvedError(nominal.reason)
    begin = nominal.response.solved_frequencies
    rows = solve(ends, progress=part_of(progress, share, 1.0 - share), begin=begin)
    return [Sensitivity(d, nominal, rows[f"{d.name} -"], rows[f"{d.name} +"]) for d in dimensions]


def solved_files(
    design: Design,
    files: Mapping[str, DesignFile],
    *,
    solver: Solver,
    fineness: Fineness,
    stage: str,
    progress: Progress | None,
    begin: np.ndarray | None = None,
) -> dict[str, Row]:
    """Solve every file, scored by the target and at the seats of the design as written.

    A run has one air, so those that share it are run together.

    Parameters
    ----------
    design : Design
    files : mapping of str to DesignFile
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    fineness : int or ByNeed
    stage : str
        What to call this while it lasts.
    progress : callable or None
        Called with (stage, done, total).
    begin : (N,) array, optional
        By need: frequencies, Hz, that are asked for first.
    """
    by_air: dict[object, list[str]] = {}
    for name, tables in files.items():
        by_air.setdefault(tables.air, []).append(name)
    rows: dict[str, Row] = {}
    for air, names in by_air.items():
        there = replace(design, tables=design.tables.model_copy(update={"air": air}))
        candidates = [Candidate(name, partial(assemble, files[name])) for name in names]
        watch = part_of(progress, len(rows) / len(files), len(names) / len(files))
        started = {} if begin is None else _begun_at(begin, [files[name] for name in names])
        solved = run(
            there,
            candidates,
            solver,
            fineness,
            stage,
            watch,
            settle_seats=True,
            started=started,
        )
        rows |= dict(zip(names, solved, strict=True))
    return {name: rows[name] for name in files}


def _begun_at(begin: np.ndarray, files: Sequence[DesignFile]) -> dict[Assembly, np.ndarray]:
    """The same frequencies to begin with for all that can be built."""
    begun = {}
    for tables in files:
        try:
            begun[assemble(tables)] = begin
        except ValueError:
            continue  # a row of the run with its reason
    return begun


def part_of(progress: Progress | None, before: float, share: float) -> Progress | None:
    """Progress of one run as a part of several, in thousandths of the whole."""
    if progress is None:
        return None

    def advance(stage: str, done: int, total: int) -> None:
        progress(stage, round(1000 * (before + share * done / total)), 1000)

    return advance
