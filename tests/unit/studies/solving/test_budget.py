"""What a study will cost: counted right, asked once, refused where nobody answers."""

import inspect
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from small import every_question, small_design

from dispersion.allround import Displacement, Solving, solve_leaning
from dispersion.waves.sharing import MOST_BLOCK_BYTES
from studies.design import Design, parse_design, read_design
from studies.questions.explore import question as explore
from studies.questions.explore.command import ExploreOptions
from studies.questions.gap import question as gap
from studies.questions.gap.command import GapOptions
from studies.questions.seat import question as seat
from studies.questions.seat.command import SeatOptions
from studies.questions.spread import question as spread
from studies.questions.spread.command import SpreadOptions
from studies.questions.trim import question as trim
from studies.questions.trim.command import TrimOptions
from studies.solving.budget import (
    ANSWER_S,
    PROCESS_MB,
    START_S,
    Budget,
    BudgetError,
    Portion,
    estimate,
    reckon,
    require_consent,
)
from studies.solving.grid import COARSE_PER_BAND, FINE_PER_BAND, problem_of
from studies.solving.options import SolverOptions
from studies.solving.weighing import askew_work, leaders_work, posts_work

TWO_CAPS = r"""
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
print(re.search(r"VmHWM:\s+(\d+) kB", Path("/proc/self/status").read_text())[1])
"""
ROOT = Path(__file__).resolve().parents[4]
READING_ROOM = ROOT / "studies" / "examples" / "reading_room.toml"
LARGE = (Portion(1000, 4),)
BESIDE_S = START_S + ANSWER_S


@pytest.fixture(scope="module")
def design() -> Design:
    return read_design(READING_ROOM)


def test_what_a_study_solves_is_counted_before(design: Design) -> None:
    # keep from 15 to 55 in steps of 1; plate gap from 50 to 90 in steps of 2; the map.
    tried = 41 + trim.MOST_KEEPS * trim.MOST_GAPS
    plain = TrimOptions(as_written=True)
    assert trim.weigh(design, plain)[0] == Portion(tried, COARSE_PER_BAND, ranked=True)
    six = GapOptions(solving=SolverOptions(per_band=6))
    assert gap.weigh(design, six)[0] == Portion(21, 6)
    full = SolverOptions(full=True)
    written = TrimOptions(solving=full, as_written=True)
    assert trim.weigh(design, written) == (Portion(tried, 24), Portion(12, 24))
    _, judged, *_ = trim.weigh(design, TrimOptions())
    asked = trim.MOST_JUDGED + trim.COMPARED + trim.STOPS + trim.MOST_GAPS_JUDGED
    assert judged == Portion(trim.BUILDS * asked, COARSE_PER_BAND, ranked=True)
    few = GapOptions(solving=full, as_written=True)
    assert gap.weigh(design, few) == (Portion(21, 24), Portion(6, 24))
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


HANGS = ("[air]", "[askew]\nshift = 2\n\n[air]")
POSTED = ("[target]", '[target]\nposts = "solved"')


def test_what_is_not_round_is_weighed_where_the_file_asks_for_it() -> None:
    """Askew takes ten steps round where straight takes one, posts an order each."""
    plain, hangs, posted = (
        small_design(("band = [500, 800]", "band = [1600, 2000]"), *pairs)
        for pairs in ((), (HANGS,), (POSTED,))
    )
    assert not (*posts_work(plain), *askew_work(plain), *askew_work(posted), *posts_work(hangs))
    off, straight = askew_work(hangs)
    assert off.displaced > straight.displaced == 0.0
    dear, cheap = (reckon(hangs, (one,), workers=1) for one in (off, straight))
    assert dear.solves == dear.all_round == cheap.solves == 2 * 8
    assert dear.seconds - BESIDE_S > 8.0 * (cheap.seconds - BESIDE_S)
    assert dear.megabytes > cheap.megabytes
    assert "(16 of them not round)" in dear.in_words()
    (three,) = posts_work(posted)
    both = replace(three, counts=(3, 4))
    once, twice = (reckon(posted, (one,), workers=1).seconds - BESIDE_S for one in (three, both))
    assert 1.2 < twice / once < 1.8, "orders 0, 3, 6 ... and 0, 3, 4, 6, 8 ..."
    assert spread.weigh(hangs, SpreadOptions())[1:] == (off,)
    assert {one.designs for one in leaders_work(hangs)} == {4}
    shaded = reckon(plain, seat.weigh(plain, SeatOptions()), workers=1)
    free = reckon(plain, seat.weigh(plain, SeatOptions())[:1], workers=1)
    assert shaded.all_round == 2, "third octaves"
    assert free.seconds + 0.01 < shaded.seconds < free.seconds + 1.0


@pytest.mark.slow
def test_two_axes_take_as_long_as_was_reckoned() -> None:
    """On whatever machine: within a half."""
    text = READING_ROOM.read_text(encoding="utf-8").replace('["100 Hz", "16 kHz"]', "[1000, 1250]")
    hangs = parse_design(text.replace(*HANGS), READING_ROOM)
    (work,) = askew_work(hangs, per_band=4, compared=False)
    reckoned = estimate(hangs, (work,), workers=1).seconds - BESIDE_S
    problem = problem_of(hangs, hangs.assembly(), 4)
    problem = replace(problem, elevations=np.zeros(1), points=problem.points[:0])
    start = time.process_time()
    solve_leaning(problem, Displacement(shift=2e-3), np.zeros(1), Solving(workers=1))
    assert reckoned / 1.5 < time.process_time() - start < 1.5 * reckoned


def test_a_large_study_is_asked_about_and_a_small_one_is_not(design: Design) -> None:
    asked: list[str] = []

    def answer(verdict: bool) -> Budget:
        return Budget(0.0, 4000.0, lambda question: bool(asked.append(question)) or verdict)

    require_consent(design, (Portion(41, 4),), replace(answer(False), minutes=20.0))
    assert not asked
    require_consent(design, LARGE, answer(True))
    assert asked[0].startswith("1000 designs, 92000 solves of one frequency: about ")
    with pytest.raises(BudgetError, match="above the budget of 0 min and 4 GB: try fewer sizes"):
        require_consent(design, LARGE, answer(False))
    with pytest.raises(BudgetError, match="or say --yes"):
        require_consent(design, LARGE, Budget(1e9, 300.0))
    require_consent(design, LARGE, Budget(1e9, 1e9))


def test_every_command_that_solves_is_weighed() -> None:
    for asked in every_question():
        solves = "solved(" in inspect.getsource(inspect.getmodule(asked.find))
        assert asked.weigh is not None or not solves, asked.name


def test_a_few_large_solves_are_asked_about_as_many_small_ones_are(design: Design) -> None:
    """Whatever their number: twelve at six times the mesh take as long as a thousand."""
    few = (Portion(12, 4),)
    budget = Budget(2.0, 1e9, lambda _: False)
    require_consent(design, few, budget, workers=1)
    with pytest.raises(BudgetError, match="12 designs, 1104 solves"):
        require_consent(design, few, budget, workers=1, finer=6.0)


def test_processes_beside_this_one_are_weighed_where_they_pay(design: Design) -> None:
    """Four designs are solved by threads, forty by two processes, each with program and blocks."""
    for designs, processes, blocks in ((4, 0, 0.0), (40, 2, MOST_BLOCK_BYTES / 1e6)):
        one, two = (reckon(design, (Portion(designs, 4),), workers=n) for n in (1, 2))
        matrices = two.megabytes - one.megabytes - processes * PROCESS_MB - blocks
        assert 0.0 < matrices < 50.0


def test_what_the_solver_refuses_is_left_to_the_study_to_refuse(design: Design) -> None:
    """Nobody is asked about what cannot start; the same on a mesh that can would be asked about."""
    asked: list[str] = []
    budget = Budget(0.0, 0.0, lambda question: bool(asked.append(question)))
    require_consent(design, (Portion(1, 4),), budget, finer=400.0)
    assert asked == []
    with pytest.raises(BudgetError):
        require_consent(design, (Portion(1, 4),), budget)
    assert len(asked) == 1


SPREAD = """
import re, sys, time
from functools import partial
from pathlib import Path
from dispersion.solvers import solve_waves
from dispersion.waves import SharedBlocks, WaveSettings
from studies.design import read_design
from studies.questions.spread.command import SpreadOptions
from studies.questions.spread.question import weigh
from studies.questions.spread.study import spread
from studies.solving.budget import ANSWER_S, estimate
from studies.solving.grid import FINE_BY_NEED
from studies.solving.memory import Remembering
settings = WaveSettings().finer(float(sys.argv[2]))
here = {"shared": SharedBlocks(), "store": Remembering(None), "workers": 2}
solver = partial(solve_waves, settings=settings, **here)
design, start = read_design(Path(sys.argv[1])), time.process_time()
spread(design, solver, fineness=FINE_BY_NEED)
print(time.process_time() - start)
print(re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1])
print(estimate(design, weigh(design, SpreadOptions()), 1, float(sys.argv[2])).seconds - ANSWER_S)
"""
FOUR = [
    ("studies/examples/reading_room.toml", 1.0),
    ("tests/data/tall_build.toml", 1.0),
    ("studies/examples/reading_room.toml", 2.0),
    ("tests/data/small_build.toml", 3.0),
]


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="asks Linux for its peak memory")
@pytest.mark.parametrize(("path", "finer"), FOUR)
def test_memory_and_processor_time_of_a_spread_are_within_half_of_what_was_estimated(
    path: str, finer: float
) -> None:
    asked = read_design(ROOT / path)
    work = spread.weigh(asked, SpreadOptions())
    reckoned = reckon(asked, work, workers=2, finer=finer).megabytes
    words = [sys.executable, "-c", SPREAD, path, str(finer)]
    done = subprocess.run(words, check=True, capture_output=True, text=True, cwd=ROOT)
    took, peak, seconds = map(float, done.stdout.split())
    print(f"{path}: {took:.1f} s of processor time, estimated {seconds:.1f} s")
    assert reckoned / 1.5 < peak * 1024 / 1e6 < 1.5 * reckoned
    assert seconds / 1.5 < took < 1.5 * seconds


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="asks Linux for its peak memory")
def test_the_memory_of_a_study_is_about_what_was_estimated(design: Design) -> None:
    """Caps and comparisons at 12 a band fill the shared blocks, for which the estimate stands."""
    work = (Portion(2, COARSE_PER_BAND), Portion(12, FINE_PER_BAND))
    # Before the run, since it compiles: a process that compiles takes 200 MB more.
    # It solves in threads: processes beside it, of which one worker has none, are not in it.
    estimated = estimate(design, work, workers=1).megabytes
    command = [sys.executable, "-c", TWO_CAPS.format(path=str(READING_ROOM))]
    done = subprocess.run(command, check=True, capture_output=True, text=True, cwd=ROOT)
    megabytes = int(done.stdout) * 1024 / 1e6
    assert estimated / 1.2 < megabytes < 1.2 * estimated
