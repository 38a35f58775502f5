"""Curves between solved frequencies: a narrow resonance is found, the rest stays coarse."""

import numpy as np
import pytest

from dispersion.bands import study_frequencies
from dispersion.problem import Problem
from dispersion.refining import WITHIN, bends, refined
from dispersion.response import Response
from dispersion.sources import Way
from shapes.assembly import Assembly, Column, Driver

ASSEMBLY = Assembly(
    column=Column(0.2, 0.9),
    driver=Driver(effective_radius=0.05, frame_radius=0.065),
    plate_gap=0.06,
    reflector=None,
    plate=None,
)
RESONANCE_HZ, Q = 5600.0, 60.0


def curve(frequencies: np.ndarray) -> np.ndarray:
    """Pressure of a resonance beside something even."""
    x = frequencies / RESONANCE_HZ
    return 0.3 + 0.5 / (1.0 - x**2 - 1j * x / Q) / Q


class Resonant:
    """A solver of that curve, with a list of what it was asked for."""

    def __init__(self) -> None:
        self.asked: list[np.ndarray] = []

    def __call__(self, problem: Problem) -> Response:
        f = problem.frequencies
        self.asked.append(f)
        near = np.broadcast_to(curve(f)[None, :, None], (1, len(f), len(problem.points)))
        far = np.ones((1, len(f), problem.elevations.size), dtype=complex)
        return Response(
            problem=problem,
            method="waves",
            settings={},
            far_by_way=far,
            near_by_way=near,
            power_error_db=np.zeros((1, len(f))),
            unknowns=np.ones(len(f)),
        )


def problem(points: int = 1) -> Problem:
    f = study_frequencies(1000.0, 16000.0, 12)
    return Problem(
        assembly=ASSEMBLY,
        ways=(Way(name="driver"),),
        frequencies=f,
        points=np.full((points, 2), 2.0),
    )


def test_a_narrow_resonance_is_followed() -> None:
    solver = Resonant()
    found = refined(problem(), solver)
    assert found.left <= WITHIN < bends(solver(problem())).max()
    f = np.geomspace(1000.0, 16000.0, 5000)
    off = np.abs(found.near(f)[:, 0] - curve(f))
    # Leaving out every second frequency costs WITHIN of the rms value round it, which at the peak
    # of 0.5 is at most that peak: with all of them it must be less.
    assert off.max() < WITHIN * np.abs(curve(f)).max()
    assert found.error < WITHIN


def test_new_frequencies_stand_where_it_bends_only() -> None:
    solver = Resonant()
    refined(problem(), solver)
    new = np.concatenate(solver.asked[1:])
    assert len(new) and np.all(np.abs(np.log2(new / RESONANCE_HZ)) < 0.5)
    every = np.concatenate(solver.asked)
    assert len(np.unique(every)) == len(every)


def test_an_even_curve_is_solved_once_and_held_beyond_its_ends() -> None:
    solver = Resonant()
    found = refined(problem(), solver, within=100.0)
    assert len(solver.asked) == 1 and np.isnan(found.error)
    ends = found.response.problem.frequencies[[0, -1]]
    beyond = found.near(np.array([0.0, 10.0, 24000.0]))[:, 0]
    assert beyond == pytest.approx(curve(ends)[[0, 0, 1]])


def test_too_few_frequencies_or_points_are_refused() -> None:
    with pytest.raises(ValueError, match="at least 8"):
        refined(problem(points=0), Resonant())
