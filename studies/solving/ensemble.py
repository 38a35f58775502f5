"""Whatever you do not know: candidates judged by every driver and build that a file may stand for.

Each candidate is scored in every one of `studies.solving.members`. Its regret in a member is how
much worse it is than the best candidate there; the one to choose has the least regret that 90 per
cent of the members stay within (`Judged`).

Temperature scales all frequencies alike: a solve at 20 degrees is one at another frequency, with
cone speed and letting go scaled too. What temperature does to the scores is only that; what it does
to levels at a place in fixed bands is more (`studies.solving.levels_of_members`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np

from dispersion.bands import third_octave_centres
from shapes.assembly import Assembly
from studies.design import Design
from studies.solving.candidates import Candidate, Row, winner_of
from studies.solving.grid import (
    COARSE_BY_NEED,
    JUDGING_BY_NEED,
    ByNeed,
    Fineness,
    Progress,
    Solver,
    counted,
    expected_solves,
    run,
    work_of,
)
from studies.solving.members import MEMBERS, Build, Motion, members, ways_of, with_cone
from studies.solving.processes import Advance, side_by_side
from studies.solving.verdicts import Lead, compared_over

LEVEL = 0.9
"""Share of the members within the regret that counts."""
MOST_JUDGED = 6
"""Candidates that are asked of every driver and build, the best of this file and those that are
asked for in any case not counted."""
MAY_LEAD_DB = 1.0
"""Candidates within this score of the best may have less to regret: common practice, no source."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Judged:
    """Candidates scored in every member of the ensemble.

    Attributes
    ----------
    rows : tuple of Row
        The candidates as the file has them.
    scores : (N, M) array
        Score of each in each member, dB; infinite where it cannot be built.
    levels_db : (N, M, B) array
        Window level of each in each third octave, dB re 0 dB; nan where it cannot be built.
    known : str
        File of the fit that narrowed the members; empty where nobody measured.
    """

    rows: tuple[Row, ...]
    scores: np.ndarray
    levels_db: np.ndarray
    known: str = ""

    @cached_property
    def regrets(self) -> np.ndarray:
        """(N, M) how much worse than the best candidate of each member, dB."""
        best = self.scores.min(axis=0)
        known = np.isfinite(best)
        return self.scores[:, known] - best[known]

    @cached_property
    def mean(self) -> np.ndarray:
        """(N,) mean score over the members, dB."""
        return self.scores.mean(axis=1)

    @cached_property
    def regret(self) -> np.ndarray:
        """(N,) regret that `LEVEL` of the members stay within, dB."""
        return np.quantile(self.regrets, LEVEL, axis=1, method="higher")

    @property
    def least(self) -> Row:
        """The candidate of least regret."""
        return self.rows[int(np.argmin(self.regret))]

    def knows(self, row: Row) -> bool:
        """Return whether a row is among the candidates."""
        return any(row is one for one in self.rows)

    def regret_of(self, row: Row) -> float:
        """Return the regret of a candidate, dB."""
        return float(self.regret[self._place(row)])

    def mean_of(self, row: Row) -> float:
        """Return the mean score of a candidate, dB."""
        return float(self.mean[self._place(row)])

    def compare(self, first: Row, second: Row) -> Lead:
        """Compare two candidates over all members."""
        with np.errstate(invalid="ignore"):
            leads = self.scores[self._place(second)] - self.scores[self._place(first)]
        return compared_over(leads)

    def change_range_db(self, first: Row, second: Row) -> np.ndarray:
        """Ends of what `LEVEL` of the members stay within: level of the second less the first.

        Returns
        -------
        (2, B) array
            Lowest and highest change of the window level, dB; nan where no member can build both.
        """
        change = self.levels_db[self._place(second)] - self.levels_db[self._place(first)]
        change = change[np.isfinite(change).all(axis=1)]
        if not len(change):
            return np.full((2, self.levels_db.shape[2]), np.nan)
        return np.quantile(change, (0.5 * (1.0 - LEVEL), 0.5 * (1.0 + LEVEL)), axis=0)

    def joined(self, other: Judged | None) -> Judged:
        """Return the candidates of both, judged by the same members."""
        if other is None:
            return self
        return Judged(
            rows=(*self.rows, *other.rows),
            scores=np.concatenate((self.scores, other.scores)),
            levels_db=np.concatenate((self.levels_db, other.levels_db)),
            known=self.known,
        )

    def solved_again(self, again: Mapping[Row, Row]) -> Judged:
        """Return the same with rows in place of those of which they are finer solutions."""
        return replace(self, rows=tuple(again.get(row, row) for row in self.rows))

    def _place(self, row: Row) -> int:
        return next(place for place, one in enumerate(self.rows) if one is row)


def may_lead(rows: Sequence[Row], always: Sequence[Row] = (), most: int = MOST_JUDGED) -> list[Row]:
    """Return the rows that may have the least regret, each once: few, evenly over their sizes.

    Parameters
    ----------
    rows : sequence of Row
        In the order of what differs, one of them solved at least.
    always : sequence of Row
        Asked whatever they score, such as what the file has; those that were solved.
    most : int
        How many besides these and the best.

    Raises
    ------
    NotSolvedError
        If no row was solved.
    """
    best = winner_of(rows)
    near = [row for row in rows if row.score <= best.score + MAY_LEAD_DB]
    places = np.round(np.linspace(0, len(near) - 1, min(most, len(near)))).astype(int)
    chosen = [best, *always, *(near[place] for place in places)]
    return list({id(row): row for row in chosen if row.solved}.values())


def say_so_far(progress: Progress | None, first: Row) -> None:
    """Tell who waits what the very sizes of the file choose, before drivers and builds are asked.

    Only who takes words with `note` is told: nothing of it is in an answer.
    """
    note = getattr(progress, "note", None)
    if note is not None:
        note(
            f"So far, by the very sizes of the file alone: {first.name}. Now {MEMBERS} drivers and"
            " builds are asked, and may choose otherwise."
        )


def judge(
    design: Design,
    rows: Sequence[Row],
    solver: Solver,
    fineness: Fineness = COARSE_BY_NEED,
    progress: Progress | None = None,
) -> Judged | None:
    """Score candidates in every member of the ensemble.

    Parameters
    ----------
    design : Design
    rows : sequence of Row
        Those that were not solved are passed over.
    solver : callable
        The wave solver.
    fineness : int or ByNeed
    progress : callable, optional
        Called with (stage, done, total) solves of one frequency.

    Returns
    -------
    Judged or None
        None for quick methods, whose own errors are larger, and where no row was solved.
    """
    solved = tuple(row for row in rows if row.solved)
    if not solved or any(row.response.method != "waves" for row in solved):
        return None
    fine = JUDGING_BY_NEED if isinstance(fineness, ByNeed) else fineness
    kinds = members(design)
    designs = sum(len(moves) for _, moves in kinds) * len(solved)
    total = designs * expected_solves(design.target.band, fine)
    advance = counted(progress, "whatever you do not know", total)

    candidates = [(row.name, row.assembly) for row in solved]
    of_build = partial(_of_build, design=design, candidates=candidates, fineness=fine)
    work = work_of(design, designs)
    with side_by_side(solver, advance, pieces=len(kinds), work=work) as each:
        found = list(each(of_build, *zip(*kinds, strict=True)))
    return Judged(
        rows=solved,
        scores=np.concatenate([scores for scores, _ in found], axis=1),
        levels_db=np.concatenate([levels for _, levels in found], axis=1),
        known="" if design.known is None else design.known.file,
    )


def _of_build(
    solver: Solver,
    advance: Advance,
    build: Build,
    moves: Sequence[Motion],
    *,
    design: Design,
    candidates: Sequence[tuple[str, Assembly]],
    fineness: Fineness,
) -> tuple[np.ndarray, np.ndarray]:
    """(N, M) scores and (N, M, B) levels of all candidates in one build, motion by motion.

    The first motion chooses the frequencies.
    """
    there = with_cone(design, build)
    ways = [ways_of(there, move) for move in moves]
    built = [Candidate(name, partial(build.of, assembly)) for name, assembly in candidates]
    started: dict[Assembly, np.ndarray] = {}
    scores, levels = [], []
    for n, own in enumerate(ways):
        together = partial(solver, also=ways[n + 1 :]) if ways[n + 1 :] else solver
        moved = replace(there, ways=own)
        found = run(moved, built, together, fineness, "", _counting(advance), started=started)
        for row in found:
            if row.solved:
                started.setdefault(row.assembly, row.response.solved_frequencies)
        scores.append([row.score for row in found])
        levels.append(_levels_of(found, len(third_octave_centres(*design.target.band))))
    return np.transpose(scores), np.swapaxes(levels, 0, 1)


def _levels_of(rows: Sequence[Row], bands: int) -> list[np.ndarray]:
    unknown = np.full(bands, np.nan)
    return [row.coverage.window_level_db if row.solved else unknown for row in rows]


def _counting(advance: Callable[[int], None]) -> Progress:
    """Progress of one run among many that are counted together."""
    before = 0

    def note(_stage: str, done: int, _total: int) -> None:
        nonlocal before
        advance(done - before)
        before = done

    return note
