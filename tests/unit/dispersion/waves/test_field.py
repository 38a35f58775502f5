"""The radiated field: far away, in the air, close to a surface."""

import numpy as np
import pytest

from dispersion.air import Air
from dispersion.waves import Monopole, PlaneWave, normal_motion, solve
from shapes.meridian import Arc, Line, Meridian

pytestmark = pytest.mark.uncompiled

AIR = Air()
RADIUS = 0.1
BALL = Meridian((Arc((0.0, -RADIUS), (0.0, RADIUS), (0.0, 0.0), clockwise=False, part="ball"),))
CAN = Meridian(
    (
        Line((0.0, -0.3), (0.1, -0.3), "bottom"),
        Line((0.1, -0.3), (0.1, 0.0), "side"),
        Line((0.1, 0.0), (0.0, 0.0), "top"),
    )
)
FREQUENCY = 2000.0
ELEVATIONS = np.array([-90.0, -40.0, 0.0, 25.0, 90.0])
ONE_PER_CENT = 0.01


def along(elevations: np.ndarray, distance: float) -> np.ndarray:
    angle = np.radians(elevations)
    return distance * np.column_stack((np.cos(angle), np.sin(angle)))


@pytest.fixture(scope="module")
def pulsating():
    return solve([BALL], FREQUENCY, [normal_motion("all", {"ball"}, AIR)], AIR)


def of_a_pulsating_ball(distance: np.ndarray, k: float) -> np.ndarray:
    """P = rho a R^2 exp(ik(r - R)) / (r (1 - ikR)), for the acceleration a = 1 m/s^2."""
    return (
        AIR.density
        * RADIUS**2
        * np.exp(1j * k * (distance - RADIUS))
        / (distance * (1.0 - 1j * k * RADIUS))
    )


@pytest.mark.parametrize("gap", [1.0, 1e-1, 1e-2, 1e-3, 1e-4, 1e-5])
def test_points_may_come_close_to_a_surface(pulsating, gap: float) -> None:
    """From ten radii to 10 micrometres."""
    points = along(np.array([-90.0, -63.0, -10.0, 0.0, 37.0, 90.0]), RADIUS + gap)
    found = pulsating.pressure_at(points)[:, 0]
    exact = of_a_pulsating_ball(RADIUS + gap, pulsating.wavenumber)
    assert np.abs(found / exact - 1.0).max() < ONE_PER_CENT


def test_pressure_meets_the_surface(pulsating) -> None:
    """Just outside a node the field is that of the unknown there, edges included."""
    solution = solve([CAN], FREQUENCY, [normal_motion("top", {"top"}, AIR)], AIR)
    nodes = solution.mesh.node_points()
    inner = (slice(None), 1)  # away from corners, where a normal is one thing only
    points = np.column_stack(
        (
            nodes.r[inner] + 1e-5 * nodes.normal_r[inner],
            nodes.z[inner] + 1e-5 * nodes.normal_z[inner],
        )
    )
    found = solution.pressure_at(points)[:, 0]
    unknown = solution.pressure[solution.mesh.nodes[inner], 0]
    assert np.abs(found - unknown).max() < 2 * ONE_PER_CENT * np.abs(unknown).max()


def test_inside_a_solid_the_representation_is_silent(pulsating) -> None:
    inside = pulsating.pressure_at(np.array([[0.0, 0.0], [0.05, 0.02], [0.0, -0.08]]))
    assert np.abs(inside).max() < ONE_PER_CENT * np.abs(pulsating.pressure).max()


@pytest.mark.parametrize("order", [0, 1, 3])
def test_far_away_the_pressure_is_the_far_field(order: int) -> None:
    """At r the far field is out by about k L^2 / (2 r): ten times farther, ten times closer."""
    solution = solve([CAN], FREQUENCY, [Monopole(0.1, 0.25)], AIR, order)
    far = solution.far_field(ELEVATIONS)[:, 0]
    away = []
    for distance in (50.0, 500.0, 5000.0):
        near = solution.pressure_at(along(ELEVATIONS, distance))[:, 0]
        scaled = near * distance * np.exp(-1j * solution.wavenumber * distance)
        away.append(np.abs(scaled - far).max() / np.abs(far).max())
    assert away[0] < solution.wavenumber * 0.3**2 / (2.0 * 50.0)
    assert away[1] == pytest.approx(0.1 * away[0], rel=0.2)
    assert away[2] < 1e-3


@pytest.mark.parametrize("r", [-0.05, np.nan])
def test_a_point_beyond_the_axis_is_refused(pulsating, r: float) -> None:
    with pytest.raises(ValueError, match="distance from the axis"):
        pulsating.pressure_at(np.array([[0.0, 0.3], [r, 0.3]]))


def test_sound_falls_off_as_one_over_r(pulsating) -> None:
    levels = [
        20.0 * np.log10(np.abs(pulsating.pressure_at(along(ELEVATIONS, r))[:, 0]))
        for r in (1.0, 2.0, 4.0)
    ]
    assert levels[0] - levels[1] == pytest.approx(np.full(5, 6.0206), abs=1e-3)
    assert levels[1] - levels[2] == pytest.approx(np.full(5, 6.0206), abs=1e-3)


@pytest.mark.parametrize(("floor", "absorbing"), [(None, False), (-0.5, True)])
def test_many_directions_say_what_each_says_alone(floor: float | None, absorbing: bool) -> None:
    """Of many, few are summed over the surface and the others read: to the digits of the sums."""
    drives = [normal_motion("top", {"top"}, AIR)]
    can = solve([CAN], FREQUENCY, drives, AIR, lifts=[-0.1], floor=floor, absorbing_air=absorbing)
    many = np.linspace(-90.0, 90.0, 181)
    together = can.far_field(many)
    for place in (0, 37, 90, 91, 151, 180):
        alone = can.far_field(many[[place]])[0]
        assert np.abs(together[place] - alone).max() < 1e-8 * np.abs(together).max()


def test_far_field_of_a_pulsating_ball(pulsating) -> None:
    k = pulsating.wavenumber
    exact = of_a_pulsating_ball(np.array(1.0), k) * np.exp(-1j * k)
    assert np.abs(pulsating.far_field(ELEVATIONS)[:, 0] / exact - 1.0).max() < ONE_PER_CENT


def test_what_a_wave_scatters_leaves_the_wave_out() -> None:
    """Long waves scatter little: the field without the wave is small, with it about 1."""
    solution = solve([BALL], 20.0, [PlaneWave()], AIR)
    assert np.abs(solution.pressure_at(along(ELEVATIONS, 1.0))).max() < 1e-3
    assert np.abs(np.abs(solution.pressure) - 1.0).max() < 0.02


def test_monopole_without_solids() -> None:
    """Orders of an off-axis monopole far away add up to its phase."""
    source, k = Monopole(0.2, 0.3), 2.0 * np.pi * FREQUENCY / AIR.speed
    total = source.far(ELEVATIONS, k, 0) + 2.0 * sum(
        source.far(ELEVATIONS, k, m) for m in range(1, 40)
    )
    angle = np.radians(ELEVATIONS)
    phase = k * (0.3 * np.cos(angle) + 0.2 * np.sin(angle))
    assert total == pytest.approx(np.exp(-1j * phase) / (4.0 * np.pi), abs=1e-9)
