"""Curves between solved frequencies: a narrow resonance is found, the rest stays coarse."""

from dataclasses import replace

import numpy as np
import pytest

from dispersion.bands import study_frequencies
from dispersion.curves import WITHIN, Curves, curves_by_need, curves_on_a_grid
from dispersion.problem import Problem
from dispersion.reference import Reference, flat
from dispersion.response import Response
from dispersion.sources import Way
from shapes.assembly import Assembly, Column, Driver

ASSEMBLY = Assembly(
    column=Column(width=0.2, height=0.9),
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
            reference=Reference(problem.ways, flat(len(problem.ways))),
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


def off_by(found: Curves) -> float:
    """Largest error between 1 and 16 kHz over the rms pressure of the resonance's third octave."""
    f = np.geomspace(1000.0, 16000.0, 5000)
    band = study_frequencies(5000.0, 5000.0, 400)
    size = np.sqrt(np.mean(np.abs(curve(band)) ** 2))
    return float(np.abs(found.near(f)[:, 0] - curve(f)).max() / size)


def test_a_narrow_resonance_is_followed() -> None:
    solver = Resonant()
    found = curves_by_need(problem(), solver, (0.0, 20.0), 0.05)
    assert found.worst_error <= WITHIN
    assert off_by(found) < WITHIN
    assert len(found.response.solved_frequencies) < 100
    # Twelve a band with a spline in between miss it, and say so.
    even = curves_on_a_grid(problem(), Resonant())
    assert even.worst_error > WITHIN < off_by(even)


def test_the_widest_gap_of_each_band_was_tried() -> None:
    found = curves_by_need(problem(), Resonant(), (0.0, 20.0), 0.05)
    bands = len(found.power)
    assert found.errors.shape == (bands,)
    assert found.errors is found.response.settling.foretold


def test_several_points_and_ways_keep_their_order() -> None:
    """Each way and point has a factor of its own."""

    class Factors(Resonant):
        def __call__(self, problem: Problem) -> Response:
            response = super().__call__(problem)
            return replace(response, near_by_way=response.near_by_way * [[[1.0, 2.0, 3.0]]])

    for found in (
        curves_by_need(problem(points=3), Factors(), (0.0, 20.0), 0.05),
        curves_on_a_grid(problem(points=3), Factors()),
    ):
        near = found.near(np.array([2000.0, 3000.0]), [2, 0])
        assert near == pytest.approx(curve(np.array([2000.0, 3000.0]))[:, None] * [3.0, 1.0], 0.01)


@pytest.mark.parametrize("by_need", [True, False])
def test_beyond_its_ends_a_curve_is_held(*, by_need: bool) -> None:
    found = (
        curves_by_need(problem(), Resonant(), (0.0, 20.0), 0.05)
        if by_need
        else curves_on_a_grid(problem(), Resonant())
    )
    beyond = found.near(np.array([0.0, 10.0, 24000.0]))[:, 0]
    assert beyond == pytest.approx(curve(np.array(found.ends))[[0, 0, 1]], 1e-3)


def test_too_few_frequencies_or_points_are_refused() -> None:
    with pytest.raises(ValueError, match="takes 8 of them and a point"):
        curves_on_a_grid(problem(points=0), Resonant())
