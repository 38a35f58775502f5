"""Impulse responses: where they peak, what their spectrum is, how long they must be."""

import math

import numpy as np
import pytest

from dispersion.impulse import (
    PERIODS,
    RATE,
    BandLimits,
    ImpulseError,
    bins,
    group_delay,
    impulse,
    least_length,
    samples_for,
)

WIDE = BandLimits(89.125, 17782.8)


def of_one(delay: float, limits: BandLimits = WIDE) -> tuple[np.ndarray, float]:
    """Impulse response of a path that lets everything through."""
    samples = samples_for(limits, delay, None)
    return impulse(np.ones(bins(samples).size, dtype=complex), delay, limits, samples)


@pytest.mark.parametrize("delay", [0.004, 0.0101037, 0.02345678])
def test_peak_stands_at_the_delay_whatever_its_fraction_of_a_sample(delay: float) -> None:
    response, _ = of_one(delay)
    expected = round(WIDE.lead * RATE) + delay * RATE
    assert abs(int(np.argmax(response)) - expected) <= 1.0


def test_spectrum_is_what_went_in_and_fades_outside() -> None:
    response, cut_db = of_one(0.01)
    count = 1 << 17
    f, found = np.fft.rfftfreq(count, 1.0 / RATE), np.abs(np.fft.rfft(response, count))
    inside = (f > WIDE.low) & (f < WIDE.high)
    # A fourth-order Butterworth an octave below takes 10 lg(1 + 2^-8) = 0.017 dB at the end; as
    # much again for what the file's end cuts off.
    assert np.max(np.abs(20.0 * np.log10(found[inside]))) < 2.0 * 10.0 * math.log10(1.0 + 2.0**-8)
    # "less than -60 dB beyond the fade"
    assert found[f > WIDE.silent_hz + 50.0].max() < 1e-3
    # An octave below the corner: 10 lg(1 + 2^8) = 24.1 dB.
    below = 20.0 * math.log10(np.interp(WIDE.high_pass_hz / 2.0, f, found))
    assert below == pytest.approx(-10.0 * math.log10(1.0 + 2.0**8), abs=0.1)
    assert cut_db < -40.0


def test_nothing_comes_before_the_arrival_less_the_lead() -> None:
    response, _ = of_one(0.02)
    assert np.all(response[: math.floor(0.02 * RATE)] == 0.0)
    # And what the window fades in there is next to nothing.
    ahead = response[: math.floor((0.02 + 0.5 * WIDE.lead) * RATE)]
    assert np.abs(ahead).max() < 1e-2 * response.max()


def test_group_delay_of_a_first_order_high_pass_is_textbook() -> None:
    """For 1 / (1 - j fc / f): d/d omega of atan(fc / f), (1 / wc) / (1 + (f / fc)^2)."""
    corner, f = 200.0, np.geomspace(50.0, 5000.0, 30)

    def passed(f: np.ndarray) -> np.ndarray:
        late = np.exp(2j * np.pi * f * 3e-3)
        return late / (1.0 + 1j * corner / f)  # exp(-i omega t)

    expected = 3e-3 + 1.0 / (2.0 * np.pi * corner * (1.0 + (f / corner) ** 2))
    assert group_delay(passed, f) == pytest.approx(expected, rel=1e-4)


def test_complex_pressure_turns_with_the_house_time_factor() -> None:
    """A wave that has gone 5 samples farther, exp(+ikd), comes 5 samples later."""
    samples = samples_for(WIDE, 0.01, None)
    farther = np.exp(2j * np.pi * bins(samples) * 5.0 / RATE)
    late, _ = impulse(farther, 0.01, WIDE, samples)
    assert int(np.argmax(late)) - int(np.argmax(of_one(0.01)[0])) == 5


def test_least_length_holds_start_latest_arrival_and_lowest_frequency() -> None:
    assert least_length(WIDE, 0.03) == pytest.approx(WIDE.lead + 0.03 + PERIODS / 89.125)
    assert samples_for(WIDE, 0.03, None) == RATE // 10
    assert samples_for(WIDE, 0.03, 0.25) == RATE // 4
    assert samples_for(BandLimits(28.0, 17782.8), 0.03, None) == RATE * 2 // 10


@pytest.mark.parametrize(
    ("wanted", "words"),
    # 6 / 4605 Hz of lead, 30 ms, 4 / 89.125 Hz: 76.2 ms.
    [(0.05, r"too short: the last arrival .* take 77 ms or more"), (2.5, "at most 2000 ms")],
)
def test_a_length_that_does_not_fit_is_refused(wanted: float, words: str) -> None:
    with pytest.raises(ImpulseError, match=words):
        samples_for(WIDE, 0.03, wanted)
