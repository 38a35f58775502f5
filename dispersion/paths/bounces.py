"""All paths from a way to its listeners at one frequency, lit surface by lit surface.

The driver is a piston in the baffle whose rings sound, and send back, as much later as they lie
deeper. It lights reflector and plate (Rayleigh's integral); these light the baffle, the baffle
lights them again, each time with twice the incident pressure where a straight line along the
meridian arrives, and every lit surface radiates as in `dispersion.paths.kirchhoff`. Each bounce
is a path of its own. Surfaces end where they end, so every path carries Kirchhoff's own boundary
waves. At the baffle's rim, for the sound straight from the driver, they are exchanged for the
wave of a rigid wedge of 270 degrees: an integral along the rim, exact for a straight edge
(Svensson, Fred & Vanderkooy, J. Acoust. Soc. Am. 106, 2331 (1999)).
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

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
from dispersion.sources import Way
from shapes.assembly import Assembly, DrivenWay
from shapes.gaps import highest_at
from shapes.meridian import Line

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


@dataclass(frozen=True, eq=False, kw_only=True)
class RingScene:
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
class WayPaths:
    """Every path of one way at one frequency."""

    names: tuple[str, ...]
    far: Complex
    near: Complex
    driven: float


def ring_scene(problem: Problem, top: float, settings: EdgeSettings) -> RingScene:
    """Cut an assembly into rings, for frequencies up to `top` Hz; EdgesError if it cannot be."""
    assembly, top_k = problem.assembly, 2.0 * np.pi * top / problem.air.speed
    radius = assembly.column.face.radius
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
    lit, is_plate = np.empty(0), np.empty(0)
    if upper is not None:
        upper, lit = _only_lit(upper, baffle, assembly)
        is_plate = upper.part != "reflector"
    return RingScene(
        baffle=baffle,
        upper=upper,
        lit=lit,
        is_plate=is_plate,
        radius=radius,
        far_rim=far,
        near_rim=near,
        depth=_depth(assembly),
        inner=inner,
    )


def _step_in_the_gap(assembly: Assembly) -> float:
    """Rings must be closer to one another than the surfaces are."""
    lowest = float(assembly.upper_line[:, 1].min())
    if lowest <= 0.0:
        raise EdgesError(
            "simple diffraction lets the sound start at the baffle's face, and the reflector "
            f"reaches {-lowest * 1e3:.1f} mm below it: use the wave solver, or a larger gap"
        )
    return max(0.5 * lowest, assembly.column.face.radius / 200.0)


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


def all_ways(
    problem: Problem, scene: RingScene, frequency: float, settings: EdgeSettings
) -> list[WayPaths]:
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


def _with_bounces(paths: WayPaths, waves: list[tuple[Sent, Sent]], driven: float) -> WayPaths:
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
    return WayPaths(kept, far[there], near[there], driven)


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

    def __init__(self, built: DrivenWay, way: Way, f: float, k: float, scene: RingScene) -> None:
        radius, lets_go, baffle = built.effective_radius, way.lets_go, scene.baffle
        inner = scene.inner[built.name]

        def share(r: Real) -> Real | Complex:
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


def _straight(way: _Way, scene: RingScene, radiate: _Radiation, k: float) -> WayPaths:
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
    return WayPaths(tuple(names), np.array(fars), np.array(nears), driven)


def _less_half(rim: RimWave) -> Real:
    """A baffled point source's light, 1 above the baffle, less the half that is its own."""
    return 0.5 * np.sign(np.where(np.abs(rim.elevation) < ON_THE_BOUNDARY, 0.0, rim.elevation))
