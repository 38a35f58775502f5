"""Reading and writing lengths, areas, frequencies and angles."""

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shapes.lengths import (
    LengthError,
    across_room,
    in_both,
    in_degrees,
    in_inches,
    in_litres,
    in_mm,
    in_own,
    in_own_exactly,
    parse_angle,
    parse_area,
    parse_frequency,
    parse_length,
    unbroken,
    unit_of,
    written_in,
)


def test_no_line_ends_within_a_quantity() -> None:
    assert unbroken("keep 2 1/8 in of 4 in, 24 agree: 3 dB at 2 kHz") == (
        "keep 2\u00a01/8\u00a0in of 4\u00a0in, 24 agree: 3\u00a0dB at 2\u00a0kHz"
    )


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("180 mm", 0.180),
        ("180mm", 0.180),
        ("20 cm", 0.20),
        ("0.2 m", 0.2),
        ("7 1/4 in", 7.25 * 0.0254),
        ('7-1/4"', 7.25 * 0.0254),
        ("7.25 inches", 7.25 * 0.0254),
        ("3/8 in", 0.375 * 0.0254),
        ("  8 in ", 8 * 0.0254),
        ("-20 mm", -0.020),
        (".5 in", 0.0127),
        ("9 ft", 9 * 0.3048),
        ("9'", 9 * 0.3048),
        ("3' 2 1/2\"", 38.5 * 0.0254),
        ("3'-2\"", 38 * 0.0254),
        ("3 ft 4 in", 40 * 0.0254),
        ("12 MM", 0.012),
    ],
)
def test_lengths_are_read_in_both_systems(text: str, metres: float) -> None:
    assert parse_length(text) == pytest.approx(metres, rel=1e-15)


def test_numbers_count_in_the_declared_unit() -> None:
    assert parse_length(180) == 0.180
    assert parse_length(8, "in") == pytest.approx(0.2032)
    assert parse_length(0.18, "m") == 0.18


@pytest.mark.parametrize(
    ("bad", "says"),
    [
        ("180", "no unit"),
        ("7 1/4", "no unit"),
        ("12 furlong", "unknown unit 'furlong'"),
        ("12 mm2", "unknown unit"),
        ("18,5 mm", "point, not a comma"),
        ("7¼ in", "unknown unit"),
        ("7.5 1/4 in", "cannot read"),
        ("1/0 in", "divides by zero"),
        ("", "cannot read"),
        ("mm", "cannot read"),
        (True, "is not a length"),
        (None, "is not a length"),
        (math.nan, "finite"),
        ("1e999 mm", "finite"),
    ],
)
def test_what_is_no_length_is_refused_with_a_remedy(bad: object, says: str) -> None:
    with pytest.raises(LengthError, match=says) as caught:
        parse_length(bad)  # type: ignore[arg-type]
    assert "180 mm" in str(caught.value)


def test_an_unknown_declared_unit_is_refused() -> None:
    with pytest.raises(LengthError, match="unknown unit 'yard'"):
        parse_length(3, "yard")


def test_areas_frequencies_and_angles() -> None:
    assert parse_area("85 cm2") == pytest.approx(0.0085)
    assert parse_area("85 cm²") == pytest.approx(0.0085)
    assert parse_area(85) == pytest.approx(0.0085)
    assert parse_area("10 sq in") == pytest.approx(10 * 0.0254**2)
    assert parse_frequency("3 kHz") == 3000
    assert parse_frequency(3000) == 3000
    assert parse_angle("45 deg") == pytest.approx(math.pi / 4)
    assert parse_angle(45) == pytest.approx(math.pi / 4)


@pytest.mark.parametrize("parse", [parse_area, parse_frequency, parse_angle])
def test_other_quantities_need_their_unit_too(parse: Callable[[str], float]) -> None:
    with pytest.raises(LengthError, match="no unit"):
        parse("85")
    with pytest.raises(LengthError, match="unknown unit"):
        parse("85 mm")


@pytest.mark.parametrize(
    ("metres", "inches"),
    [
        (0.041, "1 5/8 in"),
        (0.0254, "1 in"),
        (0.0127, "1/2 in"),
        (0.0, "0 in"),
        (0.0254 * 1.999, "2 in"),
        (-0.0127, "-1/2 in"),
        (-1e-6, "0 in"),
        (7.25 * 0.0254, "7 1/4 in"),
        (3 / 64 * 0.0254, "3/64 in"),
        (0.0002, "0.008 in"),
        (-0.0002, "-0.008 in"),
    ],
)
def test_inches_are_written_as_on_a_rule(metres: float, inches: str) -> None:
    assert in_inches(metres) == inches


def test_both_systems_and_degrees_are_written() -> None:
    assert in_both(0.041) == "41.0 mm (1 5/8 in)"
    assert in_mm(-1e-6) == "0.0 mm"
    assert in_mm(0.0123456, 3) == "12.346 mm"
    assert in_degrees(math.radians(40.54)) == "40.5 deg"


@given(st.integers(-32 * 40, 32 * 40))
def test_what_is_written_in_inches_reads_back(thirty_seconds: int) -> None:
    metres = thirty_seconds / 32 * 0.0254
    assert parse_length(in_inches(metres)) == pytest.approx(metres, abs=1e-12)


def test_the_unit_of_the_design_stands_first_inside_its_block_only() -> None:
    def said() -> tuple[str, ...]:
        sizes = in_both(0.041), in_own(0.041), in_own_exactly(0.0471), across_room(112 * 0.0254)
        return (*sizes, in_litres(0.03 * 0.3048**3))

    metric = said()
    with written_in("in"):
        assert said() == (
            "1 5/8 in (41.0 mm)", "1 5/8 in", "1.854 in", "9 ft 4 in", "52 cu in (0.8 litres)"
        )  # fmt: skip
        with written_in("cm"):
            assert said() == metric
    assert said() == metric
    assert metric[:4] == ("41.0 mm (1 5/8 in)", "41.0 mm", "47.1 mm", "2.84 m")


def test_feet_count_as_inches_and_are_no_unit_of_a_file() -> None:
    assert unit_of("9 ft") == unit_of("3' 2\"") == unit_of("4 in") == "in"
    with pytest.raises(LengthError, match="unknown unit"):
        parse_length("-3' 2\"")
