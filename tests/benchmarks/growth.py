"""How cost grows with the top frequency, with the column's height and with candidates.

    python tests/benchmarks/growth.py           tables, each with its exponent

Processor time of one thread, warm, shortest of a few runs; the exponent is the slope of a straight
line through the logarithms. What ranks candidates is measured by need, until every band is within
0.3 dB of doubt: "one" is a lone sweep to the same accuracy.
"""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from importlib.resources import files

import click
import numpy as np

from dispersion.problem import Problem
from dispersion.solvers import solve_waves
from dispersion.waves import SharedBlocks
from studies.design import Design, read_design
from studies.solving.grid import COARSE_BY_NEED, problem_of, run
from studies.solving.memory import Remembering
from studies.solving.shaving import cut_candidate

TOPS = (4e3, 5.6e3, 8e3, 11.2e3, 16e3, 20e3)
HEIGHTS = (0.3, 0.6, 0.9, 1.2, 1.8)
AT_HEIGHT = 8e3
COUNTS = (1, 5, 10, 20, 41)
REPEATS = 3


@dataclass(frozen=True)
class Growth:
    """Cost against a size: what the size is, sizes, and processor seconds of each."""

    size: str
    sizes: tuple[float, ...]
    seconds: tuple[float, ...]

    @property
    def exponent(self) -> float:
        """Slope of the straight line through the logarithms."""
        return float(np.polyfit(np.log(self.sizes), np.log(self.seconds), 1)[0])


def processor_time(task: Callable[[], object], repeats: int = REPEATS) -> float:
    """Shortest processor time of a few runs, in seconds."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        task()
        times.append(time.process_time() - start)
    return min(times)


def grown(size: str, sizes: Sequence[float], problem: Callable[[float], Problem]) -> Growth:
    """Solve a problem of one frequency for every size."""
    problems = [problem(each) for each in sizes]
    solve_waves(problems[0], workers=1)
    seconds = [processor_time(partial(solve_waves, each, workers=1)) for each in problems]
    return Growth(size, tuple(sizes), tuple(seconds))


def by_frequency(design: Design) -> Growth:
    """One solve at the highest frequency."""
    asked = problem_of(design, design.assembly())
    return grown("top frequency, Hz", TOPS, lambda top: replace(asked, frequencies=np.array([top])))


def by_height(design: Design) -> Growth:
    """One solve at 8 kHz."""
    built = design.assembly()

    def problem(height: float) -> Problem:
        taller = replace(built, column=replace(built.column, height=height))
        return replace(problem_of(design, taller), frequencies=np.array([AT_HEIGHT]))

    return grown("height of the column, m", HEIGHTS, problem)


def by_candidates(design: Design, counts: Sequence[int] = COUNTS) -> Growth:
    """Caps of the trim study ranked by need, evenly chosen, nothing known before."""
    cuts = design.trim_candidates()

    def rank(count: int) -> None:
        chosen = np.linspace(0, len(cuts) - 1, count).round().astype(int)
        solver = partial(solve_waves, workers=1, shared=SharedBlocks(), store=Remembering(None))
        candidates = [cut_candidate(design, *cuts[n]) for n in chosen]
        run(design, candidates, solver, COARSE_BY_NEED, "ranking")

    rank(1)
    seconds = [processor_time(partial(rank, count), repeats=1) for count in counts]
    return Growth("candidates", tuple(counts), tuple(seconds))


def another_over_lone(growth: Growth) -> float:
    """One candidate more, among the most, over the first alone."""
    sizes, seconds = growth.sizes, growth.seconds
    return (seconds[-1] - seconds[-2]) / (sizes[-1] - sizes[-2]) / seconds[0]


@click.command()
def main() -> None:
    """Print cost against size."""
    design = read_design(files("studies.examples") / "reading_room.toml")
    for growth in (by_frequency(design), by_height(design), by_candidates(design)):
        click.echo(f"{growth.size}: exponent {growth.exponent:.2f}")
        for size, seconds in zip(growth.sizes, growth.seconds, strict=True):
            click.echo(f"{size:12g} {1e3 * seconds:10.1f} ms {seconds / growth.seconds[0]:8.2f}")
    click.echo(f"another candidate over a lone sweep: {another_over_lone(growth):.2f}")


if __name__ == "__main__":
    main()
