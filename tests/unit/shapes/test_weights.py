"""Masses and how far the column may lean: against volumes worked out by hand."""

import math
from dataclasses import replace

import pytest

from shapes import Assembly, Column, Driver, Posts, TopPlate, ball_cap
from shapes.making import MATERIALS, Making, MakingError, Material, Spigot
from shapes.solids import SolidError
from shapes.weights import PartMass, Stance, part_masses, stance

PLAIN = Material("plain", 1000.0, "wood")
MAKING = Making(
    column_wall=0.01,
    column_material=PLAIN,
    plate_material=PLAIN,
    reflector_material=PLAIN,
    post_material=PLAIN,
    driver_mass=1.5,
)
ASSEMBLY = Assembly(
    column=Column(width=0.2, height=1.0),
    driver=Driver(effective_radius=0.05, frame_radius=0.065, cutout_radius=0.06),
    plate_gap=0.06,
    reflector=ball_cap(0.18, 0.044),
    plate=TopPlate(0.1, 0.015),
    posts=Posts(4, 0.005, 0.085, 0.01, 0.02),
)


def masses(assembly: Assembly = ASSEMBLY, making: Making = MAKING) -> dict[str, float]:
    return {part.name: part.mass for part in part_masses(assembly, making)}


def standing(making: Making) -> Stance:
    return stance(part_masses(ASSEMBLY, making), ASSEMBLY, making)


def test_every_part_weighs_its_volume() -> None:
    weighed = masses()
    pipe = math.pi * (0.1**2 - 0.09**2) * 0.98
    assert weighed["column walls"] == pytest.approx(1000 * pipe)
    assert weighed["baffle"] == pytest.approx(1000 * math.pi * (0.1**2 - 0.06**2) * 0.01)
    assert weighed["column bottom"] == pytest.approx(1000 * math.pi * 0.1**2 * 0.01)
    # Spherical cap, pi h^2 (3 R - h) / 3.
    assert weighed["reflector"] == pytest.approx(
        1000 * math.pi * 0.044**2 * (0.27 - 0.044) / 3, rel=1e-6
    )
    assert weighed["top plate"] == pytest.approx(1000 * math.pi * 0.1**2 * 0.015)
    assert weighed["posts"] == pytest.approx(1000 * 4 * math.pi * 0.005**2 * 0.09)
    assert weighed["driver"] == 1.5


def test_heights_are_counted_from_the_floor() -> None:
    centres = {part.name: part.centre_z for part in part_masses(ASSEMBLY, MAKING)}
    assert centres["column walls"] == pytest.approx(0.5)
    assert centres["baffle"] == pytest.approx(0.995)
    assert centres["top plate"] == pytest.approx(1.0 + 0.06 + 0.0075)
    # 90 mm posts from 20 mm below the baffle's face.
    assert centres["posts"] == pytest.approx(1.0 - 0.02 + 0.045)
    assert 1.0 + 0.06 - 0.044 < centres["reflector"] < 1.0 + 0.06


def test_it_tips_where_the_centre_of_gravity_passes_the_edge() -> None:
    stands = standing(MAKING)
    parts = part_masses(ASSEMBLY, MAKING)
    assert stands.mass == pytest.approx(sum(part.mass for part in parts))
    moment = sum(part.mass * part.centre_z for part in parts)
    assert stands.centre_of_gravity == pytest.approx(moment / stands.mass)
    assert math.tan(stands.tipping_angle) == pytest.approx(0.1 / stands.centre_of_gravity)
    wide = standing(replace(MAKING, foot_width=0.4))
    assert math.tan(wide.tipping_angle) == pytest.approx(0.2 / wide.centre_of_gravity)


@pytest.mark.parametrize("degrees, steady", [(11.9, False), (12.1, True)])
def test_steady_from_twelve_degrees(degrees: float, steady: bool) -> None:
    """Common practice, no source."""
    centre = standing(MAKING).centre_of_gravity
    foot = 2 * centre * math.tan(math.radians(degrees))
    assert standing(replace(MAKING, foot_width=foot)).steady is steady


def test_a_driver_whose_mass_is_not_given_is_a_guess_and_says_so() -> None:
    (name,) = (
        name for name in masses(making=replace(MAKING, driver_mass=None)) if "driver" in name
    )
    assert "guess" in name


def cap_volume(diameter: float, height: float) -> float:
    """Spherical cap, pi h^2 (3 R - h) / 3."""
    return math.pi * height**2 * (1.5 * diameter - height) / 3


def reflector(making: Making) -> PartMass:
    return next(part for part in part_masses(ASSEMBLY, making) if part.name == "reflector")


def test_a_hollow_reflector_weighs_its_shell() -> None:
    shell = reflector(replace(MAKING, reflector_wall=0.004))
    # Two balls of one centre, cut at the same flat.
    volume = cap_volume(0.18, 0.044) - cap_volume(0.172, 0.04)
    assert shell.mass == pytest.approx(1000 * volume, rel=1e-3)
    assert shell.volume == pytest.approx(volume, rel=1e-3)
    # Its material lies nearer to the tip than that of the solid one.
    assert 1.06 - 0.044 < shell.centre_z < reflector(MAKING).centre_z


def test_a_spigot_hole_takes_its_share_from_the_top() -> None:
    drilled, whole = reflector(replace(MAKING, spigot=Spigot(0.02, 0.02))), reflector(MAKING)
    hole = 1000 * math.pi * 0.01**2 * 0.02
    assert drilled.mass == pytest.approx(whole.mass - hole, rel=1e-3)
    moment = whole.mass * whole.centre_z - hole * (1.06 - 0.01)
    assert drilled.centre_z == pytest.approx(moment / (whole.mass - hole), abs=1e-4)


def test_walls_that_leave_nothing_inside_are_refused() -> None:
    with pytest.raises(SolidError, match=r"wall of 100.0 mm .* leaves nothing"):
        part_masses(ASSEMBLY, replace(MAKING, reflector_wall=0.1))
    with pytest.raises(MakingError, match=r"column_wall.*100\.0 mm.*thinner"):
        part_masses(ASSEMBLY, replace(MAKING, column_wall=0.1))


def test_a_bare_column_has_no_upper_parts() -> None:
    assert set(masses(ASSEMBLY.without_upper())) == {
        "column walls",
        "baffle",
        "column bottom",
        "driver",
    }


def test_values_that_nobody_can_make_are_refused() -> None:
    with pytest.raises(MakingError, match="density"):
        Material("ether", 0.0, "foam")
    with pytest.raises(MakingError, match="spigot"):
        Spigot(0.008, 0.0)
    assert all(5 < material.density < 25_000 for material in MATERIALS.values())
