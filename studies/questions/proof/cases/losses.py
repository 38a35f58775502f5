"""What walls take on whole speakers and in ducts: peaks, power, layers along a tube and a slit.

Sources:
- hidden sources and mirror images: elementary, see `monopoles` and `floors`.
- duct: attenuation of a wide tube, k d_v / 4 (1 + (gamma - 1) / sqrt(Pr)) times perimeter over area
  (Kirchhoff 1868; Pierce, Acoustics, 10.5 [from memory]).
- peaks: Q of the first example's resonances, from poles at complex frequency found by a prototype
  of the boundary layers apart from this code; the project's own figures.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from dispersion.walls import RIGID_WALLS, ConstantAdmittance, Walls
from dispersion.waves import (
    Drive,
    WaveSettings,
    WaveSolution,
    axial_motion,
    find_pole,
    solve,
)
from dispersion.waves.walls import layers_of
from shapes.meridian import Line, Meridian
from shapes.reflectors import ball_cap
from studies.questions.proof.cases.check import (
    POWER_TOLERANCE_DB,
    WAVES,
    Check,
    Compared,
    compare,
    compare_levels,
    degrees,
    joined,
)
from studies.questions.proof.cases.floors import (
    SAME_DB,
    UP,
    driven_with_image,
    driver,
    image_of,
    joined_with_image,
)
from studies.questions.proof.cases.laws import places_exchanged
from studies.questions.proof.cases.monopoles import in_the_example
from studies.questions.proof.cases.solids import AIR, built
from studies.questions.proof.cases.walls import BETA

FELT = ConstantAdmittance(0.3 - 0.6j, replaces_layers=True)
WITH_FELT = Walls(absorbers=(("baffle", FELT),))
PEAKS = {
    26.0: (7116.0, (57.0, 55.0, 54.0)),
    44.0: (5606.0, (155.0, 132.0, 130.0)),
    49.0: (6299.0, (570.0, 328.0, 314.0)),
    51.0: (6630.0, (1572.0, 502.0, 468.0)),
    53.0: (7002.0, (366.0, 240.0, 231.0)),
}
"""Keep of the cap in mm: frequency of its peak, Hz, and Q of it for each of `LOST`."""
ROUND_A_PEAK = (6000.0, 6600.0, 6625.5, 6635.0, 7000.0)
"""Hz, with keep 51 mm and layers."""
LOST = ("rigid", "layers", "layers and air")
Q_SHARE, DUCT_SHARE = 0.02, 0.02
"""What is allowed of Q and of an attenuation, as a share."""


def taken(solution: WaveSolution) -> float:
    """Power that all walls take of the first source, in dB."""
    total = sum(part[0, 0].real for part in solution.absorbed_power.values())
    return 10.0 * float(np.log10(total))


def soft_example_round_hidden_sources(case: tuple[float, int]) -> Compared:
    """Column, driver, cap and plate with soft walls at one frequency and azimuthal order."""
    return in_the_example(case, BETA)


def on_a_floor_and_mirrored(frequency: float) -> Compared:
    """Felt on the baffle, layers elsewhere, on a floor; and with all images in free air."""
    lower, upper = built().bodies
    foot = -built().column.height
    doubled = Walls(absorbers=(("baffle", FELT), ("image baffle", FELT)))
    on_floor = solve((lower, upper), frequency, [driver()], AIR, floor=foot, walls=WITH_FELT)
    standing = Meridian(tuple(p for p in lower.pieces if p.part != "column bottom"))
    both = (joined_with_image(standing, foot), upper, image_of(upper, foot))
    mirrored = solve(both, frequency, [driven_with_image(driver())], AIR, walls=doubled)
    found, known = on_floor.far_field(UP)[:, 0], mirrored.far_field(UP)[:, 0]
    far = compare_levels("far field", degrees(UP), found, known, frequency, 60.0, SAME_DB)
    half = taken(mirrored) - 10.0 * np.log10(2.0)
    power = compare("power", ["taken"], taken(on_floor), half, SAME_DB, frequency)
    return joined(f"{frequency:g} Hz", (far, power))


def ringing(keep: float, floor: bool) -> tuple[dict[str, Any], Drive]:
    """The first example with another keep: arguments of a solve, and its driver."""
    assembly = built().with_reflector(ball_cap(0.18, 1e-3 * keep))
    bodies, lifts = zip(*assembly.placed_bodies, strict=True)
    foot = -assembly.column.height if floor else None
    place = {"bodies": bodies, "air": AIR, "lifts": lifts, "floor": foot}
    return place, axial_motion("driver", assembly.ways[0].parts, AIR)


def power_on_a_peak(case: tuple[bool, str]) -> Compared:
    """Driver against far away and absorbed, where the walls take up to two thirds of it."""
    floor, name = case
    walls = {"layers": Walls(), "felt": WITH_FELT}[name]
    place, drive = ringing(51.0, floor)
    solved = [solve(frequency=f, sources=[drive], walls=walls, **place) for f in ROUND_A_PEAK]
    at = [f"{f:g} Hz" for f in ROUND_A_PEAK]
    found = [float(solution.power_error_db[0]) for solution in solved]
    case_name = f"{name}, on a floor" if floor else f"{name}, in free air"
    return compare(case_name, at, found, [0.0] * len(at), POWER_TOLERANCE_DB, ROUND_A_PEAK)


def sharpness(case: tuple[float, str]) -> Compared:
    """Q of one peak, from its pole; `case` holds the keep and what is lost."""
    keep, lost = case
    place, drive = ringing(keep, floor=False)
    frequency, known = PEAKS[keep][0], PEAKS[keep][1][LOST.index(lost)]
    walls, air = RIGID_WALLS if lost == "rigid" else Walls(), lost == "layers and air"
    pole = find_pole(guess=frequency, drive=drive, walls=walls, absorbing_air=air, **place)
    found = pole.real / (-2.0 * pole.imag)
    return compare(f"keep {keep:g} mm, {lost}", ["Q"], found, known, Q_SHARE * known, frequency)


def duct(kind: str) -> tuple[Meridian, float]:
    """Return a cup with a piston for bottom, or a rod in it, and perimeter over area inside."""
    length, wall, a = 0.5, 0.005, 0.015
    inner = 0.05 if kind == "slit" else 0.0
    outer = inner + a
    pieces = [
        Line((0.0, -wall), (outer + wall, -wall), "foot"),
        Line((outer + wall, -wall), (outer + wall, length), "outside"),
        Line((outer + wall, length), (outer, length), "rim"),
        Line((outer, length), (outer, 0.0), "inside"),
        Line((outer, 0.0), (inner, 0.0), "piston"),
    ]
    if inner:
        pieces += [
            Line((inner, 0.0), (inner, length), "rod"),
            Line((inner, length), (0.0, length), "lid"),
        ]
    return Meridian(tuple(pieces)), 2.0 / a


def attenuation_in(kind: str) -> Compared:
    """Nepers per metre that layers add along a wide duct, 2 kHz."""
    frequency, step = 2000.0, 0.03
    body, per_area = duct(kind)
    drive = axial_motion("piston", {"piston"}, AIR)
    radius = 0.0 if kind == "tube" else 0.0575
    points = np.array([[radius, z] for z in (0.2, 0.2 + step, 0.2 + 2.0 * step)])
    imaginary = []
    for walls in (RIGID_WALLS, Walls()):
        settings = WaveSettings().finer(2.0)
        solution = solve([body], frequency, [drive], AIR, settings=settings, walls=walls)
        p = solution.pressure_at(points)[:, 0]
        imaginary.append(np.arccos((p[0] + p[2]) / (2.0 * p[1])).imag / step)
    k, viscous = 2.0 * np.pi * frequency / AIR.speed, layers_of(AIR, frequency).viscous
    share = 1.0 + (AIR.heat_ratio - 1.0) / np.sqrt(AIR.prandtl_number)
    known = 0.25 * k * viscous * share * per_area
    found = imaginary[1] - imaginary[0]
    return compare(kind, ["attenuation"], found, known, DUCT_SHARE * known, frequency)


def places_exchanged_among_felt(case: tuple[float, int]) -> Compared:
    """Source and listener exchanged with felt on the baffle and layers elsewhere."""
    return places_exchanged(case, WITH_FELT)


CHECKS = (
    Check(
        name="Soft example round hidden sources",
        kind=WAVES,
        source="elementary: surfaces that move as the field of a source inside radiate that field",
        unit="dB",
        cases=((500.0, 0), (2e3, 0), (2e3, 1), (1e4, 0), (1e4, 3)),
        run=soft_example_round_hidden_sources,
    ),
    Check(
        name="Felt and layers on a floor, and mirrored",
        kind=WAVES,
        source="a rigid plane is a mirror: Pierce, Acoustics, 1.4 [from memory]",
        unit="dB",
        cases=(200.0, 1e3, 5606.0),
        run=on_a_floor_and_mirrored,
    ),
    Check(
        name="Power with losses arrives or is taken",
        kind=WAVES,
        source="elementary: energy is kept",
        unit="dB",
        cases=tuple((floor, name) for floor in (False, True) for name in ("layers", "felt")),
        run=power_on_a_peak,
    ),
    Check(
        name="Source and listener among felt",
        kind=WAVES,
        source="reciprocity: Rayleigh, The Theory of Sound, 294 [from memory]",
        unit="dB",
        cases=((1e3, 0), (4e3, 1), (1.6e4, 0)),
        run=places_exchanged_among_felt,
    ),
    Check(
        name="Layers along a tube and a slit",
        kind=WAVES,
        source="Kirchhoff (1868), as in Pierce, Acoustics, 10.5 [from memory]",
        unit="Np/m",
        cases=("tube", "slit"),
        run=attenuation_in,
    ),
    Check(
        name="Sharpness of the example's peaks",
        kind=WAVES,
        source="a prototype of these losses, apart from this code; the project's own",
        cases=tuple((keep, lost) for keep in PEAKS for lost in LOST),
        run=sharpness,
    ),
)
