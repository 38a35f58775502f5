"""What a sweep and a trim study cost on this machine, as ratios within one run.

    python tests/benchmarks/sweep.py            a table
    python tests/benchmarks/sweep.py --json     the same as keys

Everything is measured warm (compiled and run once before) except `first_run_s`. The yardstick is
the bare LU factorisation of the very matrices of the sweep, by numpy, in one thread.
"""

import contextlib
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from importlib.resources import files
from pathlib import Path

import click
import growth
import numpy as np
from threadpoolctl import threadpool_limits

from dispersion.allround import Rod, orders_up_to, solve_ring, stand
from dispersion.bands import twelve_per_octave
from dispersion.fields import Fields, drive_of
from dispersion.problem import Problem
from dispersion.solvers import solve_waves
from dispersion.walls import ConstantAdmittance, Walls
from dispersion.waves import SharedBlocks, build_mesh
from dispersion.waves.system import assemble
from shapes.reflectors import ball_cap
from studies.design import Design, read_design
from studies.questions.spread.study import spread
from studies.questions.trim.study import trim
from studies.solving.grid import COARSE_BY_NEED, COARSE_PER_BAND, Fineness
from studies.solving.memory import Remembering

NAME = "reading_room.toml"
DIGITS = 5.0
REPEATS = 3


def demo() -> Design:
    """Design that everything is measured on."""
    return read_design(files("studies.examples") / NAME)


HEAVY = Path(__file__).resolve().parents[1] / "data" / "tall_build.toml"


def sweep_problem(design: Design, assembly=None, floor: bool = False) -> Problem:
    """92 frequencies, 12 per octave, 100 Hz to 19.2 kHz."""
    assembly = assembly or design.assembly()
    frequencies = twelve_per_octave(100.0, 19_200.0)
    return Problem(
        assembly=assembly, ways=design.ways, frequencies=frequencies, air=design.air, floor=floor
    )


def best_time(task) -> float:
    """Shortest of a few runs, in seconds."""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        task()
        times.append(time.perf_counter() - start)
    return min(times)


FELT = Walls(
    layers=False, absorbers=(("baffle", ConstantAdmittance(0.3 - 0.6j, replaces_layers=True)),)
)


def cost_of_losses(problem: Problem) -> dict[str, float]:
    """Processor time of lone sweeps with losses over a rigid one, one worker, taken in turns."""
    cases = {"rigid": problem, "layers": replace(problem, walls=Walls())}
    cases["felt"] = replace(problem, walls=FELT)
    spent = dict.fromkeys(cases, np.inf)
    for _ in range(REPEATS + 1):  # the first compiles
        for name, case in cases.items():
            start = time.process_time()
            solve_waves(case, workers=1)
            spent[name] = min(spent[name], time.process_time() - start)
    return {
        "layers_over_rigid": spent["layers"] / spent["rigid"],
        "felt_over_rigid": spent["felt"] / spent["rigid"],
    }


def factorisation_time(problem: Problem) -> float:
    """Seconds that numpy needs for the LU factorisations of the sweep's matrices, one thread."""
    driven = frozenset().union(*(way.parts for way in problem.assembly.ways))
    total = 0.0
    with threadpool_limits(1, user_api="blas"):
        for frequency in problem.frequencies:
            wavelength = problem.air.speed / frequency
            mesh = build_mesh(problem.assembly.bodies, wavelength, jumps=(driven,))
            elements = np.flatnonzero(np.isin(mesh.parts, sorted(driven)))
            matrix, _ = assemble(mesh, 2.0 * np.pi / wavelength, 0, elements, DIGITS)
            # slogdet is LU and a product along the diagonal: the barest LU that numpy offers.
            total += best_time(lambda matrix=matrix: np.linalg.slogdet(matrix))
    return total


def posts_over_sweep(problem: Problem) -> float:
    """Processor time of a sweep with its own posts over that of one worker without, in turns."""
    drives = [
        drive_of(built, way.lets_go, problem.air)
        for built, way in zip(problem.assembly.ways, problem.ways, strict=True)
    ]
    posts, plate = problem.assembly.standing_posts, problem.assembly.hung_plate

    def exactly() -> None:
        for frequency in problem.frequencies:
            most = orders_up_to(2.0 * np.pi * frequency / problem.air.speed, plate.radius)
            orders = range(0, most + 1, posts.count)
            elevations, air = problem.elevations, problem.air
            answer = solve_ring(problem.assembly, frequency, drives, orders, elevations, air)
            stand(answer, [Rod(posts.radius, posts.circle_radius)], posts.count)

    tasks, spent = (exactly, lambda: solve_waves(problem, workers=1)), [np.inf, np.inf]
    with threadpool_limits(1, user_api="blas"):
        for _ in range(REPEATS + 1):  # the first compiles
            for number, task in enumerate(tasks):
                start = time.process_time()
                task()
                spent[number] = min(spent[number], time.process_time() - start)
    return spent[0] / spent[1]


def trim_study(design: Design) -> None:
    """Solve 41 keep heights at the frequencies of the sweep, results kept as the study does."""
    shared = SharedBlocks()
    kept = [
        solve_waves(sweep_problem(design, design.trimmed(ball, keep)), shared=shared)
        for ball, keep in design.trim_candidates()
    ]
    assert len(kept) == 41


def one_more(design: Design) -> dict[str, float]:
    """Seconds for one more candidate of a study that has solved others before."""
    shared, cap = SharedBlocks(), ball_cap(0.18, 0.030)
    solve_waves(sweep_problem(design), shared=shared)
    start = time.perf_counter()
    solve_waves(sweep_problem(design, design.assembly().with_reflector(cap)), shared=shared)
    another_keep = time.perf_counter() - start
    built = design.assembly().with_reflector(cap)
    gaps = iter(0.001 * np.arange(61, 90))
    another_gap = best_time(
        lambda: solve_waves(sweep_problem(design, built.with_gap(next(gaps))), shared=shared)
    )
    return {"another_keep": another_keep, "another_gap": another_gap}


def grid_study(design: Design) -> None:
    """Solve 200 pairs, 20 keep heights by 10 plate gaps, at the frequencies of the sweep."""
    shared = SharedBlocks()
    for keep in 0.002 * np.arange(8, 28):
        built = design.assembly().with_reflector(ball_cap(0.18, keep))
        for gap in 0.004 * np.arange(14, 24):
            solve_waves(sweep_problem(design, built.with_gap(gap)), shared=shared)


@contextlib.contextmanager
def under_a_plate_that_stays() -> Iterator[Path]:
    """The demo's file with its plate held: heights alone are tried, as the aims mean it."""
    with tempfile.TemporaryDirectory() as folder:
        file = shutil.copytree(str(files("studies.examples")), f"{folder}/demo") + f"/{NAME}"
        text = Path(file).read_text(encoding="utf-8")
        held = text.replace('hold = "nothing"', 'hold = "plate gap"')
        if held == text:
            raise ValueError(f"{NAME} no longer says that its plate is free")
        Path(file).write_text(held, encoding="utf-8")
        yield Path(file)


def processor_seconds(file: Path, *words: str) -> float:
    """Processor seconds of one command on a file, all threads, in a new process, no ledger."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    with tempfile.TemporaryDirectory() as folder:
        options = ["--no-ledger", "--yes", *words[1:]]
        command = [sys.executable, "-m", "studies.cli", words[0], str(file), *options]
        subprocess.run(
            command,
            check=True,
            cwd=folder,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


class Counting:
    """A store that keeps nothing and counts what it is given to keep."""

    def __init__(self) -> None:
        self._given: list[bytes] = []

    def fetch(self, key: bytes) -> None:
        """Find nothing."""

    def keep(self, key: bytes, fields: Fields) -> None:
        """Count one solve, but for those of the driver by itself, straight ahead only."""
        if fields.far.shape[1] > 1:
            self._given.append(key)

    @property
    def solves(self) -> int:
        """How many were given."""
        return len(self._given)


def solves_of_trim(design: Design, fineness: Fineness) -> int:
    """Solves of one frequency that a trim takes, those found in memory not counted."""
    counting = Counting()
    solver = partial(solve_waves, shared=SharedBlocks(), store=Remembering(counting))
    trim(design, solver, None, fineness)
    return counting.solves


def by_need() -> dict[str, float]:
    """Trim and spread with frequencies chosen by need, beside the plain way, warm.

    Of 41 heights under a plate that stays, by the very sizes of the file.
    """
    with under_a_plate_that_stays() as file:
        design, heights = read_design(file), ("trim", "--as-written")
        needed = processor_seconds(file, *heights)
        plain = processor_seconds(file, *heights, "--per-band", str(COARSE_PER_BAND))
        solves = solves_of_trim(design, COARSE_BY_NEED)
        return {
            "trim_by_need_cpu_s": needed,
            "trim_by_need_over_plain": needed / plain,
            "trim_by_need_solves": solves,
            "trim_solves_over_plain": solves / solves_of_trim(design, COARSE_PER_BAND),
            "spread_by_need_over_trim": processor_seconds(file, "spread") / needed,
        }


def growing(design: Design) -> dict[str, float]:
    """Exponents of cost, and one candidate more where all are ranked by need."""
    candidates = growth.by_candidates(design)
    twelve = partial(spread, design, solve_waves)
    twelve()
    return {
        "spread_12_cpu_s": growth.processor_time(twelve),
        "another_by_need_over_lone": growth.another_over_lone(candidates),
        "exponent_of_candidates": candidates.exponent,
        "exponent_of_frequency": growth.by_frequency(design).exponent,
        "exponent_of_height": growth.by_height(design).exponent,
    }


def in_a_new_process(code: str, **environment: str) -> float:
    """Seconds that a fresh interpreter takes for some code."""
    start = time.perf_counter()
    subprocess.run(
        [sys.executable, "-c", code],
        check=True,
        env={**os.environ, **environment},
        stdout=subprocess.DEVNULL,
    )
    return time.perf_counter() - start


def measure() -> dict[str, float]:
    """Run everything and return the figures by name."""
    design = demo()
    problem = sweep_problem(design)
    response = solve_waves(problem)
    sweep = best_time(lambda: solve_waves(problem))
    on_floor = sweep_problem(design, floor=True)
    solve_waves(on_floor)
    floor = best_time(lambda: solve_waves(on_floor))
    one_worker = best_time(lambda: solve_waves(problem, workers=1))
    lu = factorisation_time(problem)
    start = time.perf_counter()
    trim_study(design)
    study = time.perf_counter() - start
    losses = cost_of_losses(problem)
    more = one_more(design)
    start = time.perf_counter()
    grid_study(design)
    grid = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    helping = "from studies.cli import main; main(['--help'], standalone_mode=False)"
    solving = (
        "from studies.design import read_design; from importlib.resources import files;"
        "from studies.questions.spread.study import spread;"
        "from dispersion.solvers import solve_waves;"
        "spread(read_design(files('studies.examples') / 'reading_room.toml'), solve_waves)"
    )
    with tempfile.TemporaryDirectory() as empty:
        first = in_a_new_process(solving, NUMBA_CACHE_DIR=empty)
    return {
        "frequencies": len(problem.frequencies),
        "unknowns_lowest": int(response.unknowns[0]),
        "unknowns_highest": int(response.unknowns[-1]),
        "lu_s": lu,
        "sweep_s": sweep,
        "sweep_over_lu": sweep / lu,
        "floor_over_sweep": floor / sweep,
        "posts_over_sweep": posts_over_sweep(problem),
        "heavy_posts_over_sweep": posts_over_sweep(sweep_problem(read_design(HEAVY))),
        "workers_gain": one_worker / sweep,
        "study_s": study,
        "candidate_over_sweep": study / 41.0 / sweep,
        **losses,
        "another_keep_over_sweep": more["another_keep"] / sweep,
        "another_gap_over_sweep": more["another_gap"] / sweep,
        "grid_s": grid,
        **by_need(),
        **growing(design),
        "peak_mib": peak,
        "help_s": min(in_a_new_process(helping) for _ in range(REPEATS)),
        "first_run_s": first,
    }


MEANINGS = {
    "frequencies": "frequencies in the sweep",
    "unknowns_lowest": "unknowns at the lowest",
    "unknowns_highest": "unknowns at the highest",
    "lu_s": "bare LU of the sweep's matrices, one thread, s",
    "sweep_s": "one design, whole sweep, s",
    "sweep_over_lu": "sweep over LU (20 at most, 10 aimed at)",
    "floor_over_sweep": "the same on a rigid floor over in free air",
    "posts_over_sweep": "the same with its three posts exactly, processor time (12 aimed at)",
    "heavy_posts_over_sweep": "likewise tests/data/tall_build.toml, four rods (16 aimed at)",
    "workers_gain": "one worker over all workers",
    "study_s": "trim study of 41 candidates, s (60 aimed at)",
    "candidate_over_sweep": "one candidate of the study over a lone sweep",
    "layers_over_rigid": "boundary layers over rigid walls, processor time (1.35 at most)",
    "felt_over_rigid": "felt on the baffle over rigid walls, processor time (1.2 at most)",
    "another_keep_over_sweep": "another keep, column shared, over a lone sweep",
    "another_gap_over_sweep": "another gap, column and reflector shared, over a lone sweep",
    "grid_s": "200 pairs of keep and gap, s (60 aimed at)",
    "trim_by_need_cpu_s": "roundcast trim of 41 heights by need, processor s (25 aimed at)",
    "trim_by_need_over_plain": "the same over 4 a band and 12 for leaders",
    "trim_by_need_solves": "solves of one frequency in that trim (2500 aimed at)",
    "trim_solves_over_plain": "the same over 4 a band and 12 for leaders",
    "spread_by_need_over_trim": "roundcast spread by need over trim, processor time",
    "spread_12_cpu_s": "spread at 12 a band, processor s (2 aimed at)",
    "another_by_need_over_lone": "another candidate by need over one alone (0.25 aimed at)",
    "exponent_of_candidates": "exponent of cost by candidates, 1 to 41",
    "exponent_of_frequency": "exponent of one solve by frequency, 4 to 20 kHz",
    "exponent_of_height": "exponent of one solve by the column's height, 0.3 to 1.8 m",
    "peak_mib": "peak memory of this process, MiB (1536 at most)",
    "help_s": "roundcast --help in a new process, s (0.5 at most)",
    "first_run_s": "first spread after installation, compilation included, s (40 at most)",
}


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print the figures as JSON.")
def main(as_json: bool) -> None:
    """Measure what a sweep and a trim study cost."""
    figures = measure()
    if as_json:
        click.echo(json.dumps(figures, indent=2))
        return
    for key, value in figures.items():
        click.echo(f"{MEANINGS[key]:<70} {value:10.3f}")


if __name__ == "__main__":
    main()
