"""Run many candidates of one design: order of work, identical ones solved once, none hidden."""

import contextlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial
from threading import Lock

import numpy as np

from dispersion.bands import study_frequencies
from dispersion.checks import problems_before
from dispersion.coverage import measure_coverage
from dispersion.elevations import level_db, window_power
from dispersion.problem import Problem
from dispersion.response import Response
from dispersion.waves import one_blas_thread
from shapes.assembly import Assembly
from shapes.clashes import find_clashes
from studies.design import Design, DesignError, Mistake
from studies.solving.candidates import Candidate, Row, Solved, best_of, winner_of
from studies.solving.target import score

COARSE_PER_BAND, FINE_PER_BAND = 4, 12
"""Frequencies in a third-octave band: where many candidates are compared, and where few are."""
COARSE_DOUBT_DB = 0.45
"""How far two coarse scores may be off against each other where narrow resonances fall between the
frequencies. Over every second cap of the example, 4 against 12 frequencies a band, one score was
off by 0.28 dB at most, and two against each other by 0.42 dB."""
Solver = Callable[..., Response]
"""(problem, progress=...) -> Response, one of `dispersion.solvers.SOLVERS`. One that can take
several problems at once says how many in its attribute `at_once`."""
Progress = Callable[[str, int, int], None]
"""Called with (stage, done, total) solves of one frequency."""


def problem_of(design: Design, assembly: Assembly, per_band: int = FINE_PER_BAND) -> Problem:
    """Problem of one assembly of a design: its ways, air, band and seats."""
    low, high = design.target.band
    seats = np.array([(seat.r, seat.z) for seat in design.seats]).reshape(-1, 2)
    return Problem(
        assembly=assembly,
        ways=design.ways,
        frequencies=study_frequencies(low, high, per_band),
        air=design.air,
        points=seats,
    )


def run(
    design: Design,
    candidates: Sequence[Candidate],
    solver: Solver,
    per_band: int,
    stage: str,
    progress: Progress | None = None,
    keep_far: bool = False,
) -> tuple[Row, ...]:
    """Build, solve and score every candidate; one that fails is a row with its reason.

    Parameters
    ----------
    design : Design
    candidates : sequence of Candidate
    solver : callable
        (problem, progress=...) -> Response, one of `dispersion.solvers.SOLVERS`.
    per_band : int
        Frequencies in a third-octave band, four or more.
    stage : str
        What to call this run while it lasts.
    progress : callable, optional
        Called with (stage, done, total) solves of one frequency.
    keep_far : bool
        Keep the far field of every response, half a megabyte each at four frequencies a band.
    """
    rows = [_build(candidate) for candidate in candidates]
    to_solve = dict.fromkeys(row.assembly for row in rows if not row.reason)
    total = len(to_solve) * len(study_frequencies(*design.target.band, per_band))
    advance = counted(progress, stage, total)

    def one(assembly: Assembly) -> Row:
        return _solve(design, assembly, solver, per_band, advance, keep_far)

    # Sums over directions go through linear algebra too, while other problems are being solved.
    with one_blas_thread(), _side_by_side(solver) as each:
        solved = dict(zip(to_solve, each(one, to_solve), strict=True))
    return tuple(
        row if row.reason else replace(solved[row.assembly], name=row.name) for row in rows
    )


def settle(
    design: Design,
    rows: Sequence[Row],
    solver: Solver,
    per_band: int,
    progress: Progress | None = None,
) -> tuple[Row, ...]:
    """Solve the leaders again at `per_band` frequencies, so that no narrow resonance decides.

    Leaders are all rows that could still be near-best if coarse scores are off by
    `COARSE_DOUBT_DB`; the others are returned as they are.
    """
    limit = winner_of(rows).score + design.target.near_best_db + COARSE_DOUBT_DB
    leaders = [i for i, row in enumerate(rows) if row.score <= limit and row.per_band < per_band]
    settled = solve_again(design, [rows[i] for i in leaders], solver, per_band, progress)
    finer = dict(zip(leaders, settled, strict=True))
    return tuple(finer.get(i, row) for i, row in enumerate(rows))


def solve_again(
    design: Design,
    rows: Sequence[Row],
    solver: Solver,
    per_band: int,
    progress: Progress | None = None,
) -> tuple[Row, ...]:
    """Solve rows that were solved before, at other frequencies."""
    candidates = [Candidate(row.name, partial(_itself, row.assembly)) for row in rows]
    return run(design, candidates, solver, per_band, "settling the leaders", progress)


def _itself(assembly: Assembly) -> Assembly:
    return assembly


def require_one_solved(design: Design, rows: Sequence[Row], key: str, what: str) -> None:
    """Refuse a study of which nothing came.

    Raises
    ------
    DesignError
        With the place in the file that asked for it, and the reason of the first row.
    """
    if best_of(rows) is None:
        mistake = Mistake(key, f"no {what} can be built; the first: {rows[0].reason}")
        raise DesignError(design.path, (mistake,))


def counted(progress: Progress | None, stage: str, total: int) -> Callable[[int], None]:
    """Turn solves done one by one, from any thread, into the progress of a stage."""
    done, lock = 0, Lock()

    def advance(count: int) -> None:
        nonlocal done
        with lock:
            done += count
            if progress is not None:
                progress(stage, done, total)

    return advance


def _build(candidate: Candidate) -> Row:
    try:
        assembly = candidate.build()
        clashes = find_clashes(assembly)
    except ValueError as mistake:
        return Row(candidate.name, reason=str(mistake))
    if clashes:
        reason = "; ".join(f"{clash.message}: {clash.remedy}" for clash in clashes)
        return Row(candidate.name, assembly, reason)
    return Row(candidate.name, assembly)


def _solve(
    design: Design,
    assembly: Assembly,
    solver: Solver,
    per_band: int,
    advance: Callable[[int], None],
    keep_far: bool,
) -> Row:
    problem = problem_of(design, assembly, per_band)
    if refusals := problems_before(problem):
        advance(len(problem.frequencies))
        return Row("", assembly, "; ".join(refusals))
    try:
        response = solver(problem, progress=advance)
    except ValueError as refusal:
        return Row("", assembly, str(refusal))
    coverage = measure_coverage(
        problem.frequencies,
        problem.elevations,
        response.power,
        design.window_deg,
        design.target.band,
    )
    curve = level_db(window_power(response.power, problem.elevations, coverage.window))
    kept = response if keep_far else response.without_far()
    return Row("", assembly, "", Solved(kept, coverage, score(coverage, design.target), curve))


@contextlib.contextmanager
def _side_by_side(solver: Solver) -> Iterator[Callable[..., Iterable[Row]]]:
    """As `map`, over as many problems at once as the solver can take."""
    if (at_once := getattr(solver, "at_once", 1)) == 1:
        yield map
        return
    with ThreadPoolExecutor(at_once) as pool:
        try:
            yield pool.map
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
