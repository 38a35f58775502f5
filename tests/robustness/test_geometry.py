"""Extreme but legal sizes: power is kept, and a mesh twice as fine says the same.

Both limits are the requirement: 0.1 dB of power balance, 0.1 dB of level in the window.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from dispersion.checks import remarks_after
from dispersion.problem import Problem
from dispersion.response import Response
from dispersion.solvers import solve_waves
from dispersion.waves import WaveSettings, build_mesh
from shapes.reflectors import ReflectorError, conic_section
from studies.design import DesignError, parse_design
from studies.solving.grid import problem_of

WINDOW_DEG = (0.0, 20.0)
USUAL = {
    "unit": '"mm"',
    "plate_gap": "60",
    "column.width": "200",
    "column.height": "900",
    "column.edge_radius": "3",
    "driver.effective_diameter": "104",
    "driver.frame_diameter": "130",
    "driver.cone_depth": "22",
    "driver.dust_cap": "{ diameter = 34, height = 9 }",
    "driver.proud": "3",
    "reflector": '{ kind = "ball", ball_diameter = 180, keep = 44 }',
    "plate": "{ diameter = 200, thickness = 15, edge_radius = 3 }",
    "target": "{ window = [0, 20], band = [100, 16000] }",
}
BARE = {"reflector": '{ kind = "none" }', "driver.dust_cap": None, "driver.proud": "0"}


def needle(width: float, angle: float) -> str:
    return f'{{ kind = "cone", base_diameter = {width}, half_angle = {angle} }}'


def plate(diameter: float, thickness: float, edge_radius: float = 0.0) -> str:
    return f"{{ diameter = {diameter}, thickness = {thickness}, edge_radius = {edge_radius} }}"


LARGE = {
    "plate_gap": "215",
    "column.width": "420",
    "driver.effective_diameter": "200",
    "driver.frame_diameter": "250",
    "reflector": '{ kind = "ball", ball_diameter = 400, keep = 200 }',
    "plate": plate(420, 18, 3),
}
LOW, HIGH, TOP = (1000.0, 4000.0), (1000.0, 8000.0), (20_000.0,)
EXTREMES = {
    "tip 2 mm above the dust cap": ({"plate_gap": "50", "driver.cone_depth": "5"}, HIGH),
    "plate 3 mm thick": ({"plate": plate(200, 3)}, TOP),
    "plate 3 mm thick, full round": ({"plate": plate(200, 3, 1.5)}, TOP),
    "plate 0.1 mm thick": ({"plate": plate(200, 0.1)}, LOW),
    "ball of 400 mm": (LARGE, (500.0, 4000.0)),
    "needle of 10 degrees": ({"plate_gap": "200", "reflector": needle(60, 10)}, HIGH),
    "needle of 5 degrees": ({"plate_gap": "260", "reflector": needle(40, 5)}, HIGH),
    "needle of 1 degree": (
        {"plate_gap": "300", "reflector": '{ kind = "cone", base_diameter = 10, height = 250 }'},
        HIGH,
    ),
    "plate smaller than baffle": (
        {"plate": plate(120, 15), "reflector": '{kind = "ball", ball_diameter = 100, keep = 40}'},
        HIGH,
    ),
    "plate gap of 5 mm": (BARE | {"plate_gap": "5"}, (500.0, 2000.0, 8000.0)),
    "sharp edges": ({"column.edge_radius": "0", "plate": plate(200, 15)}, HIGH),
    "edges of 10 micrometres": (
        {"column.edge_radius": "0.01", "plate": plate(200, 15, 0.01)},
        HIGH,
    ),
    "edges of 0.1 micrometre": (
        {"column.edge_radius": "0.0001", "plate": plate(200, 15, 0.0001)},
        HIGH,
    ),
    "column of 3 m": ({"column.height": "3000"}, (100.0, 4000.0)),
    "driver flush": ({"driver.proud": "0"}, HIGH),
    "driver proud by 1 micrometre": ({"driver.proud": "0.001"}, HIGH),
    "driver proud by 20 mm": ({"driver.proud": "20", "plate_gap": "80"}, HIGH),
    "cone sunk by 10 mm": ({"driver.proud": "0", "driver.recess": "10"}, HIGH),
    "cone as deep as it is wide": ({"driver.cone_depth": "104"}, LOW),
    "nearly the whole ball": (
        {"plate_gap": "190", "reflector": '{ kind = "ball", ball_diameter = 180, keep = 179 }'},
        LOW,
    ),
    "hardly any of the ball": (
        {"reflector": '{ kind = "ball", ball_diameter = 180, keep = 0.1 }'},
        HIGH,
    ),
}


def problem(changes: dict[str, str | None]) -> Problem:
    keys = {key: value for key, value in (USUAL | changes).items() if value is not None}
    text = "\n".join(['title = "extreme"', *(f"{key} = {value}" for key, value in keys.items())])
    design = parse_design(text, "extreme.toml")
    return problem_of(design, design.assembly())


FAST = (
    "tip 2 mm above the dust cap",
    "needle of 10 degrees",
    "plate gap of 5 mm",
    "edges of 0.1 micrometre",
    "column of 3 m",
)
THIN = {
    "plate gap of 1 mm": (BARE | {"plate_gap": "1"}, (500.0, 2000.0)),
    "rim gap of 1 mm": (
        BARE
        | {
            "plate_gap": "4",
            "plate": plate(200, 15),
            "reflector": '{ kind = "turned", smooth = false, points = [[0, 0], [90, 1], [91, 3]] }',
        },
        LOW,
    ),
}
"""Elements in the middle of so thin a gap are many times as wide as it: where they miss the 0.1 dB,
the power balance must say so, and the remedy it names must help."""


def both_meshes(asked: Problem, start: float = 1.0) -> tuple[Response, float]:
    """Return a mesh's response, and how far the window level of one twice as fine is off, dB."""
    meshes = (WaveSettings().finer(factor) for factor in (start, 2.0 * start))
    usual, finer = (solve_waves(asked, workers=1, settings=mesh) for mesh in meshes)
    window = (asked.elevations >= WINDOW_DEG[0]) & (asked.elevations <= WINDOW_DEG[1])
    levels = 20.0 * np.log10(np.abs([r.far_by_way[0][:, window] for r in (usual, finer)]))
    return usual, float(np.max(np.abs(levels[0] - levels[1])))


@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=() if name in FAST else pytest.mark.slow) for name in EXTREMES],
)
def test_an_extreme_size_keeps_power_and_agrees_with_a_finer_mesh(name: str) -> None:
    changes, frequencies = EXTREMES[name]
    usual, off = both_meshes(replace(problem(changes), frequencies=np.array(frequencies)))
    assert usual.worst_power_error_db < 0.1
    assert off < 0.1


@pytest.mark.slow
@pytest.mark.parametrize("name", THIN)
def test_a_thin_gap_is_right_or_tells_its_balance(name: str) -> None:
    changes, frequencies = THIN[name]
    asked = replace(problem(changes), frequencies=np.array(frequencies))
    usual, off = both_meshes(asked)
    warned = any("solve again with a finer mesh" in remark for remark in remarks_after(usual))
    assert warned == (usual.worst_power_error_db > 0.1)
    assert warned or off < 0.1
    assert both_meshes(asked, 2.0)[1] < 0.1


def test_a_tiny_step_takes_few_elements() -> None:
    """Sizes grow by 2 m per m from a step's 0.05 h: ln(L / (0.05 h)) / 2 elements on a wall L."""
    bare, stepped = (problem({"driver.proud": proud}).assembly for proud in ("0", "0.0001"))
    counts = [build_mesh(body.bodies, 0.343).elements for body in (bare, stepped)]
    walls_at_step = 4
    assert counts[1] - counts[0] < walls_at_step * np.log(0.1 / (0.05 * 1e-7)) / 2.0


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"plate_gap": "43"}, "reflector"),
        ({"driver.recess": "900", "column.height": "500"}, "driver.recess"),
        ({"reflector": needle(60, 4)}, "reflector.half_angle"),
        ({"plate_gap": "0.5"}, "plate_gap"),
        ({"column.edge_radius": "101", "driver.frame_diameter": "110"}, "column"),
        ({"target": "{ window = [20, 0] }"}, "target.window"),
        ({"target": "{ window = [0, 20], band = [16000, 100] }"}, "target.band"),
        ({"air": "{ temperature = -300 }"}, "air"),
        ({"air": "{ humidity = 101 }"}, "air.humidity"),
        ({"air": "{ humidity = 0.5 }"}, "air.humidity"),
    ],
)
def test_beyond_the_extremes_is_refused_by_its_key(changes: dict[str, str], key: str) -> None:
    with pytest.raises(DesignError) as refused:
        problem(changes)
    assert key in [mistake.key for mistake in refused.value.mistakes]


LENGTHS = st.floats(1e-4, 1.0)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.sampled_from(("parabola", "hyperbola", "ellipse")),
    LENGTHS,
    LENGTHS,
    LENGTHS,
    st.floats(-2.0, 20.0),
)
@example("parabola", 0.0803, 0.003343, 0.007, 0.0)  # comes back from infinity within the profile
def test_a_conic_is_short_or_refused(
    kind: str, base: float, height: float, distance: float, ring: float
) -> None:
    try:
        made = conic_section(kind, base, height, distance, None if kind == "parabola" else ring)
    except ReflectorError:
        return
    points = made.profile.pieces[0].point(np.linspace(0.0, 1.0, 65))
    assert np.isfinite(points).all()
    assert np.hypot(*points.T).max() <= 20.0
