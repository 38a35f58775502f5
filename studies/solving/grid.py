"""Build, solve and score many candidates of one design: equal ones once, failures as rows."""

import contextlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from threading import Lock

import numpy as np

from dispersion.bands import study_frequencies, third_octave_centres
from dispersion.checks import problems_before
from dispersion.coverage import Coverage, coverage_of_bands, measure_coverage
from dispersion.elevations import level_db, window_power
from dispersion.neighbours import Begun
from dispersion.problem import Problem
from dispersion.response import Response
from dispersion.settling import settled_response
from dispersion.waves import one_blas_thread
from shapes.assembly import Assembly
from shapes.clashes import find_clashes, fits
from studies.design import Design, DesignError, Mistake
from studies.solving.candidates import Candidate, Row, Solved, best_of, winner_of
from studies.solving.lines import PlaceInLine, begin_lines
from studies.solving.processes import Advance, Each, side_by_side
from studies.solving.seating import towards_images
from studies.solving.target import score

COARSE_PER_BAND, FINE_PER_BAND = 4, 12
"""Frequencies in a third-octave band: where many candidates are compared, and where few are."""
COARSE_DOUBT_DB = 1.2
"""How far two coarse scores may be off against each other where narrow resonances fall between the
frequencies. Over every second cap, 4 against 12 frequencies a band, one score was off by 0.72 dB at
most over the plain driver, 0.19 over the coaxial one, two against each other by 1.19 and 0.36."""
BY_NEED_DOUBT_DB = 0.12
"""The same where bands have settled within 0.3 dB, against 0.05 dB: of the same caps one score was
off by 0.03 dB (rms; 0.06 at most), two against each other by 0.10 and 0.11."""


@dataclass(frozen=True)
class ByNeed:
    """Frequencies chosen by need, until every third octave of the window has settled.

    Attributes
    ----------
    within_db : float
        Doubt of a band value at which it has settled, dB.
    per_band : int
        Frequencies in a third-octave band at which curves are read from the fit.
    far_within : float or None
        Doubt at which the far field in every direction has settled at every single frequency, over
        its rms value in the band (at least a tenth of the strongest); None if it need not.
    scores_only : bool
        Nothing but scores and band levels is asked: what reaches the seats is not solved (a
        fourteenth of a solve) and no resonance named (a tenth of what reading the fits takes).
    """

    within_db: float
    per_band: int
    far_within: float | None = None
    scores_only: bool = False


COARSE_BY_NEED, FINE_BY_NEED = ByNeed(0.3, 8), ByNeed(0.05, 24)
"""Where many candidates are compared, and where few are."""
JUDGING_BY_NEED = ByNeed(0.3, 4, scores_only=True)
"""Where thousands are judged."""
FAR_EVERY = 5
"""Of the solved elevations, 0.5 degrees apart, those that speak for all where the far field settles
at every frequency."""
CHANGES_BY_NEED = ByNeed(0.15, 12)
"""Where designs differ by a millimetre: begun at the frequencies of the one as written, the errors
of both have much in common. Three sizes moved of the example, against 96 even frequencies a third
octave: changes of score (0.13 to 0.24 dB) off by 0.013 dB at most; at 24 even ones by 0.16. Levels
at the first seat over all 12 ends against 0.05 dB of doubt: changes off by 0.03 dB rms, 0.22 at
most."""
EXPECTED_SOLVES = 60
"""Frequencies that a design needs by need, about: for the progress bar."""
Fineness = int | ByNeed
"""Frequencies in a third-octave band, four or more, or as many as it takes."""
Solver = Callable[..., Response]
"""(problem, progress=...) -> Response, one of `dispersion.solvers.SOLVERS`. One that can take
several problems at once says how many in its attribute `at_once`."""
Progress = Callable[[str, int, int], None]
"""Called with (stage, done, total) solves of one frequency."""


def problem_of(design: Design, assembly: Assembly, per_band: int = FINE_PER_BAND) -> Problem:
    """Return the problem that a solver takes: an assembly, the design's ways, walls, air, seats.

    Parameters
    ----------
    design : Design
        Gives ways, walls, air, the seats as points, and the band of its target.
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
        walls=design.walls_on(assembly),
    )


def leaders_fineness(asked: Fineness) -> Fineness:
    """Return how finely leaders are solved where all candidates are solved as `asked`."""
    return FINE_BY_NEED if isinstance(asked, ByNeed) else max(asked, FINE_PER_BAND)


def score_doubt_db(asked: Fineness) -> float:
    """Return how far two scores may be off against each other where all are solved as `asked`."""
    return BY_NEED_DOUBT_DB if isinstance(asked, ByNeed) else COARSE_DOUBT_DB


def read_per_band(asked: Fineness) -> int:
    """Return how many frequencies a third-octave band of a response has."""
    return asked.per_band if isinstance(asked, ByNeed) else asked


def expected_solves(band: tuple[float, float], asked: Fineness) -> int:
    """Return how many solves a design will take, about: for the progress bar."""
    if isinstance(asked, ByNeed):
        return EXPECTED_SOLVES
    return len(study_frequencies(*band, asked))


def work_of(design: Design, designs: int) -> int:
    """Return designs times third octaves: what tells whether processes pay."""
    return designs * len(third_octave_centres(*design.target.band))


def run(
    design: Design,
    candidates: Sequence[Candidate],
    solver: Solver,
    fineness: Fineness,
    stage: str,
    progress: Progress | None = None,
    keep_far: bool = False,
    settle_seats: bool = False,
    started: Mapping[Assembly, np.ndarray] | None = None,
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
    fineness : int or ByNeed
        Frequencies in a third-octave band, four or more, or as many as it takes (wave solver only).
    stage : str
        What to call this run while it lasts.
    progress : callable, optional
        Called with (stage, done, total) solves of one frequency.
    keep_far : bool
        Keep the far field of every response, half a megabyte each at four frequencies a band.
    settle_seats : bool
        By need: settle the band values at the seats as well as those of the window.
    started : mapping of Assembly to (N,) array, optional
        By need: frequencies, Hz, at which assemblies were solved before; they are asked for first.

    Returns
    -------
    tuple of Row
        One for each candidate, in their order.
    """
    rows = [built(candidate) for candidate in candidates]
    along = {
        row.assembly: candidate.along
        for row, candidate in zip(rows, candidates, strict=True)
        if not row.reason
    }
    # Sums over directions go through linear algebra too, while other problems are being solved.
    with one_blas_thread():
        if isinstance(fineness, ByNeed):
            solved = _solve_all_by_need(
                design,
                along,
                solver,
                fineness,
                counted(progress, stage, len(along) * EXPECTED_SOLVES),
                keep_far=keep_far,
                settle_seats=settle_seats,
                started=started or {},
            )
        else:
            total = len(along) * expected_solves(design.target.band, fineness)
            advance = counted(progress, stage, total)
            solved = _solve_all(design, along, solver, fineness, advance, keep_far=keep_far)
    return tuple(
        row if row.reason else replace(solved[row.assembly], name=row.name, along=row.along)
        for row in rows
    )


def _solve_all(
    design: Design,
    assemblies: Iterable[Assembly],
    solver: Solver,
    per_band: int,
    advance: Callable[[int], None],
    *,
    keep_far: bool,
) -> dict[Assembly, Row]:
    to_solve = list(assemblies)
    solve = partial(_solve, design=design, per_band=per_band, keep_far=keep_far)
    work = work_of(design, len(to_solve))
    with side_by_side(solver, advance, pieces=len(to_solve), work=work) as each:
        return dict(zip(to_solve, each(solve, to_solve), strict=True))


def _solve_all_by_need(
    design: Design,
    along: Mapping[Assembly, PlaceInLine | None],
    solver: Solver,
    by_need: ByNeed,
    advance: Callable[[int], None],
    *,
    keep_far: bool,
    settle_seats: bool,
    started: Mapping[Assembly, np.ndarray],
) -> dict[Assembly, Row]:
    """Begin lines of candidates together, then settle each, none waiting for the others."""
    settle = partial(
        _solve_by_need,
        design=design,
        by_need=by_need,
        keep_far=keep_far,
        settle_seats=settle_seats,
    )
    work = work_of(design, len(along))
    with side_by_side(solver, advance, pieces=len(along), work=work) as each:
        begun = _begun(design, along, by_need, each)
        first = [None if at is None else begun.get(at) for at in along.values()]
        start = [started.get(assembly) for assembly in along]
        return dict(zip(along, each(settle, along, start, first), strict=True))


def _begun(
    design: Design,
    along: Mapping[Assembly, PlaceInLine | None],
    by_need: ByNeed,
    each: Each,
) -> dict[PlaceInLine, Begun]:
    """First frequencies of candidates that stand in lines."""
    in_lines = {
        at: problem
        for assembly, at in along.items()
        if at is not None
        and not problems_before(problem := problem_of(design, assembly, by_need.per_band))
    }
    try:
        return begin_lines(in_lines, design.window_deg, each)
    except ValueError:
        # One of them is refused: each for itself then tells which, and why.
        return {}


def settle(
    design: Design,
    rows: Sequence[Row],
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None = None,
) -> tuple[Row, ...]:
    """Solve the leaders again at more frequencies, so that no narrow resonance decides.

    Leaders are all rows that could still be near-best if coarse scores are off by
    `COARSE_DOUBT_DB`, or `BY_NEED_DOUBT_DB` where frequencies were chosen by need.

    Parameters
    ----------
    design : Design
        Its target says how near the best score "near-best" is.
    rows : sequence of Row
        One of them solved at least.
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    fineness : int or ByNeed
        How finely the leaders are solved.
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
    limit = winner_of(rows).score + design.target.near_best_db + score_doubt_db(fineness)
    finer = read_per_band(fineness)
    leaders = [i for i, row in enumerate(rows) if row.score <= limit and row.per_band < finer]
    settled = solve_again(design, [rows[i] for i in leaders], solver, fineness, progress)
    again = dict(zip(leaders, settled, strict=True))
    return tuple(again.get(i, row) for i, row in enumerate(rows))


def solve_again(
    design: Design,
    rows: Sequence[Row],
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None = None,
) -> tuple[Row, ...]:
    """Solve the assemblies of rows at another number of frequencies in a third-octave band.

    Returns a row for each, in their order and with their names. An assembly that had clashes or
    could not be solved fails again; NotSolvedError if one could not even be drawn.
    """
    candidates = [Candidate(row.name, partial(_itself, row.assembly)) for row in rows]
    started = {row.assembly: row.response.solved_frequencies for row in rows if row.solved}
    stage = "settling the leaders"
    again = run(design, candidates, solver, fineness, stage, progress, started=started)
    return tuple(replace(new, along=row.along) for new, row in zip(again, rows, strict=True))


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
            done = min(done + count, total)
            if progress is not None:
                progress(stage, done, total)

    return advance


@contextlib.contextmanager
def as_expected(advance: Callable[[int], None], expected: int) -> Iterator[Callable[[int], None]]:
    """Yield a counter of solves that passes on as many as were expected, the rest at the end.

    Parameters
    ----------
    advance : callable
        Called with the number of solves that were just finished.
    expected : int
        Less than 1 if nothing is.
    """
    left = max(expected, 0)

    def count(solves: int) -> None:
        nonlocal left
        more = min(solves, left)
        left -= more
        advance(more)

    try:
        yield count
    except ValueError:
        advance(left)
        raise
    advance(left)


def built(candidate: Candidate) -> Row:
    """Build one candidate: a row not solved yet, with the reason if it cannot be built."""
    try:
        assembly = candidate.build()
        clashes = () if fits(assembly) else find_clashes(assembly)
    except ValueError as mistake:
        return Row(candidate.name, reason=str(mistake))
    if clashes:
        reason = "; ".join(f"{clash.message}: {clash.remedy}" for clash in clashes)
        return Row(candidate.name, assembly, reason)
    return Row(candidate.name, assembly, along=candidate.along)


def _solve(
    solver: Solver,
    advance: Advance,
    assembly: Assembly,
    *,
    design: Design,
    per_band: int,
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
        np.abs(response.alone) ** 2,
    )
    return scored(design, assembly, response, coverage, keep_far)


def _solve_by_need(
    solver: Solver,
    advance: Advance,
    assembly: Assembly,
    start: np.ndarray | None,
    begun: Begun | None,
    *,
    design: Design,
    by_need: ByNeed,
    keep_far: bool,
    settle_seats: bool,
) -> Row:
    problem = problem_of(design, assembly, by_need.per_band)
    if refusals := problems_before(problem):
        advance(EXPECTED_SOLVES)
        return Row("", assembly, "; ".join(refusals))
    if by_need.scores_only:
        problem = replace(problem, points=problem.points[:0])
    far = None
    if by_need.far_within is not None:
        far = np.arange(0, len(problem.elevations), FAR_EVERY)
    before = 0 if begun is None else len(begun.response.problem.frequencies)
    try:
        with as_expected(advance, EXPECTED_SOLVES - before) as count:
            settled = settled_response(
                problem,
                partial(solver, progress=count),
                design.window_deg,
                within_db=by_need.within_db,
                points=range(len(problem.points)) if settle_seats else (),
                start=start,
                begun=begun,
                curves=far,
                within=by_need.far_within or np.inf,
                rings=not by_need.scores_only,
            )
    except ValueError as refusal:
        return Row("", assembly, str(refusal))
    coverage = coverage_of_bands(
        third_octave_centres(*design.target.band),
        problem.elevations,
        settled.found.power[:, : len(problem.elevations)],
        design.window_deg,
        design.target.band,
        settled.sliding,
    )
    return scored(design, assembly, settled.response, coverage, keep_far)


def scored(
    design: Design, assembly: Assembly, response: Response, coverage: Coverage, keep_far: bool
) -> Row:
    """Return a solved assembly with its score, its far field kept or let go."""
    problem = response.problem
    curve = level_db(window_power(response.power, problem.elevations, coverage.window))
    kept = response if keep_far else response.without_far()
    images = towards_images(design, response)
    card = score(coverage, design.target)
    return Row("", assembly, "", Solved(kept, coverage, card, curve, images))
