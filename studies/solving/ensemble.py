"""Whatever you do not know: drivers and builds that the design file may stand for.

A file says one effective diameter, one cone depth, one frequency where the cone lets go. Nobody
knows them that well, and saw and posts are off by a little. `MEMBERS` designs are drawn evenly
(Sobol) from what is possible, all of the same weight; each candidate is scored in every one. Its
regret in a member is how much worse it is than the best candidate there; the one to choose has the
least regret that 90 per cent of the members stay within (`Judged`).

Ranges, evenly filled: common practice, no source.

    ====================  ==========================================================
    effective diameter    5 per cent either way
    depth of the cone     25 per cent either way
    height of the dust cap  50 per cent either way
    cone's admittance     0 to 0.05 of that of air, above where it lets go
    plate gap             1 mm either way
    keep of a ball        0.5 mm either way
    how the cone moves    half lets go, from 2 kHz to 16 kHz (from there on it is rigid), evenly in
                          octaves; half a wave that runs outwards at 300 to 700 m/s
    temperature           10 to 30 degrees C
    ====================  ==========================================================

What is built differs in `BUILDS` ways; the members of one build differ in how the cone moves, which
is another right-hand side of the same systems, and in temperature, which scales all frequencies
alike: a solve at 20 degrees is one at another frequency, with cone speed and letting go scaled
too. What temperature does to the scores is only that; what it does to levels at a place in fixed
bands is more (`roundcast tolerance`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np

from dispersion.absorbers import Above
from dispersion.air import Air
from dispersion.sources import ConeWave, LettingGo, Way
from dispersion.walls import ConstantAdmittance
from shapes.assembly import Assembly, Driver
from shapes.parts import DustCap
from shapes.reflectors import ball_cap
from studies.design import Design
from studies.design.walls_table import PIECES
from studies.solving.candidates import Candidate, Row, winner_of
from studies.solving.grid import COARSE_BY_NEED, ByNeed, Fineness, Progress, Solver, run
from studies.solving.verdicts import Lead, compared_over

BUILDS, MOTIONS = 8, 3
MEMBERS = BUILDS * MOTIONS
SEED = 3
"""Of the Sobol sequences: the same members in every run."""
DIAMETER, DEPTH, CAP, ADMITTANCE, GAP, KEEP = 0.05, 0.25, 0.5, 0.05, 1e-3, 0.5e-3
LETS_GO_HZ, WAVE_SPEED, TEMPERATURE_C = (2e3, 16e3), (300.0, 700.0), (10.0, 30.0)
LEVEL = 0.9
"""Share of the members within the regret that counts."""
MOST_JUDGED = 6
"""Candidates that are asked of every driver and build, the best of this file and those that are
asked for in any case not counted."""
MAY_LEAD_DB = 1.0
"""Candidates within this score of the best may have less to regret: common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Build:
    """What may be built otherwise than the file says.

    Attributes
    ----------
    diameter, depth, cap : float
        Effective diameter, cone depth and height of the dust cap over what the file says.
    admittance : float
        Of the cone over that of air, where it no longer moves as one.
    gap, keep : float
        How far plate gap and keep are off, m.
    """

    diameter: float
    depth: float
    cap: float
    admittance: float
    gap: float
    keep: float

    def driver(self, driver: Driver) -> Driver:
        """Return a driver as it may be; never wider than its frame."""
        centre = driver.centre
        if isinstance(centre, DustCap):
            centre = replace(centre, height=centre.height * self.cap)
        inside = 0.0 if centre is None else 1.01 * centre.radius
        radius = min(driver.effective_radius * self.diameter, driver.frame_radius)
        return replace(
            driver,
            effective_radius=max(radius, inside),
            cone_depth=driver.cone_depth * self.depth,
            centre=centre,
        )

    def of(self, assembly: Assembly) -> Assembly:
        """Return an assembly as it may be built; ValueError if it cannot."""
        built = replace(assembly, driver=self.driver(assembly.driver))
        built = built.with_gap(assembly.plate_gap + self.gap)
        reflector = assembly.reflector
        if reflector is None or reflector.kind != "ball cap":
            return built
        ball, keep = (reflector.fact(name) for name in ("ball diameter", "keep"))
        return built.with_reflector(ball_cap(ball, keep + self.keep))


@dataclass(frozen=True, kw_only=True)
class Motion:
    """How a cone may move, and how warm it is.

    Attributes
    ----------
    lets_go_hz : float or None
        From where on less and less of it moves; infinite for a rigid one; None for a wave.
    wave_speed : float or None
        Of a wave that runs outwards in it, m/s.
    temperature : float
        Of the air, degrees C.
    """

    lets_go_hz: float | None
    wave_speed: float | None
    temperature: float

    def way(self, way: Way, least_radius: float, air: Air) -> Way:
        """Return the driver's way that moves so, in air of another temperature.

        What scales with frequency is scaled by the ratio of the speeds of sound.
        """
        scale = air.speed / replace(air, temperature_c=self.temperature).speed
        if self.wave_speed is not None:
            return replace(way, lets_go=ConeWave(self.wave_speed * scale, least_radius))
        if self.lets_go_hz is None or math.isinf(self.lets_go_hz):
            return replace(way, lets_go=None)
        return replace(way, lets_go=LettingGo(self.lets_go_hz * scale, least_radius))


@dataclass(frozen=True, eq=False, kw_only=True)
class Judged:
    """Candidates scored in every member of the ensemble.

    Attributes
    ----------
    rows : tuple of Row
        The candidates as the file has them.
    scores : (N, M) array
        Score of each in each member, dB; infinite where it cannot be built.
    levels_db : (N, M, B) array
        Window level of each in each third octave, dB re 0 dB; nan where it cannot be built.
    """

    rows: tuple[Row, ...]
    scores: np.ndarray
    levels_db: np.ndarray

    @cached_property
    def regrets(self) -> np.ndarray:
        """(N, M) how much worse than the best candidate of each member, dB."""
        best = self.scores.min(axis=0)
        known = np.isfinite(best)
        return self.scores[:, known] - best[known]

    @cached_property
    def mean(self) -> np.ndarray:
        """(N,) mean score over the members, dB."""
        return self.scores.mean(axis=1)

    @cached_property
    def regret(self) -> np.ndarray:
        """(N,) regret that `LEVEL` of the members stay within, dB."""
        return np.quantile(self.regrets, LEVEL, axis=1, method="higher")

    @property
    def least(self) -> Row:
        """The candidate of least regret."""
        return self.rows[int(np.argmin(self.regret))]

    def knows(self, row: Row) -> bool:
        """Return whether a row is among the candidates."""
        return any(row is one for one in self.rows)

    def regret_of(self, row: Row) -> float:
        """Return the regret of a candidate, dB."""
        return float(self.regret[self._place(row)])

    def mean_of(self, row: Row) -> float:
        """Return the mean score of a candidate, dB."""
        return float(self.mean[self._place(row)])

    def compare(self, first: Row, second: Row) -> Lead:
        """Compare two candidates over all members."""
        with np.errstate(invalid="ignore"):
            leads = self.scores[self._place(second)] - self.scores[self._place(first)]
        return compared_over(leads)

    def change_range_db(self, first: Row, second: Row) -> np.ndarray:
        """Ends of what `LEVEL` of the members stay within: level of the second less the first.

        Returns
        -------
        (2, B) array
            Lowest and highest change of the window level, dB; nan where no member can build both.
        """
        change = self.levels_db[self._place(second)] - self.levels_db[self._place(first)]
        change = change[np.isfinite(change).all(axis=1)]
        if not len(change):
            return np.full((2, self.levels_db.shape[2]), np.nan)
        return np.quantile(change, (0.5 * (1.0 - LEVEL), 0.5 * (1.0 + LEVEL)), axis=0)

    def joined(self, other: Judged | None) -> Judged:
        """Return the candidates of both, judged by the same members."""
        if other is None:
            return self
        return Judged(
            rows=(*self.rows, *other.rows),
            scores=np.concatenate((self.scores, other.scores)),
            levels_db=np.concatenate((self.levels_db, other.levels_db)),
        )

    def _place(self, row: Row) -> int:
        return next(place for place, one in enumerate(self.rows) if one is row)


def builds() -> tuple[Build, ...]:
    """Return what may be built, `BUILDS` of them."""
    from scipy.stats import qmc

    drawn = 2.0 * qmc.Sobol(6, scramble=True, rng=SEED).random(BUILDS) - 1.0
    return tuple(
        Build(
            diameter=1.0 + DIAMETER * diameter,
            depth=1.0 + DEPTH * depth,
            cap=1.0 + CAP * cap,
            admittance=0.5 * ADMITTANCE * (1.0 + admittance),
            gap=GAP * gap,
            keep=KEEP * keep,
        )
        for diameter, depth, cap, admittance, gap, keep in drawn.tolist()
    )


def motions() -> tuple[Motion, ...]:
    """Return how cones may move, `MEMBERS` of them: `MOTIONS` for each build in turn."""
    from scipy.stats import qmc

    drawn = qmc.Sobol(3, scramble=True, rng=SEED).random(32)[:MEMBERS]
    low, high = LETS_GO_HZ
    found = []
    for n, (along, speed, warm) in enumerate(drawn.tolist()):
        wave = (n + n // BUILDS) % 2 == 1
        lets_go = low * (high / low) ** (along * 1.2)
        found.append(
            Motion(
                lets_go_hz=None if wave else lets_go if lets_go < high else math.inf,
                wave_speed=_between(WAVE_SPEED, speed) if wave else None,
                temperature=_between(TEMPERATURE_C, warm),
            )
        )
    return tuple(found)


def _between(ends: tuple[float, float], share: float) -> float:
    return ends[0] + share * (ends[1] - ends[0])


def may_lead(rows: Sequence[Row], always: Sequence[Row] = (), most: int = MOST_JUDGED) -> list[Row]:
    """Return the rows that may have the least regret, each once: few, evenly over their sizes.

    Parameters
    ----------
    rows : sequence of Row
        In the order of what differs, one of them solved at least.
    always : sequence of Row
        Asked whatever they score, such as what the file has; those that were solved.
    most : int
        How many besides these and the best.

    Raises
    ------
    NotSolvedError
        If no row was solved.
    """
    best = winner_of(rows)
    near = [row for row in rows if row.score <= best.score + MAY_LEAD_DB]
    places = np.round(np.linspace(0, len(near) - 1, min(most, len(near)))).astype(int)
    chosen = [best, *always, *(near[place] for place in places)]
    return list({id(row): row for row in chosen if row.solved}.values())


def judge(
    design: Design,
    rows: Sequence[Row],
    solver: Solver,
    fineness: Fineness = COARSE_BY_NEED,
    progress: Progress | None = None,
) -> Judged | None:
    """Score candidates in every member of the ensemble.

    Parameters
    ----------
    design : Design
    rows : sequence of Row
        Those that were not solved are passed over.
    solver : callable
        The wave solver.
    fineness : int or ByNeed
    progress : callable, optional
        Called with (stage, done, total) solves of one frequency.

    Returns
    -------
    Judged or None
        None for quick methods, whose own errors are larger, and where no row was solved.
    """
    solved = tuple(row for row in rows if row.solved)
    if not solved or any(row.response.method != "waves" for row in solved):
        return None
    fine = COARSE_BY_NEED if isinstance(fineness, ByNeed) else fineness
    moves = motions()
    members = [
        member
        for n, build in enumerate(builds())
        for member in _members(design, solved, build, moves[n::BUILDS], solver, fine, progress)
    ]
    scores = np.array([[row.score for row in member] for member in members]).T
    unknown = np.full(len(solved[0].coverage.centres), np.nan)
    levels = [
        [row.coverage.window_level_db if row.solved else unknown for row in member]
        for member in members
    ]
    return Judged(rows=solved, scores=scores, levels_db=np.swapaxes(levels, 0, 1))


def _members(
    design: Design,
    rows: Sequence[Row],
    build: Build,
    moves: Sequence[Motion],
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None,
) -> list[tuple[Row, ...]]:
    """All rows in one build, motion by motion; the first motion chooses the frequencies."""
    there = _with_cone(design, build)
    ways = [_ways(there, move) for move in moves]
    candidates = [Candidate(row.name, partial(build.of, row.assembly)) for row in rows]
    started: dict[Assembly, np.ndarray] = {}
    members = []
    for n, own in enumerate(ways):
        together = partial(solver, also=ways[n + 1 :]) if ways[n + 1 :] else solver
        moved = replace(there, ways=own)
        stage = "whatever you do not know"
        found = run(moved, candidates, together, fineness, stage, progress, started=started)
        for row in found:
            if row.solved:
                started.setdefault(row.assembly, row.response.solved_frequencies)
        members.append(found)
    return members


def _with_cone(design: Design, build: Build) -> Design:
    """The design with a cone that takes so much, unless the file says what it takes."""
    known = {label for label, _ in design.walls.absorbers}
    if design.walls.rigid or known & set(PIECES["cone"]):
        return design
    takes = Above(design.tables.driver.lets_go_hz, ConstantAdmittance(build.admittance))
    return design.with_absorbers(dict.fromkeys(PIECES["cone"], takes))


def _ways(design: Design, motion: Motion) -> tuple[Way, ...]:
    driver = design.tables.driver
    inner = 0.5 * driver.lets_go.down_to if driver.lets_go else design.assembly().driver.neck_radius
    least = inner or 0.25 * driver.effective_radius
    return tuple(
        motion.way(way, least, design.air) if way.name == "driver" else way for way in design.ways
    )
