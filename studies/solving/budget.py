"""What a study will cost in time and memory, estimated before it starts."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dispersion.bands import study_frequencies
from dispersion.checks import problems_before
from dispersion.fields import solve_fields
from dispersion.waves import WaveSettings
from dispersion.waves.sharing import MOST_BLOCK_BYTES
from studies.design import Design
from studies.solving.grid import COARSE_PER_BAND, problem_of

TOO_FEW_TO_ASK = 5_000
"""Solves of one frequency; so few are over in a few minutes whatever the design."""
SHARED = 0.6
"""Cost of one more candidate over the first, keep or gap changed: DEVELOPERS.md, Measured."""
SECOND_WORKER = 0.86
"""What every worker gives of its best when two work at once: DEVELOPERS.md, Measured."""
BASE_MB, ROW_MB = 350.0, 0.1
"""Memory of the program itself, once compiled: what the peak of a trim that filled the shared
blocks with two workers, 1001 MB, leaves for it; memory of what is kept of a candidate."""
MATRICES = 3
"""System, its factors, and what they are made from, at once for every worker."""


class BudgetError(ValueError):
    """A study larger than its budget, and nobody to say that it may start."""


@dataclass(frozen=True)
class Portion:
    """Part of the work of a study: designs solved at the same frequencies.

    Attributes
    ----------
    designs : int
        How many designs will be solved.
    per_band : int
        Frequencies in each third-octave band of the design's target.
    """

    designs: int
    per_band: int


Work = tuple[Portion, ...]
"""All that a study will solve."""


@dataclass(frozen=True)
class Budget:
    """What may be spent without asking.

    Attributes
    ----------
    minutes, megabytes : float
        Time, min, and memory, MB (1e6 bytes).
    ask : callable or None
        Question -> True for yes; None where there is nobody to ask.
    """

    minutes: float
    megabytes: float
    ask: Callable[[str], bool] | None = None


@dataclass(frozen=True)
class Cost:
    """What some work will take on this machine, roughly, if the ledger holds nothing of it.

    Attributes
    ----------
    designs, solves : int
        Designs, and solves of one design at one frequency.
    seconds : float
        Time, s.
    megabytes : float
        Peak memory, MB (1e6 bytes): with all the blocks that solves may share, so an upper end.
    """

    designs: int
    solves: int
    seconds: float
    megabytes: float

    def in_words(self) -> str:
        """Write designs, solves, time and memory in one sentence."""
        return (
            f"{self.designs} designs, {self.solves} solves of one frequency: about"
            f" {_duration(self.seconds)} and {self.megabytes / 1e3:.1f} GB on this machine"
            " (less for what the ledger holds)"
        )


def _duration(seconds: float) -> str:
    minutes = seconds / 60.0
    if minutes < 100.0:
        return f"{max(minutes, 1.0):.0f} min"
    hours = minutes / 60.0
    return f"{hours:.0f} hours" if hours < 72.0 else f"{hours / 24.0:.0f} days"


def estimate(design: Design, work: Work, workers: int | None = None, finer: float = 1.0) -> Cost:
    """Estimate what some work takes, from three frequencies of the design as written.

    Seconds at a frequency follow a power law between those that were timed.

    Parameters
    ----------
    design : Design
    work : tuple of Portion
    workers : int, optional
        Threads; as many as there are processors if left out.
    finer : float
        How many times finer the wave solver's mesh is than by default.
    """
    count = workers or os.cpu_count() or 1
    timed, seconds, unknowns = _timed(design, WaveSettings().finer(finer))
    total = 0.0
    for portion in work:
        every = study_frequencies(*design.target.band, portion.per_band)
        each = np.exp(np.interp(np.log(every), np.log(timed), np.log(seconds)))
        total += each.sum() * (1.0 + SHARED * (portion.designs - 1))
    share = count * (SECOND_WORKER if count > 1 else 1.0)
    designs = sum(portion.designs for portion in work)
    matrices = MATRICES * count * 16.0 * unknowns**2 / 1e6
    return Cost(
        designs=designs,
        solves=sum(portion.designs * _frequencies(design, portion) for portion in work),
        seconds=total / share,
        megabytes=BASE_MB + MOST_BLOCK_BYTES / 1e6 + matrices + ROW_MB * designs,
    )


def _frequencies(design: Design, portion: Portion) -> int:
    return len(study_frequencies(*design.target.band, portion.per_band))


def _timed(design: Design, settings: WaveSettings) -> tuple[np.ndarray, np.ndarray, int]:
    """Lowest, middle and highest frequency, what each took in seconds, unknowns at the highest."""
    problem = problem_of(design, design.assembly(), COARSE_PER_BAND)
    low, high = float(problem.frequencies[0]), float(problem.frequencies[-1])
    chosen = np.array([low, np.sqrt(low * high), high])
    solve_fields(problem, [low], settings, 1)  # compiles or loads what is compiled
    seconds, unknowns = [], 0
    for frequency in chosen:
        start = time.perf_counter()
        (found,) = solve_fields(problem, [frequency], settings, 1).values()
        seconds.append(time.perf_counter() - start)
        unknowns = found.unknowns
    return chosen, np.array(seconds), unknowns


def require_consent(
    design: Design,
    work: Work,
    budget: Budget,
    workers: int | None = None,
    finer: float = 1.0,
) -> None:
    """Ask before a study that is larger than its budget.

    Parameters
    ----------
    design : Design
    work : tuple of Portion
    budget : Budget
    workers : int, optional
        Threads; as many as there are processors if left out.
    finer : float
        How many times finer the wave solver's mesh is than by default.

    Raises
    ------
    BudgetError
        If the answer is no, or there is nobody to ask.
    """
    if sum(portion.designs * _frequencies(design, portion) for portion in work) < TOO_FEW_TO_ASK:
        return
    if problems_before(problem_of(design, design.assembly())):
        return  # the study refuses it, and names the key of the file
    cost = estimate(design, work, workers, finer)
    if cost.seconds <= 60.0 * budget.minutes and cost.megabytes <= budget.megabytes:
        return
    sentence = (
        f"{cost.in_words()}, above the budget of {budget.minutes:g} min and"
        f" {budget.megabytes / 1e3:g} GB"
    )
    if budget.ask is not None and budget.ask(f"{sentence}. Start?"):
        return
    raise BudgetError(
        f"{sentence}: try fewer sizes, a narrower band or fewer frequencies a"
        " band, raise the budget (--time-budget, --memory-budget), or say --yes"
    )
