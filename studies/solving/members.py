"""What a design file may stand for: drivers and builds that nobody knows any better.

A file says one effective diameter, one cone depth, one frequency where the cone lets go. Nobody
knows them that well, and saw and posts are off by a little. Drawn evenly (Sobol), all of the same
weight. Ranges, evenly filled: common practice, no source.

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
is another right-hand side of the same systems.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dispersion.absorbers import Above
from dispersion.air import Air
from dispersion.sources import ConeWave, LettingGo, Way
from dispersion.walls import ConstantAdmittance
from shapes.assembly import Assembly, Driver
from shapes.parts import DustCap
from shapes.reflectors import ball_cap
from studies.design import Design
from studies.design.fit_table import (
    CAP_HEIGHT,
    CONE_DEPTH,
    CONE_LOSS,
    EFFECTIVE_DIAMETER,
    PROUD_HEIGHT,
    SHRINK_FREQUENCY,
    KnownDriver,
)
from studies.design.tables import DriverTable
from studies.design.walls_table import PIECES

BUILDS, MOTIONS = 8, 3
MEMBERS = BUILDS * MOTIONS
SEED = 3
"""Of the Sobol sequences: the same members in every run."""
DIAMETER, DEPTH, CAP, ADMITTANCE, GAP, KEEP = 0.05, 0.25, 0.5, 0.05, 1e-3, 0.5e-3
MOST_ADMITTANCE, SURE_OCTAVES, SURE_PROUD = 0.1, 0.4, 1e-3
"""Of a cone that was fitted; doubt up to which a fit says that the cone lets go, and where; doubt,
m, up to which it says how far the frame stands out."""
ROUNDED = 2e-3
"""By how much correlations of a file may be off."""
LETS_GO_HZ, WAVE_SPEED, TEMPERATURE_C = (2e3, 16e3), (300.0, 700.0), (10.0, 30.0)


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
    proud : float
        How much farther the frame stands above the baffle, m.
    """

    diameter: float
    depth: float
    cap: float
    admittance: float
    gap: float
    keep: float
    proud: float = 0.0

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
            proud=max(driver.proud + self.proud, 0.0),
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


Member = tuple[Build, tuple[Motion, ...]]
"""What may be built, and the ways in which its cone may move: one member for each."""


def builds(count: int = BUILDS, seed: int = SEED) -> tuple[Build, ...]:
    """Return what may be built."""
    from scipy.stats import qmc

    drawn = qmc.Sobol(6, scramble=True, rng=seed).random(_power_of_two(count))[:count]
    return tuple(
        Build(
            diameter=1.0 + DIAMETER * diameter,
            depth=1.0 + DEPTH * depth,
            cap=1.0 + CAP * cap,
            admittance=0.5 * ADMITTANCE * (1.0 + admittance),
            gap=GAP * gap,
            keep=KEEP * keep,
        )
        for diameter, depth, cap, admittance, gap, keep in (2.0 * drawn - 1.0).tolist()
    )


def motions(per_build: int = MOTIONS, count: int = BUILDS, seed: int = SEED) -> tuple[Motion, ...]:
    """Return how cones may move: so many for each of `count` builds in turn."""
    from scipy.stats import qmc

    every = per_build * count
    drawn = qmc.Sobol(3, scramble=True, rng=seed).random(_power_of_two(every))[:every]
    low, high = LETS_GO_HZ
    found = []
    for n, (along, speed, warm) in enumerate(drawn.tolist()):
        wave = (n + n // count) % 2 == 1
        lets_go = low * (high / low) ** (along * 1.2)
        found.append(
            Motion(
                lets_go_hz=None if wave else lets_go if lets_go < high else math.inf,
                wave_speed=_between(WAVE_SPEED, speed) if wave else None,
                temperature=_between(TEMPERATURE_C, warm),
            )
        )
    return tuple(found)


def members(
    design: Design, count: int = BUILDS, per_build: int = MOTIONS, seed: int = SEED
) -> tuple[Member, ...]:
    """Return what may be built, each with the ways in which its cone may move.

    Where a fit to measurements found sizes of the driver they are what it found, as surely as it
    found it, correlations kept: see `_narrowed`.
    """
    moves = motions(per_build, count, seed)
    every = tuple((build, moves[n::count]) for n, build in enumerate(builds(count, seed)))
    return every if design.known is None else _narrowed(every, design.known, design, seed)


def surely_found(design: Design) -> tuple[str, ...]:
    """Return the sizes of a driver that a fit knows better than the ranges above do.

    The driver's own first, the frequency where it lets go last; none where nobody measured.
    """
    known, own = design.known, 2.0 * design.tables.driver.effective_radius
    if known is None:
        return ()
    doubt = {
        EFFECTIVE_DIAMETER: own * DIAMETER / math.sqrt(3.0),
        PROUD_HEIGHT: SURE_PROUD,
        CONE_DEPTH: design.tables.driver.cone_depth * DEPTH / math.sqrt(3.0),
        CAP_HEIGHT: _cap_height(design.tables.driver) * CAP / math.sqrt(3.0),
        CONE_LOSS: ADMITTANCE / math.sqrt(12.0),
        SHRINK_FREQUENCY: SURE_OCTAVES,
    }
    there = [size for size in doubt if size in known.sizes]
    return tuple(size for size in there if known.deviation_of(size) <= doubt[size])


def _narrowed(
    every: Sequence[Member], known: KnownDriver, design: Design, seed: int
) -> tuple[Member, ...]:
    """Members whose fitted sizes are drawn from what the fit left of the doubt.

    With L the Cholesky factor of the covariance, sizes are found + L z, z independent normal: those
    of the driver are drawn for each build, the frequency where it lets go for each member given
    them; then no cone moves as a wave. What the fit did not find (`surely_found`) stays as drawn.
    """
    order = surely_found(design)
    if not order:
        return tuple(every)
    places = [known.sizes.index(size) for size in order]
    factor = _factor(known.covariance[np.ix_(places, places)])
    drawn = _normal(len(order), len(every) * len(every[0][1]), seed)
    found = []
    for n, (build, moves) in enumerate(every):
        z = drawn[n]
        values = dict(zip(order, (known.found[places] + factor @ z).tolist(), strict=True))
        if SHRINK_FREQUENCY in values:
            given = float(factor[-1, :-1] @ z[:-1])
            moves = tuple(
                _letting(move, known, given + float(factor[-1, -1] * own[-1]))
                for move, own in zip(moves, drawn[n :: len(every)], strict=True)
            )
        found.append((_as_found(build, values, design.tables.driver), moves))
    return tuple(found)


def _factor(covariance: np.ndarray) -> np.ndarray:
    """Lower L with L L^T the covariance, its correlations short of 1 by what rounding takes."""
    deviation = np.sqrt(np.diag(covariance))
    scale = np.where(deviation > 0.0, deviation, 1.0)
    correlation = covariance / np.outer(scale, scale)
    return deviation[:, None] * np.linalg.cholesky(correlation + ROUNDED * np.eye(len(scale)))


def _as_found(build: Build, values: Mapping[str, float], driver: DriverTable) -> Build:
    """A build whose driver has these sizes, SI."""
    if EFFECTIVE_DIAMETER in values:
        build = replace(
            build, diameter=values[EFFECTIVE_DIAMETER] / (2.0 * driver.effective_radius)
        )
    if PROUD_HEIGHT in values:
        build = replace(build, proud=values[PROUD_HEIGHT] - driver.proud)
    if CONE_DEPTH in values:
        build = replace(build, depth=max(values[CONE_DEPTH], 0.0) / driver.cone_depth)
    if CAP_HEIGHT in values:
        build = replace(build, cap=max(values[CAP_HEIGHT], 0.0) / _cap_height(driver))
    if CONE_LOSS in values:
        taken = min(max(values[CONE_LOSS], 0.0), MOST_ADMITTANCE)
        build = replace(build, admittance=taken)
    return build


def _cap_height(driver: DriverTable) -> float:
    return driver.dust_cap.height if driver.dust_cap else 0.0


def _letting(move: Motion, known: KnownDriver, octaves: float) -> Motion:
    hertz = float(known.found[known.sizes.index(SHRINK_FREQUENCY)] * 2.0**octaves)
    return replace(move, lets_go_hz=hertz, wave_speed=None)


def _normal(sizes: int, count: int, seed: int) -> np.ndarray:
    """(count, sizes) standard normal numbers, evenly spread."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    drawn = qmc.Sobol(sizes, scramble=True, rng=seed).random(_power_of_two(count))[:count]
    return np.asarray(ndtri(np.clip(drawn, 1e-6, 1.0 - 1e-6)))


def with_cone(design: Design, build: Build) -> Design:
    """Return a design with a cone that takes so much, unless the file says what it takes."""
    if not design.cone_is_open:
        return design
    takes = Above(design.tables.driver.lets_go_hz, ConstantAdmittance(build.admittance))
    return design.with_absorbers(dict.fromkeys(PIECES["cone"], takes))


def ways_of(design: Design, motion: Motion) -> tuple[Way, ...]:
    """Return the ways of a design whose cone moves so."""
    driver = design.tables.driver
    inner = 0.5 * driver.lets_go.down_to if driver.lets_go else design.assembly().driver.neck_radius
    least = inner or 0.25 * driver.effective_radius
    return tuple(
        motion.way(way, least, design.air) if way.name == "driver" else way for way in design.ways
    )


def _between(ends: tuple[float, float], share: float) -> float:
    return ends[0] + share * (ends[1] - ends[0])


def _power_of_two(count: int) -> int:
    """The least power of two that holds `count`: so many fill every axis evenly."""
    return 1 << (count - 1).bit_length()
