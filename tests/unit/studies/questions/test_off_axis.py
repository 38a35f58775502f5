"""A shift off the centre, found from readings round the column."""

from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from small import small_design

from dispersion.allround import Displacement
from dispersion.bands import third_octave_centres
from dispersion.solvers import SOLVERS
from studies.measured.positions import MeasuredBands, Position
from studies.questions.overlay.off_axis import fit_off_axis, fitted
from studies.solving import leaning
from studies.solving.askew_changes import change_at_positions_of

AZIMUTHS = (0.0, 60.0, 120.0, 200.0, 290.0)
CENTRES = third_octave_centres(1000.0, 8000.0)
GROUP = [list(range(len(AZIMUTHS)))]


@pytest.fixture(autouse=True)
def few_frequencies(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four in a third octave, the least there can be: what is asked here needs no more."""
    monkeypatch.setattr(leaning, "PER_BAND", 4)


def positions(azimuths: tuple[float | None, ...] = AZIMUTHS) -> tuple[Position, ...]:
    return tuple(Position(f"{azimuth}", 1.5, 1.1, azimuth) for azimuth in azimuths)


def made_up(shift: float, towards: float, noise_db: float) -> tuple[MeasuredBands, np.ndarray]:
    """Levels of the first order in the shift, with what bands and positions have of their own."""
    random = np.random.default_rng(1)
    sides = random.normal(0.0, 300.0, (1, len(CENTRES)))  # dB a metre: 0.3 dB a millimetre
    turn = np.radians(np.array(AZIMUTHS) - towards)
    level = shift * np.cos(turn)[:, None] * sides
    level += random.normal(0.0, 5.0, (1, len(CENTRES))) + random.normal(0.0, 1.0, (len(turn), 1))
    level += random.normal(0.0, noise_db, level.shape)
    return MeasuredBands(positions(), CENTRES, level), sides


def test_made_up_readings_give_back_their_shift() -> None:
    found = fitted(*_with_group(made_up(1.4e-3, 130.0, 0.0)))
    assert found.shift == pytest.approx(1.4e-3)
    assert found.towards_deg == pytest.approx(130.0)
    assert found.rms_db < 1e-9 < found.rms_straight_db
    noisy = fitted(*_with_group(made_up(1.4e-3, 130.0, 0.2)))
    assert noisy.there
    assert abs(noisy.shift - 1.4e-3) < 3.0 * noisy.uncertainty
    assert noisy.rms_db == pytest.approx(0.2, rel=0.4)
    assert not fitted(*_with_group(made_up(0.0, 0.0, 0.3))).there


def test_readings_that_tell_nothing() -> None:
    measured, sides = made_up(1e-3, 0.0, 0.1)
    nothing = replace(measured, level_db=np.full(measured.level_db.shape, np.nan))
    assert fitted(nothing, GROUP, sides) is None
    assert fitted(measured, GROUP, 0.0 * sides) is None
    design = small_design()
    few = MeasuredBands(positions((0.0, 90.0, None)), CENTRES, np.zeros((3, len(CENTRES))))
    assert fit_off_axis(design, design.assembly(), few, SOLVERS["waves"]) is None


@pytest.mark.slow
def test_what_was_solved_off_the_centre_is_found() -> None:
    """Readings are those of 1.5 mm towards 30 degrees, all orders of it."""
    design = small_design(("[air]", "[askew]\ntowards = 30\n\n[air]"))
    solver = partial(SOLVERS["waves"], workers=1)
    places, centres = positions((0.0, 90.0, 180.0, 270.0)), third_octave_centres(2000.0, 2500.0)
    off = Displacement(shift=1.5e-3)
    level = change_at_positions_of(
        design, design.assembly(), off, places, solver, None, (2000.0, 2500.0)
    )
    found = fit_off_axis(
        design, design.assembly(), MeasuredBands(places, centres, level.values), solver
    )
    assert found.shift == pytest.approx(1.5e-3, rel=0.05)
    assert found.towards_deg == pytest.approx(30.0, abs=3.0)


def _with_group(made: tuple[MeasuredBands, np.ndarray]) -> tuple:
    measured, sides = made
    return measured, GROUP, sides
