"""Boundary elements on one sector of what has N flat sides, for the tests of corners.

A driver in the middle of an N-fold body with N mirror planes makes a field that is alike in each of
2 N sectors: pressure is unknown on one of them, constant on flat triangles, collocated at their
middles, and all images send. The static part of the double layer is the solid angle (van Oosterom
and Strackee, IEEE Trans. Biomed. Eng. 30, 125 (1983) [from memory]), that of the single layer in
its own plane the logarithms of the potential of a polygon; what is left is smooth. Points inside
(CHIEF, Schenck 1968 [from memory]) leave one solution at every frequency.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from dispersion.air import Air
from shapes.footprints import Footprint

POINTS = np.array([[4.0, 1.0, 1.0], [1.0, 4.0, 1.0], [1.0, 1.0, 4.0]]) / 6.0
"""Of a rule of second degree, in barycentric coordinates."""
AT_ONCE = 1_500_000
INSIDE_WEIGHT = 3.0


class Stop(NamedTuple):
    """A point of a meridian: radius, height, and how much of the polygon its ring has, 0 to 1."""

    r: float
    z: float
    sided: float = 0.0


@dataclass(frozen=True)
class Sector:
    """Triangles (T, 3, 3) of one of 2 N sectors, normals into the air, and which move."""

    triangles: np.ndarray
    moves: np.ndarray
    fold: int

    def joined(self, other: "Sector") -> "Sector":
        """Both together."""
        triangles = np.concatenate((self.triangles, other.triangles))
        return Sector(triangles, np.concatenate((self.moves, other.moves)), self.fold)

    @property
    def images(self) -> np.ndarray:
        """(2 N, T, 3, 3) the sector and its images."""
        mirrored = self.triangles[:, ::-1] * np.array([1.0, -1.0, 1.0])
        found = []
        for turn in 2.0 * np.pi / self.fold * np.arange(self.fold):
            c, s = np.cos(turn), np.sin(turn)
            back = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
            found += [self.triangles @ back, mirrored @ back]
        return np.array(found)


def sector(
    stops: Sequence[Stop], sides: int, fold: int, longest: float, moving: int | None = None
) -> Sector:
    """Triangles between stops from axis to axis; the piece after stop `moving` moves.

    Rings of radius r are circles, or the polygon of equal area with a flat at azimuth 0, or
    between. Circles are polygons of their area.
    """
    widest = max(stop.r for stop in stops)
    around = max(2, int(np.ceil(np.pi * widest / fold / longest)))
    azimuth = np.pi / fold / around * np.arange(around + 1)
    step = azimuth[1]
    circle = np.full(around + 1, np.sqrt(step / np.sin(step)))
    outline = Footprint(1.0, sides)
    polygon = np.array([outline.reach(a) / outline.radius for a in azimuth]) if sides else circle
    rings, moved = [_ring(stops[0], azimuth, circle, polygon)], []
    for number, (begin, end) in enumerate(pairwise(stops)):
        a, b = np.array(begin), np.array(end)
        count = max(1, int(np.ceil(np.hypot(*(b - a)[:2]) / longest)))
        for share in np.arange(1, count + 1) / count:
            rings.append(_ring(Stop(*(a + share * (b - a))), azimuth, circle, polygon))
            moved.append(number == moving)
    triangles, moves = [], []
    for low, high, moving_row in zip(rings[:-1], rings[1:], moved, strict=True):
        p, q, r, s = low[:-1], low[1:], high[1:], high[:-1]
        both = np.concatenate((np.stack((p, q, r), axis=1), np.stack((p, r, s), axis=1)))
        edges = np.cross(both[:, 1] - both[:, 0], both[:, 2] - both[:, 0])
        there = both[np.linalg.norm(edges, axis=1) > 1e-14]
        triangles.append(there)
        moves += [moving_row] * len(there)
    return Sector(np.concatenate(triangles), np.array(moves), fold)


def _ring(stop: Stop, azimuth: np.ndarray, circle: np.ndarray, polygon: np.ndarray) -> np.ndarray:
    r = stop.r * ((1.0 - stop.sided) * circle + stop.sided * polygon)
    return np.column_stack((r * np.cos(azimuth), r * np.sin(azimuth), np.full(len(r), stop.z)))


def far_field(
    body: Sector, inside: np.ndarray, frequency: float, towards: np.ndarray, air: Air
) -> np.ndarray:
    """Far field of what moves by 1 m/s^2 upwards, in directions (D, 3), Pa m."""
    k, images, count = 2.0 * np.pi * frequency / air.speed, body.images, len(body.triangles)
    heard = np.concatenate((body.triangles.mean(axis=1), inside))
    matrix = np.zeros((len(heard), count), dtype=complex)
    right = np.zeros(len(heard), dtype=complex)
    rows = max(1, AT_ONCE // count)
    for first in range(0, len(heard), rows):
        here = slice(first, first + rows)
        for image in images:
            matrix[here] -= double_layer(heard[here], image, k)
            moving = image[body.moves]
            right[here] += air.density * single_layer(heard[here], moving, k).sum(axis=1)
    matrix[np.arange(count), np.arange(count)] += 0.5
    matrix[count:] *= INSIDE_WEIGHT
    right[count:] *= INSIDE_WEIGHT
    adjoint = matrix.conj().T
    pressure = np.linalg.solve(adjoint @ matrix, adjoint @ right)
    far = np.zeros(len(towards), dtype=complex)
    for image in images:
        normal, area = _normals(image)
        points = np.einsum("qv,tvx->tqx", POINTS, image)
        phase = np.exp(-1j * k * np.einsum("dx,tqx->dtq", towards, points)).mean(axis=2)
        weight = phase * area / (4.0 * np.pi)
        far += (-1j * k * (towards @ normal.T) * weight) @ pressure
        far += air.density * weight[:, body.moves].sum(axis=1)
    return far


def double_layer(heard: np.ndarray, sources: np.ndarray, k: float) -> np.ndarray:
    """Integral of dG/dn' over triangles (T, 3, 3) at points (O, 3), (O, T)."""
    normal, area = _normals(sources)
    a, b, c = (sources[None, :, i] - heard[:, None] for i in range(3))
    la, lb, lc = (np.linalg.norm(one, axis=2) for one in (a, b, c))
    triple = np.einsum("otx,otx->ot", a, np.cross(b, c))
    flat = np.abs(triple) < 1e-12 * la * lb * lc
    below = la * lb * lc + lc * np.einsum("otx,otx->ot", a, b)
    below += la * np.einsum("otx,otx->ot", b, c) + lb * np.einsum("otx,otx->ot", c, a)
    angle = np.where(flat, 0.0, 2.0 * np.arctan2(np.where(flat, 0.0, triple), below))
    out = (-angle / (4.0 * np.pi)).astype(complex)
    for point in np.einsum("qv,tvx->qtx", POINTS, sources):
        apart = point - heard[:, None]
        distance = np.maximum(np.linalg.norm(apart, axis=2), 1e-9)
        x = k * distance
        across = np.einsum("otx,tx->ot", apart, normal) / distance**3
        out += area / 3.0 * across / (4.0 * np.pi) * ((1j * x - 1.0) * np.exp(1j * x) + 1.0)
    return out


def single_layer(heard: np.ndarray, sources: np.ndarray, k: float) -> np.ndarray:
    """Integral of G over level triangles (T, 3, 3) at points in their plane or well apart."""
    _, area = _normals(sources)
    level = np.abs(heard[:, 2] - sources[0, 0, 2]) < 1e-9
    out = np.zeros((len(heard), len(sources)), dtype=complex)
    for point in np.einsum("qv,tvx->qtx", POINTS, sources):
        distance = np.maximum(np.linalg.norm(point - heard[:, None], axis=2), 1e-12)
        wave = np.exp(1j * k * distance) - level[:, None]
        out += area / 3.0 * wave / distance
    out[level] += _static(heard[level], sources)
    return out / (4.0 * np.pi)


def _static(heard: np.ndarray, sources: np.ndarray) -> np.ndarray:
    """Integral of 1/R over triangles at points in their plane: distance times log, side by side."""
    normal, _ = _normals(sources)
    found = np.zeros((len(heard), len(sources)))
    for i in range(3):
        begin, end = sources[:, i], sources[:, (i + 1) % 3]
        along = (end - begin) / np.linalg.norm(end - begin, axis=1)[:, None]
        to_begin, to_end = begin - heard[:, None], end - heard[:, None]
        away = np.einsum("otx,tx->ot", to_begin, np.cross(along, normal))
        before, after = (np.einsum("otx,tx->ot", to, along) for to in (to_begin, to_end))
        with np.errstate(divide="ignore", invalid="ignore"):
            log = np.log(
                (np.linalg.norm(to_end, axis=2) + after)
                / (np.linalg.norm(to_begin, axis=2) + before)
            )
        found += np.where(np.abs(away) < 1e-12, 0.0, away * log)
    return found


def _normals(triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    twice = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    size = np.linalg.norm(twice, axis=1)
    return twice / size[:, None], 0.5 * size
