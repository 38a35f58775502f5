"""What a study will cost: counted right, asked once, refused where nobody answers."""

import subprocess
import sys
from pathlib import Path

import pytest

from studies.design import Design, read_design
from studies.questions.explore import question as explore
from studies.questions.explore.command import ExploreOptions
from studies.questions.gap import question as gap
from studies.questions.gap.command import GapOptions
from studies.questions.trim import question as trim
from studies.questions.trim.command import TrimOptions
from studies.solving.budget import (
    TOO_FEW_TO_ASK,
    Budget,
    BudgetError,
    Portion,
    estimate,
    require_consent,
)
from studies.solving.grid import COARSE_PER_BAND, FINE_PER_BAND
from studies.solving.options import SolverOptions

TWO_CAPS = """
import re
from functools import partial
from pathlib import Path

from dispersion.solvers import solve_waves
from dispersion.waves import SharedBlocks
from studies.design import parse_design
from studies.questions.trim.study import trim

path = Path({path!r})
text = path.read_text(encoding="utf-8").replace("{{ from = 15, to = 55, step = 1 }}", "[40, 44]")
trim(parse_design(text, path), partial(solve_waves, shared=SharedBlocks(), workers=2))
# Not getrusage: what it says of a process begins with the peak of the one that started it.
print(re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1])
"""
ROOT = Path(__file__).resolve().parents[4]
READING_ROOM = ROOT / "studies" / "examples" / "reading_room.toml"
LARGE = (Portion(1000, 4),)


@pytest.fixture(scope="module")
def design() -> Design:
    return read_design(READING_ROOM)


def test_what_a_study_solves_is_counted_before(design: Design) -> None:
    # keep from 15 to 55 in steps of 1; plate gap from 50 to 90 in steps of 2.
    assert trim.weigh(design, TrimOptions())[0] == Portion(41, COARSE_PER_BAND)
    six = GapOptions(solving=SolverOptions(per_band=6))
    assert gap.weigh(design, six)[0] == Portion(21, 6)
    full = SolverOptions(full=True)
    assert trim.weigh(design, TrimOptions(solving=full)) == (Portion(41, 24), Portion(12, 24))
    assert gap.weigh(design, GapOptions(solving=full)) == (Portion(21, 24), Portion(6, 24))
    assert {one.per_band for one in explore.weigh(design, ExploreOptions(solving=full))} == {24}
    assert 100 < explore.weigh(design, ExploreOptions())[0].designs <= 200


def test_more_designs_and_frequencies_cost_in_proportion(design: Design) -> None:
    # 100 Hz to 16 kHz are 23 third octaves.
    few, many = (estimate(design, (Portion(count, 4),), workers=1) for count in (101, 1001))
    assert few.solves == 101 * 23 * 4
    assert many.solves == 1001 * 23 * 4
    assert many.megabytes - few.megabytes == pytest.approx(900 * 0.1)
    # Timings of two probes differ, the more so beside other work.
    assert 4.0 < many.seconds / few.seconds < 25.0


def test_a_large_study_is_asked_about_and_a_small_one_is_not(design: Design) -> None:
    asked: list[str] = []

    def answer(verdict: bool) -> Budget:
        return Budget(0.0, 4000.0, lambda question: bool(asked.append(question)) or verdict)

    require_consent(design, (Portion(TOO_FEW_TO_ASK // 92, 4),), answer(False))
    assert not asked
    require_consent(design, LARGE, answer(True))
    assert asked[0].startswith("1000 designs, 92000 solves of one frequency: about ")
    with pytest.raises(BudgetError, match="above the budget of 0 min and 4 GB: try fewer sizes"):
        require_consent(design, LARGE, answer(False))
    with pytest.raises(BudgetError, match="or say --yes"):
        require_consent(design, LARGE, Budget(1e9, 300.0))
    require_consent(design, LARGE, Budget(1e9, 1e9))


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="asks Linux for its peak memory")
def test_the_memory_of_a_study_is_about_what_was_estimated(design: Design) -> None:
    """Caps and comparisons at 12 a band fill the shared blocks, for which the estimate stands."""
    work = (Portion(2, COARSE_PER_BAND), Portion(12, FINE_PER_BAND))
    # Before the run, since it compiles: a process that compiles takes 200 MB more.
    estimated = estimate(design, work, workers=2).megabytes
    command = [sys.executable, "-c", TWO_CAPS.format(path=str(READING_ROOM))]
    done = subprocess.run(command, check=True, capture_output=True, text=True, cwd=ROOT)
    megabytes = int(done.stdout) * 1024 / 1e6
    assert estimated / 1.2 < megabytes < 1.2 * estimated
