"""A free-form reflector from an STL file: triangles, checked before any ray meets them.

trimesh reads the file and says whether it is a solid. The triangles then go into the same tree of
boxes as every other surface: trimesh's own ray interface needs packages beyond this project's and
would part the rays from their other surfaces at every bounce.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from typing import TYPE_CHECKING

import numpy as np

from dispersion.bounded import UnreadableError, bytes_of
from dispersion.paths import tracing
from dispersion.paths.rows import SurfaceRow, boxed
from shapes.lengths import in_mm, parse_length

if TYPE_CHECKING:
    import trimesh

SMALLEST, LARGEST = 5e-3, 2.0
"""Widest side of a reflector, metres: beyond these the unit is taken to be wrong."""

MOST_BYTES, MOST_TRIANGLES = 2**26, 100_000
"""Of a file that is read: more shows no ray anything new, and costs half a gigabyte of boxes."""

LEVEL = 1e-4
"""How far the base may lie off z = 0, metres."""


class FreeFormError(ValueError):
    """A free form that is no reflector; the message says what to change."""


@dataclass(frozen=True, eq=False)
class FreeForm:
    """Triangles of a solid as mounted: base at z = 0, tip hanging to z < 0, axis at x = y = 0.

    Attributes
    ----------
    triangles : (N, 3, 3) array
        Corners in metres, counter-clockwise as seen from the air.
    """

    triangles: np.ndarray

    @property
    def height(self) -> float:
        """How far it hangs down from the plate, metres."""
        return float(-self.triangles[..., 2].min())


def read_free_form(path: str | PathLike[str], unit: str = "mm") -> FreeForm:
    """Read a reflector from an STL file.

    Parameters
    ----------
    path : path
        STL file, base at z = 0 and tip hanging down.
    unit : {"mm", "cm", "m", "in"}
        Unit of the numbers in the file.

    Raises
    ------
    FreeFormError
        If the file cannot be read, or `free_form` refuses what it holds.
    """
    import trimesh

    raw = _bytes_of(path)
    count = _triangles_in(raw, path)
    if count > MOST_TRIANGLES:
        raise FreeFormError(
            f"{path}: has {count} triangles, {MOST_TRIANGLES} at most: export it more coarsely."
        )
    try:
        mesh = trimesh.load_mesh(io.BytesIO(raw), file_type="stl")
    except Exception as error:  # whatever trimesh trips over: its readers promise no kind of error
        raise FreeFormError(f"{path}: cannot be read as an STL file ({error}).") from error
    return free_form(mesh, unit, str(path))


def _bytes_of(path: str | PathLike[str]) -> bytes:
    try:
        return bytes_of(path, MOST_BYTES)
    except UnreadableError as error:
        raise FreeFormError(f"{path}: {error}.") from error


def _triangles_in(raw: bytes, path: str | PathLike[str]) -> int:
    """How many triangles a file holds: binary by its length, text by its words."""
    said = int.from_bytes(raw[80:84], "little")
    if len(raw) >= 84 and len(raw) == 84 + 50 * said:
        return said
    if raw.lstrip()[:5].lower() == b"solid":
        return raw.lower().count(b"endfacet")
    raise FreeFormError(
        f"{path}: is no STL file, or only a part of one: {len(raw)} bytes, where its header counts"
        f" {said} triangles of 50 bytes after 84. Export it again."
    )


def free_form(mesh: "trimesh.Trimesh", unit: str = "mm", name: str = "free form") -> FreeForm:
    """Check a mesh and take it as a reflector.

    Raises
    ------
    FreeFormError
        If it is open, inside out, of an absurd size, or does not hang below z = 0.
    """
    if not len(mesh.faces):
        raise FreeFormError(f"{name}: there are no triangles in it.")
    if not np.isfinite(mesh.vertices).all():
        raise FreeFormError(f"{name}: a corner lies at no finite place; export it again.")
    if not mesh.is_watertight:
        raise FreeFormError(f"{name}: the surface is open; close its holes before export.")
    if not mesh.is_winding_consistent or mesh.volume <= 0:
        raise FreeFormError(f"{name}: the surface is inside out; flip its normals outwards.")
    triangles = np.asarray(mesh.triangles, dtype=float) * parse_length(1.0, unit)
    corners = triangles.reshape(-1, 3)
    size = float(np.ptp(corners, axis=0).max())
    if not SMALLEST <= size <= LARGEST:
        raise FreeFormError(
            f"{name}: {size:.4g} m across with numbers in {unit}; the unit is probably another "
            "one: say which (mm, cm, m, in)."
        )
    top = float(corners[:, 2].max())
    if abs(top) > LEVEL:
        raise FreeFormError(
            f"{name}: its highest point lies at z = {in_mm(top)}; put the base at z = 0 with the "
            "tip hanging down, as mounted."
        )
    # Triangles that are mere lines close a surface, but no ray can meet them.
    sides = triangles[:, 1:] - triangles[:, :1]
    normals = np.cross(sides[:, 0], sides[:, 1])
    return FreeForm(triangles[np.any(normals != 0.0, axis=1)])


def free_form_rows(form: FreeForm, plate_gap: float, group: int) -> list[SurfaceRow]:
    """Rows of a free form hung under the plate.

    Raises
    ------
    FreeFormError
        If it is higher than the gap.
    """
    if form.height >= plate_gap:
        raise FreeFormError(
            f"the free form hangs down {in_mm(form.height)}, the plate gap is only "
            f"{in_mm(plate_gap)}: widen the gap or check the unit of the file."
        )
    return _tree(form.triangles + np.array([0.0, 0.0, plate_gap]), group)


def _tree(triangles: np.ndarray, group: int) -> list[SurfaceRow]:
    """Boxes within boxes, halved along the longest side of the triangles' middles."""
    if len(triangles) <= 4:
        return boxed([_row(triangle, group) for triangle in triangles])
    middles = triangles.mean(axis=1)
    order = np.argsort(middles[:, np.ptp(middles, axis=0).argmax()])
    first, second = np.array_split(triangles[order], 2)
    return boxed([*_tree(first, group), *_tree(second, group)])


def _row(triangle: np.ndarray, group: int) -> SurfaceRow:
    corner, u, v = triangle[0], triangle[1] - triangle[0], triangle[2] - triangle[0]
    low, high = triangle.min(axis=0) - 1e-9, triangle.max(axis=0) + 1e-9
    bounds = np.column_stack((low, high)).ravel()
    normal = np.cross(u, v)
    size = np.hypot(np.hypot(normal[0], normal[1]), normal[2])
    sizes = _flat((corner, u, v, normal / size))
    return SurfaceRow(
        kind=tracing.TRIANGLE, group=group, moves=True, bounds=tuple(bounds), data=sizes
    )


def _flat(vectors: Sequence[np.ndarray]) -> tuple[float, ...]:
    return tuple(float(x) for vector in vectors for x in vector)
