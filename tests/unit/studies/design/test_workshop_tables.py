"""The table that says how things are made: defaults, units, one clear error for each mistake."""

from pathlib import Path

import pytest

from shapes.making import MATERIALS, Making, Material, Spigot
from studies.design import Design, DesignError, design_schema, parse_design

EXAMPLE = Path(__file__).resolve().parents[4] / "studies" / "examples" / "reading_room_coaxial.toml"


def design_with(build: str) -> Design:
    text = EXAMPLE.read_text(encoding="utf-8")
    assert "[build]" not in text
    return parse_design(text + build, EXAMPLE)


def test_left_out_it_has_the_defaults() -> None:
    assert design_with("").making == Making()


def test_everything_is_read_in_metres_and_kilograms() -> None:
    making = design_with(
        """
[build]
kerf = "1/16 in"
sanding = 1
column_wall = "1.8 cm"
column_material = "MDF"
plate_material = { name = "bamboo", density = 700 }
reflector_material = "XPS foam"
post_material = "brass"
driver_mass = "2 1/2 lb"
foot_width = 300
reflector_wall = 3
spigot = { diameter = 8, depth = 20 }
"""
    ).making
    assert making.kerf == pytest.approx(0.0254 / 16)
    assert making.column_wall == pytest.approx(0.018)
    assert making.column_material is MATERIALS["MDF"]
    assert making.plate_material == Material("bamboo", 700.0, "wood")
    assert making.driver_mass == pytest.approx(2.5 * 0.45359237)  # the pound is exact, 1959
    assert making.spigot == Spigot(0.008, 0.02)
    assert (making.sanding, making.foot_width, making.reflector_wall) == (0.001, 0.3, 0.003)


def test_it_changes_the_fingerprint_but_not_what_is_built() -> None:
    plain, thick = design_with(""), design_with("\n[build]\ncolumn_wall = 30\n")
    assert plain.assembly() == thick.assembly()
    assert plain.fingerprint != thick.fingerprint


@pytest.mark.parametrize(
    "line, key, remedy",
    [
        ('column_material = "unobtainium"', "build.column_material", "choose birch plywood"),
        ("driver_mass = 1.2", "build.driver_mass", '"1.2 kg"'),
        ('driver_mass = "1200 kg"', "build.driver_mass", "absurd"),
        ("kerf = -1", "build.kerf", ""),
        ("spigot = { diameter = 8 }", "build.spigot.depth", ""),
        ("spigots = 3", "build.spigots", "did you mean spigot"),
        (
            'post_material = { name = "x", density = 0 }',
            "build.post_material",
            "",
        ),
    ],
)
def test_each_mistake_is_named_with_its_remedy(line: str, key: str, remedy: str) -> None:
    with pytest.raises(DesignError) as refused:
        design_with(f"\n[build]\n{line}\n")
    assert key in str(refused.value)
    assert remedy in str(refused.value)


def test_the_schema_tells_of_it() -> None:
    schema = design_schema()
    keys = schema["$defs"]["BuildTable"]["properties"]
    assert {"kerf", "spigot", "driver_mass"} <= set(keys)
    assert all("description" in key for key in keys.values())
