"""`[walls]`: from words to what the solver takes, and to felt that is built."""

import pytest
from small import small_design

from dispersion.absorbers import Above, AbsorptionByOctave, LimpMass, PorousLayer
from dispersion.walls import RIGID_WALLS, ConstantAdmittance, Walls
from studies.design import Design, DesignError
from studies.design.walls_table import SUGGESTED, walls_in_words

BEFORE = "[air]\ntemperature"


def walled(table: str) -> Design:
    """Return the example with this [walls] table."""
    return small_design((BEFORE, f"[walls]\n{table}\n\n{BEFORE}"))


def on(design: Design, label: str) -> object:
    return dict(design.walls.absorbers)[label]


def test_without_the_table_walls_are_hard_with_their_layers_of_air() -> None:
    assert small_design().walls == Walls()
    assert walled('losses = "none"').walls == RIGID_WALLS


def test_losses_none_switches_the_whole_table_off() -> None:
    assert walled('losses = "none"\nbaffle = "carpet"').walls == RIGID_WALLS


def test_each_way_to_say_what_a_surface_takes() -> None:
    design = walled(
        'cone = { mass_per_area = 0.5, loss_factor = 0.2 }\nbaffle = "cork"\n'
        "plate = { thickness = 4, flow_resistivity = 30000 }\ncolumn = { admittance = 0.02 }\n"
        "reflector = { absorption = { 500 = 0.1, 2000 = 0.3 } }\ndust_cap = { absorption = 0.1 }"
    )
    assert on(design, "cone") == Above(4000.0, LimpMass(0.5, 0.2))
    assert on(design, "baffle") == on(design, "baffle edge") == SUGGESTED["cork"]
    assert on(design, "plate underside") == PorousLayer(0.004, 30e3)
    assert on(design, "column side") == ConstantAdmittance(0.02)
    assert on(design, "reflector") == AbsorptionByOctave(((500.0, 0.1), (2000.0, 0.3)))
    assert on(design, "dust cap") == AbsorptionByOctave(((1000.0, 0.1),))


def test_felt_lies_on_baffle_and_under_plate() -> None:
    design = walled(
        'felt_on_baffle = { material = "felt 5 mm", inner_diameter = 140, outer_diameter = 180 }\n'
        "felt_under_plate = { thickness = 3, flow_resistivity = 50000 }"
    )
    built = design.assembly()
    felt, above = built.baffle_felt, built.plate_felt
    assert (felt.inner, felt.outer, felt.thickness) == pytest.approx((0.07, 0.09, 0.005))
    assert above.inner == built.reflector.widest_radius
    assert above.outer == pytest.approx(0.097)  # plate of 200 mm less its edge of 3 mm
    assert on(design, "baffle felt") == SUGGESTED["felt 5 mm"]
    assert on(design, "plate felt") == PorousLayer(0.003, 50e3)


@pytest.mark.parametrize(
    ("table", "key", "remedy"),
    [
        ('baffle = "velvet"', "walls.baffle", "choose painted wood"),
        ("baffle = { thickness = 3 }", "walls.baffle.flow_resistivity", "go together"),
        ("baffle = { }", "walls.baffle.admittance", "give one of"),
        ("plate = { mass_per_area = 1, loss_factor = 0.1 }", "walls.plate", "cone above lets_go"),
        ('tweeter = "cork"', "walls.tweeter", "leave it out"),
        (
            "baffle = { thickness = 5, flow_resistivity = 5000 }",
            "walls.baffle",
            "absorption by octave",
        ),
        ('felt_on_baffle = { material = "cork" }', "walls.felt_on_baffle.material", "felt 3 mm"),
        (
            'felt_on_baffle = { material = "felt 3 mm", outer_diameter = 250 }',
            "walls.felt_on_baffle",
            "194.0 mm or less",
        ),
    ],
)
def test_each_mistake_names_its_key_and_a_remedy(table: str, key: str, remedy: str) -> None:
    # The usual band, so that models are asked to reach it.
    with pytest.raises(DesignError) as caught:
        small_design(
            ("band = [500, 800]", 'band = ["500 Hz", "16 kHz"]'),
            (BEFORE, f"[walls]\n{table}\n\n{BEFORE}"),
        )
    (mistake,) = caught.value.mistakes
    assert key in mistake.key
    assert remedy in mistake.message


def test_a_cone_that_moves_as_one_takes_nothing() -> None:
    lets_go = 'lets_go = { above = "4 kHz", down_to = 34 }   # above it, less and less'
    with pytest.raises(DesignError, match=r"walls.cone: .*lets_go is missing: add lets_go"):
        small_design(
            (f"{lets_go} of the cone radiates", ""),
            (BEFORE, f"[walls]\ncone = {{ admittance = 0.03 }}\n\n{BEFORE}"),
        )


def test_words_say_where_a_value_has_no_source() -> None:
    (said,) = walls_in_words(walled('baffle = "cork"\ncone = { admittance = 0.03 }').walls)
    assert "cone, whizzer: admittance 0.03, above 4000 Hz" in said
    assert "cork (suggested values: common practice, no source)" in said
    assert "hard, without any loss" in walls_in_words(RIGID_WALLS)[0]
