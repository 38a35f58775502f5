"""The flat ring: where baffle and plate face each other level, and posts may stand.

Between inner and outer radius the gap is a layer of one height H between two rigid planes, so that
sound in it is modes cos(n pi z / H), each a wave in the plane of radial wavenumber

    kappa_n = sqrt(k^2 - (n pi / H)^2),    imaginary part >= 0.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TypeGuard

import numpy as np

from dispersion.air import Air
from dispersion.walls import Walls
from shapes.assembly import Assembly
from shapes.lengths import in_mm
from shapes.meridian import Line, Meridian, Piece
from shapes.pieces import TOLERANCE

FACES = ("baffle", "baffle felt", "plate underside", "plate felt")
MORE_MODES = 3
"""Modes beyond those that travel: with 1 the error is 2e-3 of the largest pressure, with 3 7e-5."""
MORE_ORDERS = 8
"""Azimuthal orders beyond k times the plate's radius: with 4 8e-4, with 8 1e-4."""
LEAST_SHARE = 1e-4
"""No kappa_n is taken nearer to 0 than this share of k: H_m(kappa r) would overflow."""
MOST_TAKEN = 0.01
"""Of a wave on its way through the flat ring: a tenth of a decibel, and that where it is heard only
by way of a post."""
RING_SHARE, MOST_PHASE = 0.4, 1.6
"""Two rings of sources stand this share of the flat ring apart, or this phase k (r_2 - r_1): a half
wave apart they would not tell waves inwards from waves outwards."""


class AllRoundError(ValueError):
    """What this method does not cover; the message names the part, and what to do."""


@dataclass(frozen=True)
class FlatRing:
    """Where the gap is flat and level on both sides.

    Attributes
    ----------
    inner, outer : float
        Radii, metres.
    height : float
        Of the gap there, metres.
    has_sides : bool
        Whether baffle or plate has, and counts here as the round one of equal area.
    """

    inner: float
    outer: float
    height: float
    has_sides: bool = False

    @property
    def middle(self) -> float:
        """Radius half way, metres."""
        return 0.5 * (self.inner + self.outer)

    def travelling(self, k: float) -> int:
        """Highest mode that travels."""
        return int(k * self.height / np.pi)

    def wavenumbers(self, k: float, more: int = MORE_MODES) -> np.ndarray:
        """kappa_n in rad/m, (N,) complex: all that travel and `more` that fade."""
        n = np.arange(self.travelling(k) + more + 1)
        squared = k**2 - (n * np.pi / self.height) ** 2
        least = (LEAST_SHARE * k) ** 2
        return np.sqrt(np.where(np.abs(squared) < least, least, squared).astype(complex))

    def source_radii(self, k: float) -> tuple[float, float]:
        """Radii of the two rings of sources, metres."""
        apart = min(RING_SHARE * (self.outer - self.inner), MOST_PHASE / k)
        return self.middle - 0.5 * apart, self.middle + 0.5 * apart

    def cut(self, body: Meridian, z: float, radii: Sequence[float]) -> Meridian:
        """Return a body whose level pieces at height z are cut at these radii."""
        pieces: list[Piece] = []
        for piece in body.pieces:
            pieces += _cut(piece, radii) if _is_level(piece, z) else [piece]
        return Meridian(tuple(pieces))


def flat_ring(assembly: Assembly) -> FlatRing:
    """Return where baffle and plate face each other flat and level; the widest such place.

    Raises
    ------
    AllRoundError
        If there is no plate, or no such place.
    """
    if assembly.plate is None or assembly.upper is None:
        raise AllRoundError("posts: there is no top plate on them: give the design a [plate]")
    low, high = _level_spans(assembly.lower, 0.0), _level_spans(assembly.upper, assembly.plate_gap)
    hung = 0.0 if assembly.reflector is None else assembly.reflector.widest_radius
    inside = max(assembly.driver.frame_radius, hung)
    spans = [
        (max(inside, below[0], above[0]), min(below[1], above[1]))
        for below in low
        for above in high
    ]
    inner, outer = max(spans, key=lambda span: span[1] - span[0], default=(0.0, 0.0))
    if outer - inner <= TOLERANCE:
        raise AllRoundError(
            "posts: baffle and plate nowhere face each other flat: the waves between them are "
            "known only there; make the plate or the baffle wider, or the reflector narrower"
        )
    sided = not (assembly.column.face.is_round and assembly.plate.footprint.is_round)
    return FlatRing(inner, outer, assembly.plate_gap, has_sides=sided)


def check_foot(ring: FlatRing, radius: float, circle_radius: float) -> None:
    """Raise an AllRoundError unless a post stands wholly on the flat ring."""
    begins, ends = circle_radius - radius, circle_radius + radius
    if begins >= ring.inner - TOLERANCE and ends <= ring.outer + TOLERANCE:
        return
    raise AllRoundError(
        f"posts: a foot from {in_mm(begins)} to {in_mm(ends)} from the axis is not wholly on the "
        f"flat between baffle and plate, {in_mm(ring.inner)} to {in_mm(ring.outer)}"
        f"{' where what has sides is made round, of equal area' if ring.has_sides else ''}: the"
        " exact way covers no other; take thinner posts or another circle"
    )


def check_hard(
    ring: FlatRing, assembly: Assembly, walls: Walls, frequency: float, air: Air
) -> None:
    """Raise an AllRoundError if the boards take too much where posts stand.

    A wave of the gap changes by |beta| w / (2 H) over a flat ring of width w: paint and bare wood
    pass (`MOST_TAKEN`), felt does not.
    """
    absorbers = dict(walls.absorbers)
    share = 0.5 * (ring.outer - ring.inner) / ring.height
    for body, z in ((assembly.lower, 0.0), (assembly.hung_body, ring.height)):
        for piece in body.of_parts(*(part for part in FACES if part in absorbers)):
            low, high = sorted((piece.start[0], piece.end[0]))
            beside = low >= ring.outer - TOLERANCE or high <= ring.inner + TOLERANCE
            if beside or not _is_level(piece, z):
                continue
            if abs(absorbers[piece.part].admittance(frequency, air)) * share > MOST_TAKEN:
                raise AllRoundError(
                    f"posts: what absorbs on the {piece.part} lies where posts stand: the waves "
                    "between the boards are known only where both are hard, or nearly so; leave "
                    "that absorber out, or keep it inside of the posts"
                )


def orders_up_to(k: float, radius: float, more: int = MORE_ORDERS) -> int:
    """Highest azimuthal order that a body of this radius sends far: k r and `more`."""
    return int(np.ceil(k * radius)) + more


def _level_spans(body: Meridian, z: float) -> list[tuple[float, float]]:
    """Radii between which a body's faces lie level at a height, stretches that meet joined."""
    spans: list[tuple[float, float]] = []
    for piece in body.of_parts(*FACES):
        if _is_level(piece, z):
            low, high = sorted((piece.start[0], piece.end[0]))
            if spans and min(abs(low - spans[-1][1]), abs(high - spans[-1][0])) < TOLERANCE:
                before = spans.pop()
                low, high = min(low, before[0]), max(high, before[1])
            spans.append((low, high))
    return spans


def _is_level(piece: Piece, z: float) -> TypeGuard[Line]:
    return isinstance(piece, Line) and abs(piece.start[1] - z) + abs(piece.end[1] - z) < TOLERANCE


def _cut(piece: Line, radii: Sequence[float]) -> list[Piece]:
    (start, z), end = piece.start, piece.end[0]
    inside = [r for r in radii if min(start, end) + TOLERANCE < r < max(start, end) - TOLERANCE]
    stops = [start, *sorted(inside, reverse=end < start), end]
    return [replace(piece, start=(a, z), end=(b, z)) for a, b in pairwise(stops)]
