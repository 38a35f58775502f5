"""Simple diffraction: the sound of a column as a sum of paths, in milliseconds a frequency.

The driver is a piston in the baffle whose rings sound, and send back, as much later as they lie
deeper. It lights reflector and plate (Rayleigh's integral); these light the baffle, the baffle
lights them again, each time with twice the incident pressure where a straight line along the
meridian arrives, and every lit surface radiates as in `dispersion.paths.kirchhoff`. Each bounce
is a path of its own. Surfaces end where they end, so every path carries Kirchhoff's own boundary
waves. At the baffle's rim, for the sound straight from the driver, they are exchanged for the
wave of a rigid wedge of 270 degrees: an integral along the rim, exact for a straight edge
(Svensson, Fred & Vanderkooy, J. Acoust. Soc. Am. 106, 2331 (1999)).

What is left out: resonance inside the cone, the frame above the baffle, the column's foot, creeping
round bodies, and the exact edge waves of plate and reflector.
"""

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass, replace
from itertools import pairwise

import numpy as np
from threadpoolctl import threadpool_limits

from dispersion.coverage import mean_square
from dispersion.paths.kirchhoff import (
    Complex,
    Real,
    Rings,
    cut_rings,
    far_kernels,
    near_kernels,
    piston_plane_pressure,
    visible,
)
from dispersion.paths.rims import ON_THE_BOUNDARY, EdgesError, RimWave, far_rim, near_rim
from dispersion.problem import Problem
from dispersion.response import Response
from dispersion.sources import Way
from shapes.assembly import Assembly, DrivenWay
from shapes.gaps import highest_at
from shapes.meridian import Line

Progress = Callable[[int], None]
Sent = tuple[Complex, Complex]
"""Far and near field."""

CHORD_ERROR = 5e-5
"""Polyline on which shadows are looked for, metres."""
COLUMN_WEDGE = 1.5 * np.pi
"""Angle of air around the rim of the baffle, radians."""


@dataclass(frozen=True)
class EdgeSettings:
    """How simple diffraction is computed.

    Attributes
    ----------
    rounds : int
        How often the sound goes up to reflector and plate, and down to the baffle again.
    rings_per_wavelength : float
    baffle_rim : bool
        Whether the baffle's rim is a wedge instead of the end of Kirchhoff's integral.
    """

    rounds: int = 3
    rings_per_wavelength: float = 8.0
    baffle_rim: bool = True

    def __post_init__(self) -> None:
        """Refuse numbers that leave nothing to compute."""
        if self.rounds < 0:
            raise EdgesError(f"rounds {self.rounds}: give 0 (no bounce) or more")
        if not self.rings_per_wavelength >= 2.0:
            raise EdgesError(f"{self.rings_per_wavelength:g} rings a wavelength: give 2 or more")


DEFAULT_SETTINGS = EdgeSettings()


@dataclass(frozen=True)
class PathShare:
    """What one path brings to one place at one frequency.

    Attributes
    ----------
    name : str
    amplitude : float
        Pressure relative to 0 dB.
    delay_s : float
        After the sound straight from the way, seconds; group delay over a third of an octave.
    phase_deg : float
        Relative to the sum of all paths, -180 to 180; positive is later in time.
    opposite : bool
        More than 120 degrees away from the sum of all other paths.
    """

    name: str
    amplitude: float
    delay_s: float
    phase_deg: float
    opposite: bool


# --- Edges ---------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Scene:
    """Rings, shadows and rim of an assembly, fine enough for all frequencies up to one."""

    baffle: Rings
    upper: Rings | None
    lit: np.ndarray
    is_plate: np.ndarray
    radius: float
    far_rim: RimWave | None
    near_rim: RimWave | None
    depth: tuple[Real, Real]
    inner: dict[str, float]

    def depth_at(self, r: Real) -> Real:
        """How far the driver's surface lies below the baffle, metres."""
        return np.interp(r, *self.depth)

    @property
    def size(self) -> int:
        """Number of rings."""
        return len(self.baffle) + (0 if self.upper is None else len(self.upper))


@dataclass(frozen=True, eq=False)
class _Paths:
    """Every path of one way at one frequency."""

    names: tuple[str, ...]
    far: Complex
    near: Complex
    driven: float


def solve_edges(
    problem: Problem,
    settings: EdgeSettings = DEFAULT_SETTINGS,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Response:
    """Simple diffraction: Kirchhoff bounce by bounce, with the wedge at the baffle's rim.

    Parameters
    ----------
    problem : Problem
        Points should lie outside the assembly, some centimetres from it.
    settings : EdgeSettings
    workers : int, optional
        Threads; as many as there are processors when left out.
    progress : callable, optional
        Called with 1 for every frequency done.

    Returns
    -------
    Response
        Its power balance is no numerical error: it tells how far the approximation is from
        keeping the energy.

    Raises
    ------
    EdgesError
        If the reflector reaches below the baffle.
    ValueError
        If the problem has a floor.
    """
    problem.require_free_air("edges")
    frequencies = np.asarray(problem.frequencies, dtype=float)
    # Rounded up to thirds of octaves: frequencies which share a scene.
    tops = 2.0 ** (np.ceil(3.0 * np.log2(frequencies)) / 3.0)

    def one(f: float, scene: _Scene) -> tuple[Complex, Complex, Real, int]:
        ways = _all_ways(problem, scene, f, settings)
        if progress is not None:
            progress(1)
        far = np.array([paths.far.sum(axis=0) for paths in ways])
        near = np.array([paths.near.sum(axis=0) for paths in ways])
        return far, near, np.array([paths.driven for paths in ways]), scene.size

    # The matrices are small: threads of the linear algebra would only stand in each other's way.
    with threadpool_limits(limits=1), ThreadPoolExecutor(workers or os.cpu_count()) as pool:
        shared = np.unique(tops)
        made = pool.map(lambda top: _scene(problem, top, settings), shared)
        scenes = dict(zip(shared, made, strict=True))
        results = list(pool.map(one, frequencies, [scenes[top] for top in tops]))
    fars, nears, driven, unknowns = zip(*results, strict=True)
    far = np.stack(fars, axis=1)
    return Response(
        problem,
        "edges",
        asdict(settings),
        far,
        np.stack(nears, axis=1),
        _power_error(far, np.stack(driven, axis=1), problem.elevations),
        np.array(unknowns),
        f"Kirchhoff, {settings.rounds} rounds of bounces; no power balance holds for it",
    )


def explain(
    problem: Problem,
    frequency: float,
    elevation: float,
    settings: EdgeSettings = DEFAULT_SETTINGS,
) -> tuple[PathShare, ...]:
    """Which paths meet far away at one elevation, and how.

    Parameters
    ----------
    problem : Problem
        Its own frequencies and elevations are not used.
    frequency : float
        Hz.
    elevation : float
        Degrees.

    Returns
    -------
    tuple of PathShare
        In the order of their bounces. Delays count from the first.
    """
    # A third of an octave, in pairs close enough for no turn of phase to be missed.
    around = frequency * 2.0 ** (np.arange(-3.0, 4.0) / 18.0)
    step = min(0.01 * frequency, 10.0)
    here = replace(problem, elevations=np.array([elevation]), points=np.empty((0, 2)))
    scene = _scene(here, float(around[-1] + step), settings)

    def at(f: float) -> tuple[tuple[str, ...], Complex]:
        ways = _all_ways(here, scene, f, settings)
        gains = [way.transfer(f) for way in problem.ways]
        names = tuple(name for paths in ways for name in paths.names)
        return names, np.concatenate(
            [gain * paths.far[:, 0] for gain, paths in zip(gains, ways, strict=True)]
        )

    names, shares = at(frequency)
    later = np.array([at(f + step)[1] * np.conj(at(f - step)[1]) for f in around])
    delays = np.angle(later.sum(axis=0)) / (4.0 * np.pi * step)
    return tuple(
        _share(name, share, delay - delays[0], shares.sum())
        for name, share, delay in zip(names, shares, delays, strict=True)
    )


def sentence(shares: Sequence[PathShare], frequency: float | None = None) -> str:
    """What the paths do, in one sentence: which one works against the others.

    Parameters
    ----------
    shares : sequence of PathShare
        From `explain`.
    frequency : float, optional
        Hz; named first if given.
    """
    head = "" if frequency is None else f"{_hertz(frequency)}: "
    strongest = max(shares, key=lambda share: share.amplitude)
    against = [s for s in shares if s.opposite and s is not strongest]
    against = [s for s in against if s.amplitude > 0.1 * strongest.amplitude]
    if not against:
        return f"{head}'{strongest.name}' leads, and nothing strong works against it"
    worst = max(against, key=lambda share: share.amplitude)
    apart = (worst.delay_s - strongest.delay_s) * 1e3
    when = "late" if apart >= 0.0 else "early"
    below = 20.0 * np.log10(strongest.amplitude / worst.amplitude)
    return (
        f"{head}'{worst.name}' arrives {abs(apart):.2f} ms {when}, {below:.1f} dB below "
        f"'{strongest.name}' and opposite in phase"
    )


def _hertz(frequency: float) -> str:
    return f"{frequency:.0f} Hz" if frequency < 1000.0 else f"{frequency / 1000.0:.3g} kHz"


def _share(name: str, share: complex, delay: float, total: complex) -> PathShare:
    others = total - share
    against = np.cos(np.angle(share * np.conj(others))) < np.cos(np.radians(120.0))
    phase = float(np.degrees(np.angle(share * np.conj(total))))
    return PathShare(name, float(abs(share)), float(delay), phase, bool(against and others != 0.0))


def _scene(problem: Problem, top: float, settings: EdgeSettings) -> _Scene:
    assembly, top_k = problem.assembly, 2.0 * np.pi * top / problem.air.speed
    radius = assembly.column.radius
    step = min(2.0 * np.pi / top_k / settings.rings_per_wavelength, radius / 16.0)
    upper = None
    if assembly.upper is not None:
        step = min(step, _step_in_the_gap(assembly))
        upper = cut_rings(assembly.upper.pieces, step)
    stops = sorted({radius, *(way.effective_radius for way in assembly.ways), 0.0}, reverse=True)
    flat = [Line((a, 0.0), (b, 0.0), "baffle") for a, b in pairwise(stops)]
    baffle = cut_rings(flat, step)
    far = near = None
    if settings.baffle_rim:
        far = far_rim(radius, COLUMN_WEDGE, 0.0, problem.elevations, top_k)
        near = near_rim(radius, COLUMN_WEDGE, 0.0, problem.points, top_k)
    inner = {
        way.name: min(min(p.start[0], p.end[0]) for p in assembly.lower.of_parts(*way.parts))
        for way in assembly.ways
    }
    rest = (radius, far, near, _depth(assembly), inner)
    if upper is None:
        return _Scene(baffle, None, np.empty(0), np.empty(0), *rest)
    upper, lit = _only_lit(upper, baffle, assembly)
    return _Scene(baffle, upper, lit, upper.part != "reflector", *rest)


def _step_in_the_gap(assembly: Assembly) -> float:
    """Rings must be closer to one another than the surfaces are."""
    lowest = float(assembly.upper_line[:, 1].min())
    if lowest <= 0.0:
        raise EdgesError(
            "simple diffraction lets the sound start at the baffle's face, and the reflector "
            f"reaches {-lowest * 1e3:.1f} mm below it: use the wave solver, or a larger gap"
        )
    return max(0.5 * lowest, assembly.column.radius / 200.0)


def _depth(assembly: Assembly) -> tuple[Real, Real]:
    """Radii and depths of the driver's surface below the baffle, none beside the driver."""
    rim = assembly.driver.effective_radius
    r = np.linspace(0.0, rim, 400)
    depth = -highest_at(assembly.lower_line, r * (1.0 - 1e-6) + 1e-9)
    return np.append(r, rim * (1.0 + 1e-6)), np.append(depth, 0.0)


def _only_lit(upper: Rings, baffle: Rings, assembly: Assembly) -> tuple[Rings, np.ndarray]:
    """Leave out the rings of the upper body that see nothing of the baffle."""
    line = assembly.hung_body.sample(CHORD_ERROR)
    lit = visible(upper, baffle, line, CHORD_ERROR)
    seen = np.any(lit, axis=1)
    return upper.only(seen), lit[seen].astype(float)


def _all_ways(
    problem: Problem, scene: _Scene, frequency: float, settings: EdgeSettings
) -> list[_Paths]:
    """All paths of all ways; what does not depend on the way is computed once."""
    k = 2.0 * np.pi * frequency / problem.air.speed
    baffle, upper = scene.baffle, scene.upper
    radiate = _Radiation(baffle, k, problem)
    ways = [
        _Way(built, way, frequency, k, scene)
        for built, way in zip(problem.assembly.ways, problem.ways, strict=True)
    ]
    if upper is None:
        return [_straight(way, scene, radiate, k) for way in ways]
    above = _Radiation(upper, k, problem)
    light = near_kernels(baffle, k, np.column_stack([upper.r, upper.z]))
    up, rayleigh = (2.0 * scene.lit * kernel for kernel in light)
    down = near_kernels(upper, k, np.column_stack([baffle.r, baffle.z]))[0]
    down *= 2.0 * scene.lit.T
    split = np.stack([~scene.is_plate, scene.is_plate], axis=1)
    # What falls on the cone comes back from its depth.
    echo = np.exp(2j * k * scene.depth_at(baffle.r))[:, None]
    all_paths = []
    for way in ways:
        paths = _straight(way, scene, radiate, k)
        waves, on_driver = [], way.pressure
        # On the first way up the endless baffle doubles the piston.
        on_upper = split * (2.0 * rayleigh @ way.motion)[:, None]
        for _ in range(settings.rounds):
            on_baffle = echo * (down @ on_upper)
            waves.append((above.of(on_upper), radiate.of(on_baffle)))
            on_driver = on_driver + on_baffle.sum(axis=1)
            on_upper = split * (up @ on_baffle.sum(axis=1))[:, None]
        all_paths.append(_with_bounces(paths, waves, way.driven_power(on_driver, k)))
    return all_paths


def _with_bounces(paths: _Paths, waves: list[tuple[Sent, Sent]], driven: float) -> _Paths:
    names, fars, nears = list(paths.names), [paths.far], [paths.near]
    for count, ((up_far, up_near), (down_far, down_near)) in enumerate(waves):
        again = "" if count == 0 else f", time {count + 1}"
        names += [f"off the reflector{again}", f"off the plate{again}"]
        names += [f"reflector then baffle{again}", f"plate then baffle{again}"]
        fars += [up_far.T, down_far.T]
        nears += [up_near.T, down_near.T]
    far, near = np.concatenate(fars), np.concatenate(nears)
    # A part that is not there has no path.
    there = np.array([np.any(row != 0.0) for row in far])
    kept = tuple(name for name, is_there in zip(names, there, strict=True) if is_there)
    return _Paths(kept, far[there], near[there], driven)


class _Radiation:
    """Far and near field of a surface, relative to 0 dB."""

    def __init__(self, rings: Rings, k: float, problem: Problem) -> None:
        distance = np.hypot(*problem.points.T)
        self.scale = (distance * np.exp(-1j * k * distance))[:, None]
        self.far, self.far_motion = far_kernels(rings, k, problem.elevations)
        near, near_motion = near_kernels(rings, k, problem.points)
        self.near, self.near_motion = self.scale * near, self.scale * near_motion

    def of(self, pressure: Complex, motion: Real | None = None) -> Sent:
        """Fields of a pressure, and of -dp/dn where something moves, on the rings."""
        far, near = self.far @ pressure, self.near @ pressure
        if motion is None:
            return far, near
        return far + self.far_motion @ motion, near + self.near_motion @ motion


class _Way:
    """Motion of a way and the pressure on the baffle around it, at one frequency.

    Scaled to 0 dB: the piston's rho A / (2 pi) is 1, so -dp/dn over its area comes to 2 pi.
    What moves at a depth reaches the baffle's plane that much later.
    """

    def __init__(self, built: DrivenWay, way: Way, f: float, k: float, scene: _Scene) -> None:
        radius, lets_go, baffle = built.effective_radius, way.lets_go, scene.baffle
        inner = scene.inner[built.name]

        def share(r: Real) -> Real:
            return np.ones_like(r) if lets_go is None else lets_go.weight(r, f, radius)

        def weight(r: Real) -> Complex:
            return share(r) * np.exp(1j * k * scene.depth_at(r))

        self.name = built.name
        self.area = baffle.area
        moves = (baffle.r > inner) & (baffle.r < radius)
        scale = 2.0 * np.pi / (np.where(moves, share(baffle.r), 0.0) @ baffle.area)
        self.motion = scale * np.where(moves, weight(baffle.r), 0.0)
        rim = np.append(baffle.r, baffle.r.max() + baffle.length.min())
        pressure = piston_plane_pressure(k, rim, radius, weight)
        if inner > 0.0:
            pressure -= piston_plane_pressure(k, rim, inner, weight)
        self.pressure, self.at_rim = scale * pressure[:-1], scale * pressure[-1]

    def driven_power(self, pressure: Complex, k: float) -> float:
        """Power into the air times 2 rho c: Re int p conj(v) dS with v = dp/dn / (ik)."""
        return float((self.area @ (pressure * np.conj(1j * self.motion / k))).real)


def _straight(way: _Way, scene: _Scene, radiate: _Radiation, k: float) -> _Paths:
    """Sound that meets the baffle's rim at most."""
    names = [f"{way.name} straight out"]
    far, near = radiate.of(way.pressure, way.motion)
    fars, nears = [far], [near]
    if scene.far_rim is not None and scene.near_rim is not None:
        # A point source in the middle, exact less Kirchhoff, as strong at the rim as the piston.
        b, r = scene.radius, scene.baffle.r
        disc_far, disc_near = radiate.of(np.exp(1j * k * r) / r)
        at_rim = way.at_rim * b * np.exp(-1j * k * b)
        scale = radiate.scale[:, 0]
        names.append("baffle rim")
        fars.append(at_rim * (_less_half(scene.far_rim) + 0.5 * scene.far_rim.at(k) - disc_far))
        exact = 0.5 * scale * scene.near_rim.at(k)
        nears.append(at_rim * (_less_half(scene.near_rim) + exact - disc_near))
    driven = way.driven_power(way.pressure, k)
    return _Paths(tuple(names), np.array(fars), np.array(nears), driven)


def _less_half(rim: RimWave) -> Real:
    """A baffled point source's light, 1 above the baffle, less the half that is its own."""
    return 0.5 * np.sign(np.where(np.abs(rim.elevation) < ON_THE_BOUNDARY, 0.0, rim.elevation))


def _power_error(far: Complex, driven: Real, elevations: Real) -> Real:
    radiated = 4.0 * np.pi * mean_square(np.abs(far) ** 2, elevations)
    # Bounces can add up to a driver that takes power in: then nothing is kept.
    ratio = np.divide(radiated, driven, out=np.full(driven.shape, np.inf), where=driven > 0.0)
    return 10.0 * np.log10(ratio)
