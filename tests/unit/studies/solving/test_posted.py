"""Posts that count exactly because the design file says so."""

from functools import partial

import numpy as np
import pytest
from small import small_design

from dispersion.solvers import SOLVERS
from studies.design import Design, DesignError
from studies.measured.positions import Position
from studies.questions.export.study import Directions, directivity
from studies.questions.spread.study import spread
from studies.questions.spread.tables import spread_tables
from studies.solving.all_round import score_with_posts
from studies.solving.candidates import Candidate
from studies.solving.grid import run
from studies.solving.posted import are_solved, change_at_positions

WAVES = partial(SOLVERS["waves"], workers=1)
BAND = ("band = [500, 800]", "band = [3200, 3900]")
SOLVED = ("# window =", 'posts = "solved"\n# window =')


def design(*pairs: tuple[str, str]) -> Design:
    return small_design(BAND, SOLVED, *pairs)


def test_only_if_asked_and_only_by_waves() -> None:
    asked = design()
    assembly = asked.assembly()
    assert are_solved(asked, assembly, WAVES)
    assert not are_solved(small_design(), assembly, WAVES)
    assert not are_solved(asked, assembly, SOLVERS["edges"])
    assert change_at_positions(small_design(), assembly, (), WAVES) is None


def test_at_positions_it_matters_where_the_posts_are() -> None:
    """Three posts: the same every 120 degrees; no azimuth noted, nothing changed."""
    places = [Position(f"{azimuth}", 1.0, 1.2, azimuth) for azimuth in (0.0, 120.0, 60.0, None)]
    asked = design()
    changed = change_at_positions(asked, asked.assembly(), places, WAVES)
    first, same, other, unknown = changed.values
    assert same == pytest.approx(first, abs=1e-6)
    assert np.abs(other - first).max() > 0.1
    assert not unknown.any()


def test_spread_says_that_they_are_solved() -> None:
    found = spread(design(), WAVES, fineness=4)
    assert found.ripple.exact
    said = " ".join(spread_tables(found).answer)
    assert "round posts, solved" in said
    assert "estimate" not in said


def test_scores_change_by_the_mean_of_all_azimuths() -> None:
    """Rods that thin leave the mean as it was: 0.03 dB of score at most over the whole band."""
    asked = design()
    rows = run(asked, [Candidate("as designed", asked.assembly)], WAVES, 4, "one")
    found = score_with_posts(asked, rows, WAVES)
    assert 0.0 < found.most_db < 0.1
    assert found.best(rows, rows[0]) == (rows[0], 0.0)


def test_an_exported_file_differs_by_azimuth() -> None:
    found = directivity(design(), WAVES, fineness=4, directions=Directions(30.0, 60.0))
    numbers, azimuths = found.directions.each()
    everywhere = found.in_directions()
    level = everywhere[:, numbers == 3]
    assert azimuths[numbers == 3].tolist() == [0.0, 60.0, 120.0, 180.0, 240.0, 300.0]
    assert level[:, 2] == pytest.approx(level[:, 0])
    assert np.abs(level[:, 1] / level[:, 0] - 1.0).max() > 0.01
    off = np.abs(everywhere - found.pressure[:, numbers]).max()
    assert off < 0.1 * np.abs(everywhere).max(), "thin rods change little"


def test_posts_off_the_flat_are_refused_in_words() -> None:
    felt = design(("[air]", '[walls]\nbaffle = "felt 10 mm"\n\n[air]'))
    with pytest.raises(DesignError, match=r'target.posts: .*absorbs.*or posts = "round"'):
        spread(felt, WAVES, fineness=4)
