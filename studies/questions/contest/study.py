"""Cone or dome or a curve of my own? Same column, same driver, same scale, absolute level.

Where drivers and builds are asked, every entry chooses what the file does not hold: a cone its
slope and base, a cap keep and ball, each its gap where the plate can be moved. The design as
written competes at its best besides. Each of them has the least regret of a few of its own.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from dispersion.bands import band_index
from shapes.clashes import find_clashes
from shapes.lengths import INCH
from shapes.reflector import Reflector
from shapes.reflectors import cone
from studies.design import ContestEntry, Design
from studies.solving.candidates import Row, best_of, winner_of
from studies.solving.contestants import Contestant, beside, finalists, least_regretted
from studies.solving.ensemble import Judged, judge, say_so_far
from studies.solving.entries import candidate_of, ends_of
from studies.solving.grid import (
    FINE_PER_BAND,
    Fineness,
    Progress,
    Solver,
    run,
)
from studies.solving.ranking import to_rank
from studies.solving.verdicts import Lead, Verdict, compared

AT_ITS_BEST = "at its best"
"""How the design as written is called besides, at sizes and a gap of its own."""


@dataclass(frozen=True, eq=False)
class Ranked:
    """One entry of a contest with its place in the ranking.

    Attributes
    ----------
    place : int or None
        1 is the lowest score; None if the entry was not solved.
    entry : ContestEntry
    row : Row
        Its geometry, solution and score.
    """

    place: int | None
    entry: ContestEntry
    row: Row


@dataclass(frozen=True, eq=False)
class Contest:
    """Every entry of a contest, compared.

    Attributes
    ----------
    design : Design
    entries : tuple of ContestEntry
        The design as written is the first.
    rows : tuple of Row
        One for each entry, in the same order, solved or not.
    fitting : mapping of str to Reflector
        Of a cone that does not fit, by the entry's name: the largest of its angle that does.
    judged : Judged or None
        The entries in every driver and build that the file may stand for; None if not asked.
    """

    design: Design
    entries: tuple[ContestEntry, ...]
    rows: tuple[Row, ...]
    fitting: Mapping[str, Reflector] = field(default_factory=dict)
    judged: Judged | None = None

    def regret_db(self, row: Row) -> float:
        """Return the regret of an entry, or its score where nothing was judged, dB."""
        return self.judged.regret_of(row) if self.judged is not None and row.solved else row.score

    @cached_property
    def ranked(self) -> tuple[Ranked, ...]:
        """Every entry, least regret first; those that were not solved last, in the file's order."""
        pairs = zip(self.entries, self.rows, strict=True)
        both = sorted(pairs, key=lambda pair: self.regret_db(pair[1]))
        return tuple(
            Ranked(place if row.solved else None, entry, row)
            for place, (entry, row) in enumerate(both, start=1)
        )

    @property
    def ranking(self) -> tuple[Row, ...]:
        """Solved rows, least regret first."""
        return tuple(one.row for one in self.ranked if one.row.solved)

    @property
    def failed(self) -> tuple[Row, ...]:
        """Rows that were not solved, in the file's order."""
        return tuple(row for row in self.rows if not row.solved)

    @property
    def winner(self) -> Row:
        """The entry of least regret, or lowest score; NotSolvedError if none was solved."""
        return winner_of(self.rows) if self.judged is None else self.judged.least

    @property
    def margin_db(self) -> float:
        """By how much the winner leads the next one, dB of score; infinite if it is alone."""
        return self.lead.lead_db if len(self.ranking) > 1 else float("inf")

    @property
    def verdict(self) -> Verdict | None:
        """How sure the lead is; None if the winner is alone."""
        return self.lead.verdict if len(self.ranking) > 1 else None

    @property
    def lead(self) -> Lead:
        """The winner against the next one; NotSolvedError if there is none."""
        return self.compare(self.ranking[1])

    def compare(self, row: Row) -> Lead:
        """Compare the winner with another: in every driver and build if both were judged."""
        judged, first = self.judged, self.winner
        if judged is not None and judged.knows(row):
            return judged.compare(first, row)
        return compared(row.score - first.score)

    @cached_property
    def ends(self) -> dict[str, list[str]]:
        """What each entry chose at an end of what was tried: it may do better beyond."""
        chose = self.judged is not None
        return {
            row.name: ends_of(self.design, entry) if chose and row.solved else []
            for entry, row in zip(self.entries, self.rows, strict=True)
        }

    @property
    def band_difference_db(self) -> np.ndarray:
        """(B,) window level of the winner less that of the next one, dB."""
        first, second = self.ranking[:2]
        return first.coverage.window_level_db - second.coverage.window_level_db

    @property
    def band_range_db(self) -> np.ndarray:
        """(2, B) ends between which that difference lies in nine of ten members, dB.

        Both are that of this file where nothing was judged.
        """
        if self.judged is None:
            return np.array([self.band_difference_db] * 2)
        first, second = self.ranking[:2]
        return self.judged.change_range_db(second, first)

    @property
    def widest(self) -> int | None:
        """Place of the band in which the window levels of the first two surely differ most.

        None if in no band nine of ten members have the same one louder.
        """
        low, high = self.band_range_db
        sure = np.where(low * high > 0.0, np.minimum(np.abs(low), np.abs(high)), 0.0)
        return int(np.argmax(sure)) if np.any(sure > 0.0) else None

    @property
    def octaves(self) -> np.ndarray:
        """(B,) octave of each third-octave band: n is that of 1000 * 10^(3n/10) Hz."""
        return np.floor_divide(band_index(self.winner.coverage.centres) + 1, 3)

    @property
    def octave_centres_hz(self) -> tuple[float, ...]:
        """Centres of the octaves that the band reaches into, ascending, Hz."""
        return tuple(1000.0 * 10.0 ** (0.3 * int(octave)) for octave in np.unique(self.octaves))

    def octave_levels_db(self, row: Row) -> tuple[float, ...]:
        """Window level by octave, dB: mean power of its third octaves that were computed."""
        power, octaves = 10.0 ** (row.coverage.window_level_db / 10.0), self.octaves
        means = (power[octaves == octave].mean() for octave in np.unique(octaves))
        return tuple(float(10.0 * np.log10(mean)) for mean in means)


def contest(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    fineness: Fineness = FINE_PER_BAND,
    *,
    ensemble: bool = False,
) -> Contest:
    """Solve the design as written and every entry of its contest.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    fineness : int or ByNeed
        Frequencies in a third-octave band, four or more, or as many as it takes.
    ensemble : bool
        Ask every driver and build that the file may stand for (wave solver only), and let every
        entry choose sizes and gap; else all are as the file has them.

    Raises
    ------
    DesignError
        If the file has no contest.
    """
    entries, judged = design.contest_entries(), None
    chosen: list[Contestant] = []
    if ensemble:
        chosen, judged = _chosen(design, entries, solver, fineness, progress)
        entries = tuple(one.entry for one in chosen)
    candidates = [replace(candidate_of(design, one), name=one.name) for one in entries]
    rows = run(design, candidates, solver, fineness, "contest", progress)
    if judged is not None:
        ranked = [one.row for one in chosen]
        judged = judged.solved_again(dict(zip(ranked, rows, strict=True)))
    failed = [entry for entry, row in zip(entries, rows, strict=True) if not row.solved]
    found = {entry.name: largest_cone(design, entry) for entry in failed}
    fitting = {name: cone for name, cone in found.items() if cone}
    return Contest(design, entries, rows, fitting, judged)


def _chosen(
    design: Design,
    entries: Sequence[ContestEntry],
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None,
) -> tuple[list[Contestant], Judged | None]:
    """Return the entries at the sizes and gaps that they chose, and what was judged.

    The design at its best stands behind the one as written, unless that is it.
    """
    written, *others = entries
    free = replace(written, name=f"{written.name}, {AT_ITS_BEST}", stays=False, hold="nothing")
    rank, tried_by = to_rank(solver, fineness), (written, free, *others)
    tried = finalists(design, tried_by, rank, fineness, progress)
    rows = [one.row for each in tried for one in each.few]
    if first := best_of(rows):
        say_so_far(progress, first)
    judged = judge(design, rows, rank, fineness, progress)
    if judged is not None:
        tried = beside(design, tried_by, tried, judged, rank, fineness, progress)
        more = [one.row for each in tried for one in each.few if not judged.knows(one.row)]
        judged = judged.joined(judge(design, more, rank, fineness, progress))
    each = [one.few for one in tried]
    own, best, *rest = (
        least_regretted(few, judged) for few in (each[0], (*each[0], *each[1]), *each[2:])
    )
    differs = best.row.drawn != own.row.drawn
    return [own, *([best] if differs else []), *rest], judged


def largest_cone(design: Design, entry: ContestEntry) -> Reflector | None:
    """Return the largest cone of an entry's angle and tip that fits in its place.

    Its base is a whole number of millimetres, or of sixteenths of an inch. None where the entry is
    no cone, or where none fits.
    """
    wanted = entry.reflector
    if wanted is None or wanted.kind != "cone":
        return None
    step = INCH / 16 if design.unit == "in" else 1e-3
    about = {"half_angle": wanted.fact("half angle"), "tip_radius": wanted.fact("tip radius")}
    for steps in range(math.ceil(2 * wanted.base_radius / step) - 1, 0, -1):
        with contextlib.suppress(ValueError):
            smaller = cone(steps * step / 2, **about)
            here = design.assembly().with_gap(entry.plate_gap).with_reflector(smaller)
            if not find_clashes(here):
                return smaller
    return None
