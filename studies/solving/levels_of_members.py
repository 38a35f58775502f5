"""Levels at positions in every driver and build that a file may stand for, in the room's air.

What a reading may be off by because nobody knows the driver is how these levels differ: correlated
over bands and places, since one driver makes them all. Temperature moves the bands over resonances,
so it counts by itself: read in the room it is known within `THERMOMETER_K`, else it is anything
from 10 to 30 degrees. The members of one build share one temperature, and their solves.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import chain

import numpy as np

from dispersion.sources import Way
from shapes.assembly import Assembly
from studies.design import Design
from studies.measured.positions import Position
from studies.solving.candidates import Candidate
from studies.solving.ensemble import LEVEL
from studies.solving.grid import (
    COARSE_BY_NEED,
    ByNeed,
    Fineness,
    Progress,
    Solver,
    built,
    counted,
    expected_solves,
    work_of,
)
from studies.solving.losses import least_change
from studies.solving.members import (
    TEMPERATURE_C,
    Build,
    Member,
    Motion,
    members,
    ways_of,
    with_cone,
)
from studies.solving.predicting import predicted_at
from studies.solving.processes import Advance, side_by_side

THERMOMETER_K = 1.0
"""How far a room's temperature may be off, thermometer and drift: common practice, no source."""
KNOWN_AIR_C = (0.0, 30.0)
"""Where the formulas of the air hold, degrees C."""
STAGE = "levels, whatever you do not know"


def in_the_room(design: Design) -> Design:
    """Return a design in air of the room's temperature, where `[measuring]` states it."""
    read = design.tables.measuring.temperature
    return design if read is None else _at(design, read)


@dataclass(frozen=True, kw_only=True)
class MemberSolving:
    """How levels of members are solved.

    Attributes
    ----------
    solver : callable
        The wave solver.
    fineness : int or ByNeed
        Frequencies in a third-octave band, or as many as it takes.
    progress : callable or None
        Called with (stage, done, total).
    band : (float, float) or None
        Lowest and highest third octave, Hz; the design's own if None.
    """

    solver: Solver
    fineness: Fineness
    progress: Progress | None = None
    band: tuple[float, float] | None = None


def levels_of_members(
    design: Design,
    assemblies: Sequence[Assembly],
    positions: Sequence[Position],
    solving: MemberSolving,
    every: Sequence[Member] | None = None,
) -> np.ndarray:
    """Predict band levels of assemblies at positions in every member.

    Parameters
    ----------
    design : Design
    assemblies : sequence of Assembly
        As the file has them: K.
    positions : sequence of Position
        P.
    solving : MemberSolving
    every : sequence of (Build, tuple of Motion), optional
        Builds, each with as many motions; those of the ensemble if left out.

    Returns
    -------
    (K, M, P, B) array
        dB re the member's own driver flush in a baffle, at 1 m, member by member; without those in
        which one of the assemblies cannot be built.
    """
    drawn = members(design) if every is None else every
    band = solving.band or design.target.band
    solves = len(set(assemblies)) * sum(len(moves) for _, moves in drawn)
    advance = counted(solving.progress, STAGE, solves * expected_solves(band, solving.fineness))
    different = list(dict.fromkeys(assemblies))
    in_build = partial(
        _in_build,
        design=design,
        assemblies=different,
        positions=positions,
        fineness=COARSE_BY_NEED if isinstance(solving.fineness, ByNeed) else solving.fineness,
        band=band,
    )
    work = work_of(design, solves)
    with side_by_side(solving.solver, advance, pieces=len(drawn), work=work) as each:
        builds = [one for one in each(in_build, *zip(*drawn, strict=True)) if one]
    found = {one: [one_build[n] for one_build in builds] for n, one in enumerate(different)}
    return np.array([list(chain.from_iterable(found[one])) for one in assemblies])


def _in_build(
    solver: Solver,
    advance: Advance,
    build: Build,
    moves: Sequence[Motion],
    *,
    design: Design,
    assemblies: Sequence[Assembly],
    positions: Sequence[Position],
    fineness: Fineness,
    band: tuple[float, float],
) -> list[list[np.ndarray]]:
    """(P, B) levels of each assembly in each motion of one build; none if one cannot be built."""
    rows = [built(Candidate("", partial(build.of, one))) for one in assemblies]
    if any(row.reason for row in rows):
        return []
    there = with_cone(_at(design, _temperature(design, moves[0])), build)
    ways = [ways_of(there, replace(m, temperature=there.air.temperature_c)) for m in moves]
    predicting = partial(
        _in_every_motion,
        positions=positions,
        solver=solver,
        fineness=fineness,
        advance=advance,
        band=band,
    )
    return [predicting(there, row.assembly, ways) for row in rows]


def _in_every_motion(
    design: Design,
    assembly: Assembly,
    ways: Sequence[tuple[Way, ...]],
    *,
    positions: Sequence[Position],
    solver: Solver,
    fineness: Fineness,
    advance: Callable[[int], None],
    band: tuple[float, float],
) -> list[np.ndarray]:
    """(P, B) levels for each motion; the first chooses the frequencies and solves for all."""
    levels: list[np.ndarray] = []
    begin: np.ndarray | None = None
    for n, own in enumerate(ways):
        together = partial(solver, also=ways[n + 1 :]) if ways[n + 1 :] else solver
        moved = replace(design, ways=own)
        found = predicted_at(
            moved, assembly, positions, together, fineness, advance, band, begin=begin
        )
        begin = found.response.solved_frequencies if begin is None else begin
        levels.append(found.level_db)
    return levels


def _temperature(design: Design, motion: Motion) -> float:
    """Of one member, degrees C: as drawn, or as the thermometer may be off."""
    read = design.tables.measuring.temperature
    if read is None:
        return motion.temperature
    low, high = TEMPERATURE_C
    off = THERMOMETER_K * (2.0 * (motion.temperature - low) / (high - low) - 1.0)
    return float(np.clip(read + off, *KNOWN_AIR_C))


def _at(design: Design, temperature: float) -> Design:
    air = design.tables.air.model_copy(update={"temperature": temperature})
    return replace(design, tables=design.tables.model_copy(update={"air": air}))


def build_of(levels: np.ndarray, every: Sequence[Member]) -> np.ndarray:
    """(K, M, P, B) levels of members -> (M,) which build each is of."""
    return np.arange(levels.shape[1]) // len(every[0][1])


def spread_of(levels: np.ndarray) -> np.ndarray:
    """Deviations whose outer products add up to the covariance over the members.

    Parameters
    ----------
    levels : (..., M, P, B) array
        Of cases whose covariances are averaged, in M members each, dB.

    Returns
    -------
    (N, P, B) array
        Errors that all places and bands share, one standard deviation each, dB: as
        `studies.solving.uncertainty.Uncertainty` takes them.
    """
    if not levels.size:
        return np.zeros((0, *levels.shape[-2:]))
    off = levels - levels.mean(axis=-3, keepdims=True)
    cases = int(np.prod(levels.shape[:-3]))
    count = levels.shape[-3]
    return off.reshape(-1, *levels.shape[-2:]) / np.sqrt(cases * max(count - 1, 1))


def range_of(values: np.ndarray) -> np.ndarray:
    """Ends of what `LEVEL` of the members stay within: (M, ...) values -> (2, ...)."""
    return np.quantile(values, (0.5 * (1.0 - LEVEL), 0.5 * (1.0 + LEVEL)), axis=0)


def sure_change(changes: np.ndarray) -> np.ndarray:
    """Change that `LEVEL` of the members show: (M, ...) -> (...), the smaller end; 0 at a zero."""
    return least_change(*range_of(changes))
