"""The speakers of a batch: a few solved throughout, the others read where that can be relied on.

By need, `CHECKED` speakers are solved in all third octaves and held against what the sizes moved
one at a time say of them (`studies.questions.tolerance.response_surface`). Where a level is off by
what a meter shows, in the window or at the first seat, every speaker is solved in that third
octave; in the others it is read. What reading is off by on the checked speakers is the batch's
doubt. On an even grid of frequencies every speaker is solved throughout.

The example with 32 speakers: 17 designs throughout and 28 speakers in two third octaves, 1676
solves and 32 s of processor time on a busy machine, where all at 12 a third octave took 12 420 and
209 s on a quieter one. Left out: every speaker by need, within 0.3 dB, 35 s for the batch alone.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from studies.design import Design
from studies.design.design import DesignFile, assemble
from studies.design.moves import dimensions_of, moved
from studies.questions.tolerance.batch import Batch, Speaker
from studies.questions.tolerance.response_surface import BandLevels, levels_of, read_levels
from studies.questions.tolerance.sensitivity import Sensitivity, seat_levels_db, solved_files
from studies.solving.candidates import Candidate, Row
from studies.solving.grid import ByNeed, Fineness, Progress, Solver, built
from studies.solving.target import METER_DB, score

ALL_AT_ONCE, IN_BANDS = "all sizes at once", "all sizes at once, single third octaves"
CHECKED = 4
"""The first four points of a Sobol sequence: one in each quarter of every tolerance."""
MOST_BANDS = 0.5
"""Share of the third octaves that may have to be solved; where it is more, every one is."""


@dataclass(frozen=True, eq=False, kw_only=True)
class _Draw:
    """Speakers that were drawn and not solved yet.

    Attributes
    ----------
    design : Design
    nominal : Row
        The design as written.
    files : mapping of str to DesignFile
        The design of each speaker by its name.
    read : mapping of str to BandLevels
        What the sizes moved one at a time say of each.
    solve : callable
        (design, files, stage=..., begin=...) -> rows by name.
    """

    design: Design
    nominal: Row
    files: Mapping[str, DesignFile]
    read: Mapping[str, BandLevels]
    solve: Callable[..., dict[str, Row]]

    @property
    def centres(self) -> np.ndarray:
        """(B,) centres of the third octaves, Hz."""
        return self.nominal.coverage.centres

    def throughout(self, names: Sequence[str]) -> dict[str, Row]:
        """Solve some speakers in every third octave."""
        some = {name: self.files[name] for name in names}
        begin = self.nominal.response.solved_frequencies
        return self.solve(self.design, some, stage=ALL_AT_ONCE, begin=begin) if some else {}

    def not_readable(self, rows: Mapping[str, Row]) -> np.ndarray:
        """(B,) bool: where what is read is off by what a meter shows; all if no row is solved."""
        off = []
        for name, row in rows.items():
            if row.solved:
                window_db = self.read[name].coverage(self.nominal.coverage).window_level_db
                off.append(np.abs(window_db - row.coverage.window_level_db))
                off.append(np.abs(self.read[name].seat_db - seat_levels_db(row)))
        if not off:
            return np.ones(len(self.centres), dtype=bool)
        return np.max(off, axis=0) >= METER_DB

    def doubts(self, rows: Mapping[str, Row], bands: np.ndarray) -> tuple[float, np.ndarray]:
        """Most that reading is off by where only `bands` are solved: score, (B,) levels, dB."""
        scores, curves = [0.0], [np.zeros(len(bands))]
        for name, row in rows.items():
            if row.solved and not bands.all():
                levels = self.read[name].with_bands(bands, levels_of(row).only(bands))
                scores.append(self._score(levels) - row.score)
                curves.append(levels.seat_db - seat_levels_db(row))
        return float(np.max(np.abs(scores))), np.max(np.abs(curves), axis=0)

    def solved(self, row: Row) -> Speaker:
        """A speaker that was solved throughout."""
        if not row.solved:
            return self._failed(row)
        return Speaker(name=row.name, score=row.score, seat_db=seat_levels_db(row), row=row)

    def partly_read(self, names: Sequence[str], bands: np.ndarray) -> dict[str, Speaker]:
        """Speakers that are solved in some bands and read in the others."""
        tried = {n: built(Candidate(n, partial(assemble, self.files[n]))) for n in names}
        failed = {name: row for name, row in tried.items() if row.reason}
        levels = {name: self.read[name] for name in names if name not in failed}
        for run in _runs(bands) if levels else ():
            for name, row in self._in_run(run, list(levels)).items():
                if row.solved:
                    levels[name] = levels[name].with_bands(run, levels_of(row))
                else:
                    failed[name] = row
        read = {
            name: Speaker(name=name, score=self._score(each), seat_db=each.seat_db)
            for name, each in levels.items()
        }
        return read | {name: self._failed(row) for name, row in failed.items()}

    def _in_run(self, run: slice, names: Sequence[str]) -> dict[str, Row]:
        low, *_, high = self.centres[run]
        target = self.design.target.model_copy(update={"band": (low, high)})
        tables = self.design.tables.model_copy(update={"target": target})
        some = {name: self.files[name] for name in names}
        return self.solve(replace(self.design, tables=tables), some, stage=IN_BANDS)

    def _score(self, levels: BandLevels) -> float:
        return score(levels.coverage(self.nominal.coverage), self.design.target).score

    def _failed(self, row: Row) -> Speaker:
        silent = np.full(len(self.centres), np.nan)
        return Speaker(name=row.name, reason=row.reason, seat_db=silent)


def drawn_batch(
    design: Design,
    sizes: Sequence[Sensitivity],
    solver: Solver,
    fineness: Fineness,
    changes: np.ndarray,
    progress: Progress | None = None,
) -> Batch:
    """Find the levels and scores of speakers with all sizes off at once.

    Parameters
    ----------
    design : Design
    sizes : sequence of Sensitivity
        Each of the design's D sizes moved alone, in their order, solved as finely.
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    fineness : int or ByNeed
        By need most speakers are read; on an even grid every one is solved.
    changes : (N, D) array
        How far each size of each speaker is off, SI.
    progress : callable, optional
        Called with (stage, done, total).
    """
    dimensions = dimensions_of(design.tables)
    names = [f"speaker {number}" for number in range(1, len(changes) + 1)]
    by_name = dict(zip(names, changes, strict=True))
    draw = _Draw(
        design=design,
        nominal=sizes[0].nominal,
        files={name: moved(design.tables, dimensions, off) for name, off in by_name.items()},
        read={name: read_levels(sizes, off) for name, off in by_name.items()},
        solve=partial(solved_files, solver=solver, fineness=fineness, progress=progress),
    )
    count = CHECKED if isinstance(fineness, ByNeed) else len(names)
    rows = draw.throughout(names[:count])
    bands = _in_pairs(draw.not_readable(rows))
    if np.mean(bands) > MOST_BANDS or len(rows) == len(names):
        bands[:] = True
        rows |= draw.throughout(names[count:])
    speakers = {name: draw.solved(row) for name, row in rows.items()}
    speakers |= draw.partly_read(names[len(rows) :], bands)
    doubt_db, curve_doubt_db = draw.doubts(rows, bands)
    return Batch(
        dimensions=dimensions,
        changes=changes,
        nominal=draw.nominal,
        speakers=tuple(speakers[name] for name in names),
        within_db=design.target.near_best_db,
        solved=bands,
        doubt_db=doubt_db,
        curve_doubt_db=curve_doubt_db,
    )


def _in_pairs(bands: np.ndarray) -> np.ndarray:
    """The same with a neighbour beside every band that stands alone: a slope needs two."""
    wide = bands.copy()
    for run in _runs(bands):
        if run.stop - run.start == 1 and len(bands) > 1:
            wide[run.stop if run.stop < len(bands) else run.start - 1] = True
    return wide


def _runs(bands: np.ndarray) -> list[slice]:
    """Adjoining bands, lowest first."""
    ends = np.flatnonzero(np.diff(np.concatenate(([0], bands.astype(int), [0]))))
    return [slice(int(first), int(past)) for first, past in ends.reshape(-1, 2)]
