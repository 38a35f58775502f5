"""A fit that is taken over: read, refused where it is none or another driver's, and drawn from."""

from pathlib import Path

import numpy as np
import pytest
from small import EXAMPLES, small_design

from studies.design import Design, DesignError, parse_design
from studies.design.fit_table import CONE_LOSS, EFFECTIVE_DIAMETER, SHRINK_FREQUENCY
from studies.solving.members import WAVE_SPEED, members

# The plate gap is no driver's; per cent, mm and Hz as a fit writes them.
FIT = """
[[fit]]
size = "effective diameter"
written = 104.0
found = 101.0
deviation = 0.8
correlations = [1.0, 0.6, 0.3, -0.5]
[[fit]]
size = "plate gap"
written = 60.0
found = 61.0
deviation = 0.5
correlations = [0.6, 1.0, 0.0, 0.0]
[[fit]]
size = "shrink frequency"
written = 4000.0
found = 5000.0
deviation = 0.2
correlations = [0.3, 0.0, 1.0, 0.0]
[[fit]]
size = "cone's admittance"
written = 0.0
found = 2.0
deviation = 0.4
correlations = [-0.5, 0.0, 0.0, 1.0]
"""


def taken_over(folder: Path, fit: str = FIT, *pairs: tuple[str, str]) -> Design:
    """The example, which takes over what stands in fitted.toml beside it."""
    for file in EXAMPLES.glob("*.toml"):
        (folder / file.name).write_bytes(file.read_bytes())
    (folder / "fitted.toml").write_text(small_design().text + fit, "utf-8")
    text = small_design(*pairs).text.replace("proud = 3 ", 'known = "fitted.toml"\nproud = 3 ')
    return parse_design(text, folder / "mine.toml")


def test_drivers_are_drawn_from_what_was_found_with_its_correlations(tmp_path: Path) -> None:
    design = taken_over(tmp_path)
    assert design.known.sizes == (EFFECTIVE_DIAMETER, SHRINK_FREQUENCY, CONE_LOSS)
    every = members(design, count=256, per_build=1)
    drawn = np.array(
        [
            (104.0 * build.diameter, np.log2(move.lets_go_hz / 5000.0), 100.0 * build.admittance)
            for build, (move,) in every
        ]
    )
    # Of 256 even draws the mean is off by a few hundredths of a deviation, a correlation by 0.06.
    assert drawn.mean(axis=0) == pytest.approx([101.0, 0.0, 2.0], abs=0.06)
    assert drawn.std(axis=0) == pytest.approx([0.8, 0.2, 0.4], rel=0.05)
    expected = [[1.0, 0.3, -0.5], [0.3, 1.0, 0.0], [-0.5, 0.0, 1.0]]
    assert np.corrcoef(drawn.T) == pytest.approx(np.array(expected), abs=0.12)
    # What was built then is not what is built next, and what was not fitted is not known.
    free = members(small_design(), count=256, per_build=1)
    assert [b.gap for b, _ in every] == [b.gap for b, _ in free]
    assert [b.depth for b, _ in every] == [b.depth for b, _ in free]


def test_a_fit_that_does_not_know_how_the_cone_moves_leaves_both_ways(tmp_path: Path) -> None:
    design = taken_over(tmp_path, FIT.replace("deviation = 0.2", "deviation = 0.6"))
    speeds = [move.wave_speed for _, moves in members(design) for move in moves]
    assert sum(speed is not None for speed in speeds) == len(speeds) / 2
    assert max(speed for speed in speeds if speed) <= WAVE_SPEED[1]


def test_what_a_fit_did_not_find_stays_as_wide_as_it_was(tmp_path: Path) -> None:
    # 5 mm of doubt are more than 5 per cent of 104 mm either way: readings that say nothing.
    design = taken_over(tmp_path, FIT.replace("deviation = 0.8", "deviation = 5.0"))
    diameters = [build.diameter for build, _ in members(design)]
    assert diameters == [build.diameter for build, _ in members(small_design())]
    assert all(move.wave_speed is None for _, moves in members(design) for move in moves)


def test_a_fitted_file_knows_its_own_driver() -> None:
    text = small_design(("effective_diameter = 104 ", "effective_diameter = 101 ")).text
    own = parse_design(
        text.replace('above = "4 kHz"', 'above = "5 kHz"') + FIT, EXAMPLES / "f.toml"
    )
    assert own.known.found_of(EFFECTIVE_DIAMETER) == pytest.approx(0.101)
    assert np.mean([build.diameter for build, _ in members(own, count=64)]) == pytest.approx(
        1.0, abs=1e-3
    )


@pytest.mark.parametrize(
    ("fit", "pairs", "said"),
    [
        ("", (), r"driver.known.*fitted.toml is no fit of a driver.*overlay --fit"),
        (
            FIT,
            (("effective_diameter = 104 ", "effective_diameter = 96 "),),
            r"driver.known.*another driver: its effective diameter was 104 and became 101, here it"
            r" is 96.*measure this driver",
        ),
        (
            FIT.replace("found = 101.0", ""),
            (),
            r"driver.known.*cannot be read as the file of a",
        ),
        (FIT.replace("[1.0, 0.6, 0.3, -0.5]", "[1.0]"), (), r"driver.known.*correlations"),
        (FIT.replace("0.6", "1.0").replace("-0.5", "1.0"), (), r"driver.known.*correlations"),
    ],
)
def test_what_is_no_fit_of_this_driver_is_refused(
    tmp_path: Path, fit: str, pairs: tuple[tuple[str, str], ...], said: str
) -> None:
    with pytest.raises(DesignError, match=f"(?s){said}") as refused:
        taken_over(tmp_path, fit, *pairs)
    assert len(refused.value.mistakes) == 1


def test_the_shape_of_the_cone_is_drawn_from_what_was_found(tmp_path: Path) -> None:
    """The example's cone is 22 mm deep; its members else lie 25 per cent either way."""
    found = """
[[fit]]
size = "depth of the cone"
written = 22.0
found = 20.0
deviation = 0.5
correlations = [1.0, 0.0]
[[fit]]
size = "height of the dust cap"
written = 9.0
found = 9.5
deviation = 9.0
correlations = [0.0, 1.0]
"""
    design = taken_over(tmp_path, found)
    every = [build for build, _ in members(design, count=256, per_build=1)]
    depth = np.array([22.0 * build.depth for build in every])
    assert depth.mean() == pytest.approx(20.0, abs=0.1)
    assert depth.std() == pytest.approx(0.5, rel=0.1)
    # A dust cap of which the fit knows nothing stays as drawn: 50 per cent either way.
    assert {build.cap for build in every} == {
        build.cap for build, _ in members(small_design(), 256, 1)
    }
    with pytest.raises(DesignError, match="depth of the cone was 22 and became 20, here it is 18"):
        taken_over(tmp_path, found, ("cone_depth = 22 ", "cone_depth = 18 "))
