"""Drivers flush in an endless rigid baffle: what 0 dB is.

Sources. Flat piston: rho A / (2 pi r) straight ahead times 2 J_1(x) / x off the axis (`pistons`).
Domes: a half ball of radius b that stands on the plane, of which the part up to a polar angle moves
outwards; by symmetry only even orders, and with dp/dr = q there

    p = sum over even n of q_n h_n(kr) / (k h_n'(kb)) P_n(cos theta),
    q_n = (2n + 1) times the integral of q P_n over cos theta from 0 to 1

(Morse and Ingard, Theoretical Acoustics, 7.2 [from memory]). Cone: the same one in the solver's
finite bodies, flat boards with a wide round edge. What the edge throws back falls with the size of
the board, and changes its sign with it; the boards' mean is compared.
"""

from __future__ import annotations

import numpy as np
from scipy.special import eval_legendre, spherical_jn, spherical_yn

from dispersion.waves import FlushSolution, axial_motion, normal_motion, solve, solve_flush
from shapes.meridian import Arc, Line, Meridian, Piece
from studies.questions.proof.cases.check import (
    LEVEL_TOLERANCE_DB,
    WAVES,
    Check,
    Compared,
    compare,
    compare_levels,
    degrees,
    joined,
    level,
)
from studies.questions.proof.cases.pistons import directivity
from studies.questions.proof.cases.solids import AIR, frequency_of, hertz, on_circle

ELEVATIONS = np.arange(0.0, 91.0, 10.0)
AXIS_TOLERANCE_DB = 0.01
ORDERS = np.arange(0, 80, 2)
BOARDS = ((8.0, 10.0), (10.0, 10.0), (8.0, 16.0))
"""Radius of the flat and of the round edge, over the cone's."""


def piston(ka: float) -> FlushSolution:
    """Solve a flat piston of radius 1 m."""
    pieces = (Line((1.2, 0.0), (1.0, 0.0), "rim"), Line((1.0, 0.0), (0.0, 0.0), "piston"))
    return solve_flush(pieces, frequency_of(ka), [axial_motion("p", {"piston"}, AIR)], AIR)


def reference(solution: FlushSolution) -> float:
    """Far field of a point of the same volume there, rho A / (2 pi), Pa m."""
    return float(AIR.density * solution.surface.volume_acceleration()[0] / (2.0 * np.pi))


def flat_piston(ka: float) -> Compared:
    """Level straight ahead, and the far field all round over that of an equal point there."""
    solution = piston(ka)
    ahead = compare(
        "level", ["axis"], level(solution.on_axis / reference(solution)), [0.0], AXIS_TOLERANCE_DB
    )
    found = solution.far_field(ELEVATIONS)[:, 0] / reference(solution)
    known = directivity(ka, np.cos(np.radians(ELEVATIONS)))
    share = 10.0 ** (AXIS_TOLERANCE_DB / 20.0) - 1.0
    # The distance from the known value counts the phase; as a level re straight ahead.
    off = level(1.0 + np.abs(found - known))
    limit = level(1.0 + share)
    all_round = compare("off by", degrees(ELEVATIONS), off, np.zeros_like(off), limit)
    return joined(f"ka {ka:g}", (ahead, all_round))


def dome(case: tuple[int, float]) -> Compared:
    """Levels all round of a half ball that swells down to a polar angle in degrees, at some kb."""
    half_angle, kb = case
    edge = on_circle(half_angle)
    rest = Arc((1.0, 0.0), edge, (0.0, 0.0), clockwise=False, part="rest")
    cap = Arc(edge, (0.0, 1.0), (0.0, 0.0), clockwise=False, part="cap")
    drive = [normal_motion("cap", {"cap"}, AIR)]
    solution = solve_flush((rest, cap), frequency_of(kb), drive, AIR)
    found = solution.far_field(ELEVATIONS)[:, 0] / AIR.density
    known = dome_by_series(half_angle, kb)
    axis = compare("level", ["axis"], level(found[-1:]), level(known[-1:]), LEVEL_TOLERANCE_DB)
    return joined(
        f"{half_angle} deg, kb {kb:g}",
        (axis, compare_levels("re largest", degrees(ELEVATIONS), found, known, hertz(kb))),
    )


def dome_by_series(half_angle: float, kb: float) -> np.ndarray:
    """Far field at `ELEVATIONS` over the density, for b = 1 and an outward acceleration of 1."""
    u = np.cos(np.radians(half_angle))
    above, below = (eval_legendre(ORDERS + step, u) for step in (1, -1))
    # Over the cap (2n + 1) P_n is the derivative of P_(n+1) - P_(n-1), both 1 at the pole.
    share = np.where(ORDERS == 0, 1.0 - u, below - above)
    slope = spherical_jn(ORDERS, kb, True) + 1j * spherical_yn(ORDERS, kb, True)
    sent = -share * (-1j) ** (ORDERS + 1) / (kb**2 * slope)
    return eval_legendre(ORDERS, np.sin(np.radians(ELEVATIONS))[:, None]) @ sent


def cone_pieces() -> tuple[Piece, ...]:
    """Cone of radius 1 m, 0.4 deep, with a dome of a third of its width in it."""
    ball = (0.33**2 + 0.18**2) / 0.36
    return (
        Line((1.25, 0.0), (1.0, 0.0), "frame"),
        Line((1.0, 0.0), (0.33, -0.42), "cone"),
        Arc((0.33, -0.42), (0.0, -0.24), (0.0, -0.24 - ball), clockwise=False, part="cap"),
    )


def wide_board(flat: float, edge: float) -> Meridian:
    """The cone in a flat board whose edge is rounded."""
    rim, pieces = flat + edge, cone_pieces()
    return Meridian(
        (
            Line((0.0, -2.0 * edge), (flat, -2.0 * edge), "back"),
            Arc((flat, -2.0 * edge), (rim, -edge), (flat, -edge), clockwise=False, part="edge"),
            Arc((rim, -edge), (flat, 0.0), (flat, -edge), clockwise=False, part="edge"),
            Line((flat, 0.0), pieces[0].start, "baffle"),
            *pieces,
        )
    )


def cone(ka: float) -> Compared:
    """A cone against the mean level of those in wide boards, from 30 degrees off the axis on."""
    elevations, frequency = np.arange(60.0, 91.0, 5.0), frequency_of(ka)
    drive = [axial_motion("cone", {"cone", "cap"}, AIR)]
    solution = solve_flush(cone_pieces(), frequency, drive, AIR)
    boards = [solve([wide_board(*size)], frequency, drive, AIR) for size in BOARDS]
    levels = [level(one.far_field(elevations)[:, 0] / reference(solution)) for one in boards]
    return compare(
        f"ka {ka:g}",
        degrees(elevations),
        level(solution.far_field(elevations)[:, 0] / reference(solution)),
        np.mean(levels, axis=0),
        LEVEL_TOLERANCE_DB,
        hertz(ka),
    )


CHECKS = (
    Check(
        name="Flush in an endless baffle: flat piston",
        kind=WAVES,
        source="elementary: rho A / (2 pi r) straight ahead, 2 J_1(x) / x off the axis",
        unit="dB",
        cases=(0.02, 1.0, 3.0, 3.831706, 10.0, 20.0),
        run=flat_piston,
    ),
    Check(
        name="Flush in an endless baffle: dome",
        kind=WAVES,
        source="series of even orders (Morse & Ingard, Theoretical Acoustics, 7.2 [from memory])",
        unit="dB",
        cases=((90, 0.1), (60, 1.0), (30, 5.0), (60, 15.0)),
        run=dome,
    ),
    Check(
        name="Flush in an endless baffle: cone",
        kind=WAVES,
        source="the same cone in wide finite boards with round edges, mean of three sizes",
        unit="dB",
        cases=(4.0, 6.0),
        run=cone,
    ),
)
