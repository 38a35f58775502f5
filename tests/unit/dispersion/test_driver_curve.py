"""A driver's own curve: between its points, beyond them, and as files have it."""

import numpy as np
import pytest

from dispersion.driver_curve import CurveError, DriverCurve, read_driver_curve

CURVE = DriverCurve((100.0, 1000.0, 10e3), (0.0, 6.0, -6.0), (0.0, -90.0, -170.0))


def test_curve_is_straight_on_the_logarithm_of_frequency():
    response = CURVE.response(np.array([100.0, np.sqrt(1e5), 1000.0]))
    assert np.allclose(20.0 * np.log10(np.abs(response)), [0.0, 3.0, 6.0])
    # Degrees in the file are for exp(+j omega t): conjugated here.
    assert np.allclose(np.degrees(np.angle(response)), [0.0, 45.0, 90.0])


def test_wrapped_phase_is_unwrapped_before_interpolation():
    wrapped = DriverCurve((100.0, 1000.0), (0.0, 0.0), (-170.0, 170.0))
    half_way = wrapped.response(np.sqrt(1e5))
    assert half_way == pytest.approx(-1.0)


def test_curve_without_phase_is_real():
    assert np.all(DriverCurve((100.0, 200.0), (0.0, 3.0)).response([120.0, 150.0]).imag == 0.0)


def test_curve_refuses_or_holds_what_lies_beyond():
    with pytest.raises(CurveError, match="reaches from 100 to 10000 Hz and is asked for 50 Hz"):
        CURVE.response([50.0, 200.0])
    held = DriverCurve(CURVE.frequencies, CURVE.levels_db, CURVE.phases_deg, beyond="hold")
    assert np.allclose(held.response([0.0, 50.0, 20e3]), held.response([100.0, 100.0, 10e3]))


def test_curve_answers_at_its_very_ends():
    ends = np.array([100.0 * (1 - 1e-12), 10e3 * (1 + 1e-12)])
    assert np.allclose(np.abs(CURVE.response(ends)), [1.0, 10.0**-0.3])


def test_zero_lowers_the_curve_all_along():
    ratio = CURVE.with_zero(87.0).response([300.0, 3000.0]) / CURVE.response([300.0, 3000.0])
    assert ratio == pytest.approx(10.0 ** (-87.0 / 20.0))


def test_usual_level_is_the_mean_from_500_to_2000_hz():
    rising = DriverCurve((100.0, 10_000.0), (80.0, 100.0))
    assert rising.usual_level() == pytest.approx(90.0)
    short = DriverCurve((2000.0, 20_000.0), (80.0, 90.0))
    assert short.usual_level() == pytest.approx(85.0)


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        (((100.0,), (0.0,)), "two points"),
        (((100.0, 200.0), (0.0,)), "two points"),
        (((200.0, 100.0), (0.0, 0.0)), "ascend"),
        (((0.0, 100.0), (0.0, 0.0)), "above 0 Hz"),
        (((100.0, 200.0), (0.0, float("inf"))), "finite"),
        (((100.0, 200.0), (0.0, 0.0), None, "guess"), "refuse or hold"),
    ],
)
def test_curves_that_cannot_be_interpolated_are_refused(columns, words):
    with pytest.raises(CurveError, match=words):
        DriverCurve(*columns)


@pytest.mark.parametrize(
    "text",
    [
        "100 80.5 -10\n1000 82 -20\n",
        "# made up\n\nHz dB deg\n0 0 0\n100\t80.5\t-10\n1000\t82\t-20\n",
        "frequency in Hz, level in dB, phase in degrees\n100, 80.5, -10\n1000, 82, -20\n",
        "100,80.5,-10\r\n1000,82,-20\r\n",
        "* comment\n100;80,5;-10\n1000,0;82,0;-20\n",
        "100,0 80,5 -10,0\n1000,0 82,0 -20,0\n",
        '"quoted heading"\n1e2 80.5 -10\n1.0E+03 82 -20',
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_curves_are_read_in_many_spellings(tmp_path, text, encoding):
    path = tmp_path / "curve.txt"
    path.write_text(text, encoding=encoding)
    curve = read_driver_curve(path)
    assert curve == DriverCurve((100.0, 1000.0), (80.5, 82.0), (-10.0, -20.0))


def test_two_columns_make_a_curve_without_phase(tmp_path):
    path = tmp_path / "curve.txt"
    path.write_bytes("Höhe\n100 80\n200 81\n".encode("latin-1"))
    curve = read_driver_curve(path, beyond="hold")
    assert curve == DriverCurve((100.0, 200.0), (80.0, 81.0), None, "hold")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("100 80\n200 eighty\n", "line 2: '200 eighty' is not a row"),
        ("100 80\n200\n", "line 2: '200' is not a row"),
        ("100 80 0 1\n", "line 1: .* is not a row"),
        ("100 80\n200 81 5\n", "line 2: 3 numbers, 2 above it"),
        ("Hz dB\n100 80\n300 80\n200 80\n", "line 4: 200 Hz comes after 300 Hz"),
        ("100 80\n100 81\n", "line 2: 100 Hz comes after 100 Hz"),
        ("100 80\n200 nan\n", "line 2: needs finite numbers"),
        ("-100 80\n200 80\n", "line 1: needs finite numbers and a frequency above 0"),
        ("nothing here\n", "fewer than two rows"),
    ],
)
def test_unreadable_curves_name_file_and_line(tmp_path, text, words):
    path = tmp_path / "curve.txt"
    path.write_text(text)
    with pytest.raises(CurveError, match=words) as caught:
        read_driver_curve(path)
    assert str(path) in str(caught.value)


def test_a_missing_curve_names_the_file(tmp_path):
    with pytest.raises(CurveError, match=r"absent\.txt: cannot be read"):
        read_driver_curve(tmp_path / "absent.txt")
