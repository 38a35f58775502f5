"""Build, solve and score many candidates of one design: equal ones once, failures as rows."""

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
    """Return the problem that the solver takes: an assembly with the design's ways, air and seats.

    Parameters
    ----------
    design : Design
        Gives ways, air, the seats as points, and the band of its target.
    assembly : Assembly
    per_band : int
        Frequencies in a third-octave band, four or more.
    """
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
    """Build, solve and score every candidate.

    Assemblies that are equal are solved once. A candidate that cannot be built or solved becomes a
    row with the reason.

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

    Returns
    -------
    tuple of Row
        One for each candidate, in their order.
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
    """Solve the leaders again at more frequencies, so that no narrow resonance decides.

    Leaders are all rows that could still be near-best if coarse scores are off by
    `COARSE_DOUBT_DB`.

    Parameters
    ----------
    design : Design
        Its target says how near the best score "near-best" is.
    rows : sequence of Row
        One of them solved at least.
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    per_band : int
        Frequencies in a third-octave band for the leaders.
    progress : callable, optional
        Called with (stage, done, total) solves of one frequency.

    Returns
    -------
    tuple of Row
        In the order of `rows`: leaders solved again, the others as they were.

    Raises
    ------
    NotSolvedError
        If no row was solved.
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
    """Solve the assemblies of rows at another number of frequencies in a third-octave band.

    Returns a row for each, in their order and with their names. An assembly that had clashes or
    could not be solved fails again; NotSolvedError if one could not even be drawn.
    """
    candidates = [Candidate(row.name, partial(_itself, row.assembly)) for row in rows]
    return run(design, candidates, solver, per_band, "settling the leaders", progress)


def _itself(assembly: Assembly) -> Assembly:
    return assembly


def require_one_solved(design: Design, rows: Sequence[Row], key: str, what: str) -> None:
    """Refuse a study in which no candidate could be solved.

    Parameters
    ----------
    design : Design
    rows : sequence of Row
        One at least.
    key : str
        Place in the design file that asked for the candidates.
    what : str
        What one of them is called in the message.

    Raises
    ------
    DesignError
        If no row was solved; it names `key` and the reason of the first row.
    """
    if best_of(rows) is None:
        mistake = Mistake(key, f"no {what} can be built; the first: {rows[0].reason}")
        raise DesignError(design.path, (mistake,))


def counted(progress: Progress | None, stage: str, total: int) -> Callable[[int], None]:
    """Return a function that adds up finished solves and reports them as progress of a stage.

    It takes the number of solves that were just finished and may be called from any thread.
    """
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
    """Yield a function like `map` that runs as many calls at once as the solver can take."""
    if (at_once := getattr(solver, "at_once", 1)) == 1:
        yield map
        return
    with ThreadPoolExecutor(at_once) as pool:
        try:
            yield pool.map
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
