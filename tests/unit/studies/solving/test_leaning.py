"""What hangs askew because the design file says so."""

from functools import partial

import numpy as np
import pytest
from small import small_design

from dispersion.solvers import SOLVERS
from studies.design import Design
from studies.measured.positions import Position
from studies.questions.export.study import Directions, directivity
from studies.questions.export.words import meaning
from studies.questions.spread.study import spread
from studies.questions.spread.tables import spread_tables
from studies.solving import leaning
from studies.solving.askew_changes import askew_at_positions
from studies.solving.leaning import as_hung, hung_in_words, levels_at_seats
from studies.solving.memory import Remembering

BAND = ("band = [500, 800]", "band = [1600, 2000]")
HANGS = ("[air]", "[askew]\nshift = 2\ntowards = 30\n\n[air]")
WAVES = partial(SOLVERS["waves"], workers=1, store=Remembering(None))


@pytest.fixture(autouse=True)
def few_frequencies(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four in a third octave, the least there can be: what is asked here needs no more."""
    monkeypatch.setattr(leaning, "PER_BAND", 4)


def design(*pairs: tuple[str, str]) -> Design:
    return small_design(BAND, *pairs)


def test_only_if_the_file_says_so_and_only_by_waves() -> None:
    hangs, straight = design(HANGS), design(("[air]", "[askew]\n\n[air]"))
    assembly = hangs.assembly()
    assert as_hung(hangs, assembly, WAVES).shift == pytest.approx(2e-3)
    assert as_hung(hangs, assembly, SOLVERS["edges"]) is None
    assert as_hung(hangs, assembly.without_upper(), WAVES) is None
    assert as_hung(straight, assembly, WAVES) is None
    assert askew_at_positions(straight, assembly, (), WAVES) is None
    assert "2.0 mm off the centre" in hung_in_words(hangs)
    assert "towards azimuth 30" in hung_in_words(hangs)
    assert "is left out" in leaning.left_out_in_words(hangs)[0]
    assert leaning.left_out_in_words(straight) == leaning.left_out_in_words(design()) == []


@pytest.mark.slow
def test_at_positions_it_matters_to_which_side_it_hangs() -> None:
    """The same on both sides of azimuth 30; the sides before and behind differ; as at the seats."""
    hangs = design(HANGS)
    azimuths = (60.0, 0.0, 30.0, 210.0, None)
    places = [Position(f"{azimuth}", 1.0, 1.2, azimuth) for azimuth in azimuths]
    beside, other, before, behind, unknown = askew_at_positions(
        hangs, hangs.assembly(), places, WAVES
    ).values
    assert other == pytest.approx(beside, abs=1e-6)
    assert np.abs(before - behind).max() > 0.02
    assert not unknown.any()
    there = np.array([[1.0, 1.2 - hangs.column_height]])
    (turned,) = levels_at_seats(hangs, hangs.assembly(), there, WAVES)
    assert np.abs(before - behind).max() == pytest.approx(turned.swing_db.max(), abs=0.01)
    assert turned.side_db.max() == pytest.approx(0.5 * turned.swing_db.max(), rel=0.2)


@pytest.mark.slow
def test_an_exported_file_differs_by_azimuth_and_says_why() -> None:
    """First order in the shift: the mean of two opposite sides is as if it hung straight."""
    found = directivity(design(HANGS), WAVES, fineness=4, directions=Directions(30.0, 30.0))
    numbers, azimuths = found.directions.each()
    level = found.in_directions()[:, numbers == 3]
    before, behind = (level[:, azimuths[numbers == 3] == at] for at in (30.0, 210.0))
    straight = found.pressure[:, 3, None]
    assert np.abs(before / straight - 1.0).max() > 0.002
    assert 0.5 * (before + behind) == pytest.approx(straight, rel=2e-3)
    assert "2.0 mm off the centre" in meaning(found)["directions"]


@pytest.mark.slow
def test_spread_tells_what_hangs_askew() -> None:
    """Hardly off, the level is the same all round; 2 mm off it is not, and its mean stays."""
    little = ("[air]", "[askew]\nshift = 0.01\n\n[air]")
    off, centred = (spread(design(one), WAVES, fineness=4) for one in (HANGS, little))
    assert centred.askew.swing_db == pytest.approx(np.zeros(2), abs=0.005)
    assert off.askew.swing_db.max() > 0.05
    assert off.askew.mean_db == pytest.approx(centred.askew.mean_db, abs=0.05)
    said = spread_tables(off)
    assert "2.0 mm off the centre" in " ".join(said.answer)
    assert len(said.table("askew").rows) == 2
