"""A cone flush in an endless rigid baffle, which is 0 dB, against boundary elements in 3-D.

Source: bempp-cl 0.4.2 (Betcke & Scroggs, J. Open Source Softw. 6, 2879 (2021) [from memory]),
pressure linear and its gradient constant on flat triangles. No hemisphere, no series and no board:
the cone's cavity and the half space over it meet in the mouth. With q = dp/dz there, in the cavity
and above the plane,

    (1/2 + K) p - S q = S q_cone on all of the cavity's surface,    p + 2 S q = 0 in the mouth

(Green's theorem inside, Rayleigh's integral outside), and far away r p exp(-ikr) is -1 / (2 pi)
times the integral of q exp(-ik x cos(elevation)).

Off by, at most over the five directions from 40 degrees off the axis on, dB (and of the largest
pressure, phase included), with triangles of three lengths over the cone's radius: the library comes
nearer as they shrink.

    ====  ==============  ==============  ==============
    ka    0.16            0.11            0.08
    ====  ==============  ==============  ==============
    4     0.046 (0.9 %)   0.037 (0.7 %)   0.023 (0.5 %)
    6     0.068 (0.8 %)   0.039 (0.4 %)   0.028 (0.3 %)
    ====  ==============  ==============  ==============
"""

from functools import cache

import numpy as np
import pytest
from bodies import AIR, frequency_of, level_error
from triangles import Rows, surface_of_revolution

from dispersion.waves import axial_motion, solve_flush
from shapes.meridian import Line, Meridian
from studies.questions.proof.cases.flush import cone_pieces

ELEVATIONS = np.arange(50.0, 91.0, 10.0)
MESHES = ((0.16, 18), (0.08, 36))
"""Length of the rows over the cone's radius, and triangles around."""
MOVES = ("cone", "cap")
ALLOWED_DB = 0.04


@cache
def ours(ka: float) -> np.ndarray:
    """Far field (E,), Pa m."""
    drive = [axial_motion("cone", set(MOVES), AIR)]
    solution = solve_flush(cone_pieces(), frequency_of(ka), drive, AIR)
    return solution.far_field(ELEVATIONS)[:, 0]


def library(ka: float, longest: float, around: int) -> np.ndarray:
    """Far field (E,) by the library on one mesh, Pa m."""
    api = pytest.importorskip("bempp_cl.api")
    from bempp_cl.api.operators import boundary

    api.DEFAULT_DEVICE_INTERFACE = "numba"
    inside = Meridian(tuple(piece.reversed() for piece in cone_pieces()[:0:-1]))
    mouth = Line(inside.pieces[-1].end, (0.0, 0.0), "mouth")
    cavity = Meridian((*inside.pieces, mouth))
    vertices, triangles, parts = surface_of_revolution(cavity, around, Rows(longest))
    open_there = np.array(parts) == "mouth"
    grid = api.Grid(vertices.T, triangles.T.astype("uint32"), open_there.astype("uint32"))
    k = 2.0 * np.pi * frequency_of(ka) / AIR.speed
    linear = api.function_space(grid, "P", 1)
    cone, gap = (api.function_space(grid, "DP", 0, segments=[n]) for n in (0, 1))

    def matrix(operator) -> np.ndarray:
        weak = operator.weak_form()
        return np.asarray(weak @ np.eye(weak.shape[1]))

    wave, same = boundary.helmholtz, boundary.sparse.identity
    inside_p = matrix(
        0.5 * same(linear, linear, linear) + wave.double_layer(linear, linear, linear, k)
    )
    inside_q = matrix(wave.single_layer(gap, linear, linear, k))
    above_p = matrix(same(linear, gap, gap))
    above_q = 2.0 * matrix(wave.single_layer(gap, gap, gap, k))
    given = -AIR.density * grid.normals[~open_there, 2]
    right = matrix(wave.single_layer(cone, linear, linear, k)) @ given
    whole = np.block([[inside_p, -inside_q], [above_p, above_q]])
    found = np.linalg.solve(whole, np.concatenate((right, np.zeros(len(above_q)))))
    q, middles = found[len(right) :], vertices[triangles[open_there]].mean(axis=1)
    phase = np.exp(-1j * k * np.outer(np.cos(np.radians(ELEVATIONS)), middles[:, 0]))
    return -phase @ (q * grid.volumes[open_there]) / (2.0 * np.pi)


@pytest.mark.long
@pytest.mark.parametrize("ka", [4.0, 6.0])
def test_the_library_converges_to_what_is_solved(ka: float) -> None:
    """Twice as many rows and triangles around take a third of the difference away at least."""
    coarse, fine = (library(ka, *mesh) for mesh in MESHES)
    assert level_error(ours(ka), fine) < ALLOWED_DB
    off = [np.abs(one - ours(ka)).max() / np.abs(fine).max() for one in (coarse, fine)]
    assert off[1] < 2.0 / 3.0 * off[0]
    # One scale for both: the tolerance is also what a wrong constant would have to hide in.
    assert off[1] < 10.0 ** (2.0 * ALLOWED_DB / 20.0) - 1.0
