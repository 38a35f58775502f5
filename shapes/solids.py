"""Solids of revolution for printers, mills and eyes: trimesh solids from meridians (metres).

As printed, a reflector stands on its flat: the flat at z = 0, the tip up.
"""

from __future__ import annotations

import io
import math
import re
import zipfile
from collections.abc import Sequence
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

import numpy as np

from shapes.lengths import in_both
from shapes.making import Spigot
from shapes.meridian import Meridian
from shapes.pieces import Array, Piece
from shapes.reflector import Reflector

if TYPE_CHECKING:
    from shapely.geometry import Polygon
    from trimesh import Trimesh

CHORD_ERROR = 1e-5
"""How far facets may run inside the true surface, metres."""
LOST = 7e-4
"""Largest share of a reflector's volume in its surface times the chord error.

A chord takes two thirds of its height on average, along the meridian and again around, so that
the volume of the facets stays within 4 / 3 of this share, below 0.1 %.
"""
LEFT_OVER = 1e-3
"""Least material between a spigot hole and the surface, metres."""
FEWEST_SECTIONS = 24
MM = 1e3
STL_HEADER = 80
_RANDOM_NAME = re.compile(rb' p:UUID="[^"]*"')  # optional in 3MF


class SolidError(ValueError):
    """A solid that cannot be made as asked; the message says what to change."""


def turned_solid(meridian: Meridian, chord_error: float = CHORD_ERROR) -> Trimesh:
    """Turn a closed meridian about the axis.

    Parameters
    ----------
    meridian : Meridian
        From the lower to the upper point on the axis, metres.
    chord_error : float
        Largest distance of a facet from the true surface, along the meridian and around.

    Returns
    -------
    trimesh.Trimesh
        Watertight, metres; vertices on the true surface.
    """
    return _in_metres(_revolved(meridian.sample(chord_error), chord_error))


def turned_surface(pieces: Sequence[Piece], chord_error: float = CHORD_ERROR) -> Trimesh:
    """Turn a few pieces of a meridian about the axis: an open surface, metres."""
    return _in_metres(_revolved(Meridian(tuple(pieces)).sample(chord_error), chord_error))


def subtracted(solid: Trimesh, line: Array, chord_error: float = CHORD_ERROR) -> Trimesh:
    """Cut what a line (N, 2) turned about the axis encloses out of a solid, metres."""
    scaled = solid.copy().apply_scale(MM)
    return _in_metres(_without(scaled, _revolved(line, chord_error)))


def reflector_solid(
    reflector: Reflector,
    chord_error: float = CHORD_ERROR,
    wall: float | None = None,
    spigot: Spigot | None = None,
) -> Trimesh:
    """Make the reflector as printed: flat at z = 0, tip up.

    Parameters
    ----------
    reflector : Reflector
    chord_error : float
        Metres; less is taken where a small or flat reflector would lose 0.1 % of its volume.
    wall : float, optional
        Hollowed from the flat so that a wall of this thickness remains; with a spigot, a hub of
        the same thickness stays round its hole. Left out: solid.
    spigot : Spigot, optional
        A round hole in the middle of the flat.

    Returns
    -------
    trimesh.Trimesh
        Watertight, metres.

    Raises
    ------
    SolidError
        If the wall leaves nothing to hollow, or the hole breaks through.
    """
    chord_error = min(chord_error, LOST * reflector.volume / reflector.profile.area)
    solid = _revolved(_standing(reflector, chord_error), chord_error)
    if spigot is not None:
        _refuse_breaking_through(reflector, chord_error, spigot)
    if wall is not None:
        solid = _without(solid, _cavity(reflector, chord_error, wall, spigot))
    if spigot is not None:
        radius, deep = 0.5 * spigot.diameter, spigot.depth
        hole = np.array([(0.0, -deep), (radius, -deep), (radius, deep), (0.0, deep)])
        solid = _without(solid, _revolved(hole, chord_error))
    return _in_metres(solid)


def stl_bytes(solid: Trimesh, mark: str = "") -> bytes:
    """Return a solid as binary STL in millimetres.

    `mark`, plain ASCII that says where it comes from, stands in the 80 bytes of the header, cut
    off where they end.
    """
    from trimesh.exchange.stl import export_stl

    made = export_stl(_in_mm(solid))
    header = mark.encode("ascii")[:STL_HEADER].ljust(STL_HEADER, b"\0")
    return header + made[STL_HEADER:]


def threemf_bytes(solid: Trimesh, mark: str = "") -> bytes:
    """Return a solid as 3MF in millimetres, the same bytes for the same solid.

    `mark`, which says where it comes from, stands in the model's description.
    """
    from trimesh.exchange.threemf import export_3MF

    made = zipfile.ZipFile(io.BytesIO(export_3MF(_in_mm(solid))))
    fixed = io.BytesIO()
    with zipfile.ZipFile(fixed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in made.namelist():
            entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            entry.compress_type = zipfile.ZIP_DEFLATED
            content = _RANDOM_NAME.sub(b"", made.read(name))
            archive.writestr(entry, _described(content, mark) if mark else content)
    return fixed.getvalue()


def _described(model: bytes, mark: str) -> bytes:
    """Put a description before what a 3MF model is made of; other parts stay as they are."""
    words = f'<metadata name="Description">{escape(mark)}</metadata>'
    return model.replace(b"<resources>", words.encode() + b"<resources>", 1)


def _in_mm(solid: Trimesh) -> Trimesh:
    scaled = solid.copy()
    scaled.apply_scale(MM)
    scaled.units = "millimeters"
    return scaled


def _in_metres(solid: Trimesh) -> Trimesh:
    return solid.apply_scale(1.0 / MM)


def _standing(reflector: Reflector, chord_error: float) -> Array:
    """Half section as printed, from the axis on the flat to the tip: (N, 2) of r and z."""
    hanging = reflector.profile.sample(chord_error)
    upright = hanging[::-1] * (1.0, -1.0) + 0.0
    return np.vstack(((0.0, 0.0), upright))


def sections_of(radius: float, chord_error: float) -> int:
    """Number of corners that keep a polygon within `chord_error` of its circle."""
    if chord_error >= radius:
        return FEWEST_SECTIONS
    return max(FEWEST_SECTIONS, math.ceil(math.pi / math.acos(1.0 - chord_error / radius)))


def _revolved(line: Array, chord_error: float) -> Trimesh:
    """Turn a line (metres) into a solid in millimetres: trimesh tells points 1e-8 apart."""
    from trimesh.creation import revolve

    sections = sections_of(float(line[:, 0].max()), chord_error)
    solid = revolve(line * MM, sections=sections)
    solid.merge_vertices()
    solid.update_faces(solid.nondegenerate_faces())
    solid.remove_unreferenced_vertices()
    if solid.is_watertight and solid.volume < 0:
        solid.invert()
    return solid


def _without(solid: Trimesh, tool: Trimesh) -> Trimesh:
    from trimesh.boolean import difference

    return difference([solid, tool], engine="manifold")


def _section(reflector: Reflector, chord_error: float) -> Polygon:
    """Whole section as printed, both halves."""
    from shapely.geometry import Polygon

    right = _standing(reflector, chord_error)[1:]
    return Polygon(np.vstack((right, right[-2::-1] * (-1.0, 1.0))))


def _refuse_breaking_through(reflector: Reflector, chord_error: float, spigot: Spigot) -> None:
    from shapely.geometry import box

    radius = 0.5 * spigot.diameter + LEFT_OVER
    hole = box(-radius, 0.0, radius, spigot.depth + LEFT_OVER)
    if not _section(reflector, chord_error).buffer(1e-9).contains(hole):
        raise SolidError(
            f"the spigot hole, {in_both(spigot.diameter)} wide and {in_both(spigot.depth)} deep,"
            f" breaks through the reflector, which is {in_both(reflector.height)} high and"
            f" {in_both(2 * reflector.base_radius)} across: make it narrower or less deep."
        )


def _cavity(
    reflector: Reflector, chord_error: float, wall: float, spigot: Spigot | None
) -> Trimesh:
    from shapely.geometry import box

    section, across = _section(reflector, chord_error), reflector.base_radius
    # The section goes on below the flat, so that the hollow is open there.
    going_on = section.union(box(-across, -3 * wall, across, 0.0))
    hollow = going_on.buffer(-wall, quad_segs=64).intersection(
        box(-reflector.widest_radius, -wall, reflector.widest_radius, reflector.height)
    )
    right = hollow.intersection(box(0.0, -wall, reflector.widest_radius, reflector.height))
    if spigot is not None:
        hub = 0.5 * spigot.diameter + wall
        right = right.difference(box(0.0, -wall, hub, reflector.height))
    inside = right.intersection(box(0.0, 0.0, reflector.widest_radius, reflector.height))
    is_open = right.bounds[1] < -0.5 * wall  # below the flat; nan, so false, if nothing is left
    if right.geom_type != "Polygon" or inside.area < wall**2 or not is_open:
        raise SolidError(
            f"a wall of {in_both(wall)} leaves nothing to hollow from the flat of a reflector"
            f" {in_both(2 * across)} across and {in_both(reflector.height)} high: make the wall"
            " thinner, or leave it out for a solid one."
        )
    return _revolved(_ring_of(right), chord_error)


def _ring_of(half: Polygon) -> Array:
    """Outline to turn: from the axis to the axis, or a closed ring where it keeps clear of it."""
    ring = np.asarray(half.exterior.coords)[:-1]
    if not half.exterior.is_ccw:
        ring = ring[::-1]
    on_axis = ring[:, 0] < 1e-9
    if not on_axis.any():
        return np.vstack((ring, ring[:1]))
    bottom = np.flatnonzero(on_axis)[np.argmin(ring[on_axis, 1])]
    line = np.roll(ring, -bottom, axis=0)
    last = np.flatnonzero(line[:, 0] < 1e-9)
    return line[: last[last > 0].min() + 1] if (last > 0).any() else line
