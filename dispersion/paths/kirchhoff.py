"""Kirchhoff's approximation (physical optics) on rings: surfaces, what lights them, what they send.

A surface of revolution is cut into rings at Gauss points of its meridian. A rigid surface in full
light carries twice the incident pressure; what it sends on is the dipole integral over it,
p(x) = int p dG/dn' dS', the shadow behind it included. Azimuth is Bessel functions far away, and
the trapezoid rule, which converges exponentially, where two rings meet.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields
from typing import Self

import numpy as np
from numba import njit
from numpy.typing import NDArray

from shapes.meridian import Piece

PANEL = 6
"""Gauss points of one panel of the meridian."""

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
Weight = Callable[[Real], Real | Complex]


@dataclass(frozen=True, eq=False, kw_only=True)
class Rings:
    """Gauss points of meridians.

    Attributes
    ----------
    r, z, normal_r, normal_z : (N,) array
        Place in metres and normal into the air.
    length : (N,) array
        Share of the meridian's length, metres.
    part : (N,) array of str
        Label of the piece.
    """

    r: Real
    z: Real
    normal_r: Real
    normal_z: Real
    length: Real
    part: NDArray[np.str_]

    @property
    def area(self) -> Real:
        """Area of each ring, square metres."""
        return 2.0 * np.pi * self.r * self.length

    def only(self, kept: NDArray[np.bool_]) -> Self:
        """Return the rings chosen by `kept`, (N,)."""
        return type(self)(**{each.name: getattr(self, each.name)[kept] for each in fields(self)})

    def __len__(self) -> int:
        """Number of rings."""
        return len(self.r)


def cut_rings(pieces: Iterable[Piece], step: float) -> Rings:
    """Cut pieces of a meridian into rings at Gauss points.

    Parameters
    ----------
    pieces : iterable of Piece
        Walked with the air on the right.
    step : float
        Mean distance between rings at most, metres.
    """
    nodes, weights = np.polynomial.legendre.leggauss(PANEL)
    columns: list[list[Real]] = []
    parts: list[str] = []
    for piece in pieces:
        inner = max(1, math.ceil(piece.length / (PANEL * step * (len(piece.breaks) - 1))))
        stops = np.unique(np.concatenate([_between(piece.breaks, inner), [1.0]]))
        half = 0.5 * np.diff(stops)[:, None]
        t = (stops[:-1, None] + half * (1.0 + nodes)).ravel()
        point, slope = piece.point(t), piece.derivative(t)
        speed = np.hypot(slope[:, 0], slope[:, 1])
        length = speed * (half * weights).ravel()
        columns.append(
            [point[:, 0], point[:, 1], slope[:, 1] / speed, -slope[:, 0] / speed, length]
        )
        parts += [piece.part] * t.size
    r, z, normal_r, normal_z, length = (np.concatenate(c) for c in zip(*columns, strict=True))
    return Rings(
        r=r, z=z, normal_r=normal_r, normal_z=normal_z, length=length, part=np.array(parts)
    )


def _between(breaks: tuple[float, ...], inner: int) -> Real:
    low, high = np.array(breaks[:-1])[:, None], np.array(breaks[1:])[:, None]
    return (low + (high - low) * np.arange(inner) / inner).ravel()


def piston_plane_pressure(k: float, radii: Real, radius: float, weight: Weight) -> Complex:
    """Pressure on an infinite baffle, in and around a piston in it, for dp/dn = -weight(r).

    Rayleigh's integral 1/(2 pi) int weight exp(ikR)/R dS in polar coordinates about the point of
    the field, which takes the singularity away.

    Parameters
    ----------
    k : float
        Wavenumber, rad/m.
    radii : (N,) array
        Distances of the points from the axis, metres.
    radius : float
        Of the piston, metres.
    weight : callable
        Acceleration over the piston by distance from its axis.
    """
    order = 16 + int(k * radius)
    x, w = np.polynomial.legendre.leggauss(order)
    r = radii[:, None]
    # Inside the piston: all directions, in two panels since the rim bends the far end quickly.
    turn = np.concatenate([0.25 * np.pi * (1 + x), 0.25 * np.pi * (3 + x)])
    turn_weight = np.tile(0.25 * np.pi * w, 2)
    out: Complex = np.empty(len(radii), dtype=complex)
    inside = radii < radius
    if np.any(inside):
        ri = r[inside]
        end = -ri * np.cos(turn) + np.sqrt(radius**2 - (ri * np.sin(turn)) ** 2)
        out[inside] = _along(k, ri, turn, np.zeros_like(end), end, weight, x, w) @ turn_weight
    if not np.all(inside):
        # Outside: only directions that meet the piston, sin(turn) = (a/r) sin(t).
        ro = r[~inside]
        t = 0.25 * np.pi * (1 + x)
        sine = radius / ro * np.sin(t)
        # At the rim itself both cosines are cos(t).
        cosine = np.sqrt(np.cos(t) ** 2 + (1.0 - (radius / ro) ** 2) * np.sin(t) ** 2)
        reach = radius * np.cos(t)
        start, end = ro * cosine - reach, ro * cosine + reach
        towards = np.pi - np.arctan2(sine, cosine)
        lengths = _along(k, ro, towards, start, end, weight, x, w) * reach / (ro * cosine)
        out[~inside] = lengths @ (0.25 * np.pi * w)
    return out / np.pi


def _along(
    k: float, r: Real, turn: Real, start: Real, end: Real, weight: Weight, x: Real, w: Real
) -> Complex:
    """Integral of weight exp(ikR) dR from start to end in each direction from each point."""
    half = 0.5 * (end - start)
    total: Complex = np.zeros(start.shape, dtype=complex)
    for node, share in zip(x, w, strict=True):
        R = start + half * (1.0 + node)
        place = np.sqrt(np.maximum(r * r + R * R + 2.0 * r * R * np.cos(turn), 0.0))
        total += share * weight(place) * np.exp(1j * k * R)
    return total * half


def far_kernels(rings: Rings, k: float, elevations: Real) -> tuple[Complex, Complex]:
    """Far field r p exp(-ikr) per unit of ring pressure, and per unit of -dp/dn, (E, N) each."""
    from scipy.special import j0, j1

    eps = np.radians(elevations)[:, None]
    x = k * np.cos(eps) * rings.r
    weight = 0.5 * rings.r * rings.length
    phase = weight * np.exp(-1j * k * np.sin(eps) * rings.z) if np.any(rings.z) else weight + 0j
    even = j0(x)
    up = 1j * np.sin(eps) * rings.normal_z * even
    along = np.cos(eps) * rings.normal_r * j1(x) if np.any(rings.normal_r) else 0.0
    return -k * phase * (along + up), phase * even


def near_kernels(rings: Rings, k: float, points: Real) -> tuple[Complex, Complex]:
    """Pressure at (X, 2) points per unit of ring pressure, and per unit of -dp/dn, (X, N) each."""
    dipole = np.empty((len(points), len(rings)), dtype=complex)
    monopole = np.empty_like(dipole)
    points = np.ascontiguousarray(points, dtype=float)
    args = (rings.r, rings.z, rings.normal_r, rings.normal_z, rings.length)
    _near(points, k, *args, dipole, monopole)
    return dipole, monopole


@njit(cache=True, nogil=True, error_model="numpy")
def _near(points, k, rs, zs, nr, nz, length, dipole, monopole):
    for x in range(len(points)):
        r, z = points[x, 0], points[x, 1]
        for j in range(len(rs)):
            dz = zs[j] - z
            squares = r * r + rs[j] * rs[j] + dz * dz
            apart = math.sqrt((r - rs[j]) ** 2 + dz * dz)
            near = math.sqrt(r * rs[j])
            count = 1
            if near > 1e-12 * apart:
                # The nearest singularity lies asinh-close to the real angle; k sets the rest.
                width = 2.0 * math.asinh(0.5 * apart / near)
                widest = math.sqrt(squares + 2.0 * r * rs[j]) - apart
                count = 4 + int(0.5 * k * widest + 9.0 / width)
            d, g = 0.0j, 0.0j
            for i in range(count):
                c = math.cos(math.pi * (i + 0.5) / count)
                if count == 1:
                    c = 0.0
                R = math.sqrt(squares - 2.0 * r * rs[j] * c)
                wave = complex(math.cos(k * R), math.sin(k * R)) / R
                g += wave
                slope = nr[j] * (rs[j] - r * c) + nz[j] * dz
                d += wave * complex(-1.0, k * R) / (R * R) * slope
            weight = 0.5 * rs[j] * length[j] / count
            dipole[x, j] = d * weight
            monopole[x, j] = g * weight


@njit(cache=True, nogil=True, error_model="numpy")
def _blocked(r0, z0, r1, z1, line):
    for i in range(len(line) - 1):
        ar, az, br, bz = line[i, 0], line[i, 1], line[i + 1, 0], line[i + 1, 1]
        side0 = (r1 - r0) * (az - z0) - (z1 - z0) * (ar - r0)
        side1 = (r1 - r0) * (bz - z0) - (z1 - z0) * (br - r0)
        if (side0 > 0.0) == (side1 > 0.0):
            continue
        side2 = (br - ar) * (z0 - az) - (bz - az) * (r0 - ar)
        side3 = (br - ar) * (z1 - az) - (bz - az) * (r1 - ar)
        if (side2 > 0.0) != (side3 > 0.0):
            return True
    return False


@njit(cache=True, nogil=True, error_model="numpy")
def _see(r, z, nr, nz, rs, zs, line, lift, out):
    for i in range(len(r)):
        for j in range(len(rs)):
            facing = nr[i] * (rs[j] - r[i]) + nz[i] * (zs[j] - z[i]) > 0.0
            # Lifted off the polyline, which may cut a curved surface by its chord error.
            from_r, from_z = r[i] + lift * nr[i], z[i] + lift * nz[i]
            out[i, j] = facing and not _blocked(from_r, from_z, rs[j], zs[j], line)


def visible(rings: Rings, others: Rings, line: Real, chord_error: float) -> NDArray[np.bool_]:
    """Whether each of the rings sees each of the others along the meridian, (N, M).

    Parameters
    ----------
    rings : Rings
        On the body that may stand in the way.
    others : Rings
        On another body.
    line : (L, 2) array
        Polyline of the body that may stand in the way.
    chord_error : float
        How far the polyline may be from it, metres.
    """
    out = np.empty((len(rings), len(others)), dtype=np.bool_)
    line = np.ascontiguousarray(line)
    normals = (rings.normal_r, rings.normal_z)
    _see(rings.r, rings.z, *normals, others.r, others.z, line, 2.0 * chord_error, out)
    return out
