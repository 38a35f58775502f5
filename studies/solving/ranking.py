"""The wave solver as it serves to compare designs of one column: less of it, cut more coarsely.

Above some hundred hertz the window hears little of what happens far down the column, and that is
nearly the same for all candidates. So what is only compared is solved with a column that ends 5 cm
and `COLUMN_WAVELENGTHS` below its face, on a coarser mesh; what is chosen is then solved whole. The
depth follows the wavelength without a step. Score and third octaves of the window's level against
the whole, both settled within 0.05 dB, over five caps of the example (18 to 53 mm): largest
difference in dB, and processor time over that of the whole in one run:

    =====================================  =====  =====  ============
    ..                                     score  level  time
    =====================================  =====  =====  ============
    3.5 wavelengths, the same mesh         0.017  0.08   0.35 to 0.53
    3.5 wavelengths, the coarser mesh      0.019  0.07   0.23 to 0.41
    2.5 wavelengths, the same mesh         0.035  0.10   0.35 to 0.50
    2 wavelengths, the coarser mesh        0.113  0.30   0.23 to 0.41
    the whole column, the coarser mesh     0.007  0.02   0.60 to 0.70
    =====================================  =====  =====  ============

The table was made with four digits of the azimuth's quadrature; three, as they are taken now, move
scores by 0.007 dB (rms) and leave a sixth less to do.

Over the four examples, with their gap and with one wider by 15 and 30 per cent, the score moved by
0.034 dB (rms; 0.09 at most), a level by 0.16 dB at most. A shorter column has fewer ripples
besides, so that fewer frequencies settle it. Single directions below the horizon are off by several
dB, and a column on a floor is never cut short.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from dispersion.waves import DEFAULT_SETTINGS, MeshSettings, WaveSettings
from studies.design import Design
from studies.solving.candidates import Candidate, Row
from studies.solving.cluster import ClusterSolver
from studies.solving.grid import ByNeed, Fineness, Progress, Solver, leaders_fineness, run

COLUMN_WAVELENGTHS = 3.5
RANKING = WaveSettings(
    mesh=MeshSettings(unknowns_per_wavelength=5.0, edge_share=0.15, growth=4.0, most_turn=1.5),
    digits=3.0,
    column_wavelengths=COLUMN_WAVELENGTHS,
)

RANKING_ERROR_DB = 0.1
"""By how much a score may be off because of it."""


def to_rank(solver: Solver, fineness: Fineness) -> Solver:
    """Return the solver with which candidates are compared.

    Parameters
    ----------
    solver : callable
        One of `dispersion.solvers.SOLVERS`, with what was asked for.
    fineness : int or ByNeed
        How finely they are to be compared.

    Returns
    -------
    callable
        The solver itself unless it is the wave solver by need on its usual mesh: who asks for
        evenly spaced frequencies, or for another mesh, wants nothing cut short.
    """
    if isinstance(solver, ClusterSolver):
        return replace(solver, solve=to_rank(solver.solve, fineness))
    plain = not isinstance(solver, partial) or solver.keywords.get("settings") != DEFAULT_SETTINGS
    if plain or not isinstance(fineness, ByNeed):
        return solver
    return partial(solver, settings=RANKING)


def solved_whole(
    design: Design, row: Row, solver: Solver, fineness: Fineness, progress: Progress | None
) -> Row:
    """Solve what was chosen as finely as a leader, with nothing cut short, if it was.

    Parameters
    ----------
    design : Design
    row : Row
        Solved, to compare it.
    solver : callable
        One of `dispersion.solvers.SOLVERS`, not `to_rank`.
    fineness : int or ByNeed
        How finely all were compared.
    progress : callable or None
        Called with (stage, done, total) solves of one frequency.
    """
    if to_rank(solver, fineness) is solver:
        return row
    candidate = Candidate(row.name, lambda: row.assembly)
    return run(design, [candidate], solver, leaders_fineness(fineness), "the best", progress)[0]
