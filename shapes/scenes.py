"""The whole assembly as a scene of named, coloured solids, for any viewer of GLB files."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from shapes.assembly import MOVING_PARTS, Assembly
from shapes.columns import post_angles
from shapes.footprints import Footprint
from shapes.meridian import Meridian
from shapes.parts import Posts
from shapes.pieces import Array
from shapes.solids import sections_of, subtracted, turned_solid, turned_surface

if TYPE_CHECKING:
    from trimesh import Scene, Trimesh

CHORD_ERROR = 1e-4
COLOURS = {
    "column": (0.90, 0.82, 0.68),
    "frame": (0.42, 0.46, 0.50),
    "moving": (0.00, 0.45, 0.70),
    "dome": (0.84, 0.37, 0.00),
    "reflector": (0.79, 0.86, 0.90),
    "top plate": (0.80, 0.68, 0.50),
    "post": (0.62, 0.55, 0.42),
}
"""Red, green, blue of each kind of part."""
STILL_PARTS = ("frame", "recess", "pod")
ABOVE = 0.05
"""How far the hole that is cut for the driver reaches above the baffle, metres."""


def assembly_scene(assembly: Assembly, chord_error: float = CHORD_ERROR) -> Scene:
    """Build every part as it stands: metres, z up, z = 0 at the baffle.

    Parameters
    ----------
    assembly : Assembly
        Free of clashes.
    chord_error : float
        Largest distance of a facet from the true surface, metres.

    Returns
    -------
    trimesh.Scene
        One named node for each part; the driver is a set of surfaces, all else are solids. What
        has sides has its true shape, with sharp edges.
    """
    from trimesh import Scene

    scene = Scene()
    for name, kind, mesh in _parts(assembly, chord_error):
        scene.add_geometry(_coloured(mesh, kind), node_name=name, geom_name=name)
    return scene


def glb_bytes(scene: Scene, mark: str = "") -> bytes:
    """Return a scene as binary glTF: metres, y up, the same bytes for the same scene.

    `mark` says where it comes from, in the ``extras`` of the file's ``asset``.
    """
    from trimesh.transformations import rotation_matrix

    turned = scene.copy()
    turned.apply_transform(rotation_matrix(-0.5 * math.pi, (1.0, 0.0, 0.0)))

    def marked(tree: dict[str, Any]) -> None:
        if mark:
            tree["asset"]["extras"] = {"origin": mark}

    return turned.export(file_type="glb", tree_postprocessor=marked)


def _parts(assembly: Assembly, chord_error: float) -> list[tuple[str, str, Trimesh]]:
    lower = assembly.lower
    parts = [(name, "column", mesh) for name, mesh in _column_solids(assembly, chord_error)]
    for labels, kind in ((STILL_PARTS, "frame"), (MOVING_PARTS, "moving"), (("dome",), "dome")):
        for label in labels:
            if pieces := lower.of_parts(label):
                parts.append((label, kind, turned_surface(pieces, chord_error)))
    if assembly.reflector is not None:
        alone = assembly.with_plate(None).hung_body
        parts.append(("reflector", "reflector", turned_solid(alone, chord_error)))
    if assembly.plate is not None:
        parts.append(("top plate", "top plate", _plate_solid(assembly, chord_error)))
    if assembly.posts is not None:
        parts += _posts(assembly.posts, assembly, chord_error)
    return parts


def _column_solids(assembly: Assembly, chord_error: float) -> Iterator[tuple[str, Trimesh]]:
    """Column, baffle and foot, with a hole in the form of the driver."""
    column, hole = assembly.column, _driver_hole(assembly, chord_error)
    baffle, foot = column.laid_on, column.foot
    top = 0.0 if baffle is None else -baffle.thickness
    floor = -column.height + (0.0 if foot is None else foot.thickness)
    block = _block(column.footprint, floor, top, chord_error)
    yield "column", subtracted(block, hole, chord_error)
    if baffle is not None:
        board = _block(baffle.footprint, top, 0.0, chord_error)
        yield "baffle", subtracted(board, hole, chord_error)
    if foot is not None:
        yield "foot", _block(foot.footprint, -column.height, floor, chord_error)


def _plate_solid(assembly: Assembly, chord_error: float) -> Trimesh:
    """The top plate; one with sides has sharp edges."""
    plate, low = assembly.hung_plate, assembly.plate_gap
    if plate.footprint.is_round:
        return turned_solid(assembly.bare_plate, chord_error)
    return _block(plate.footprint, low, low + plate.thickness, chord_error)


def _driver_hole(assembly: Assembly, chord_error: float) -> Array:
    driver_labels = (*STILL_PARTS, *MOVING_PARTS, "dome")
    pieces = [p for p in assembly.lower.of_parts(*driver_labels) if p.part != "frame"]
    line = Meridian(tuple(pieces)).sample(chord_error)
    line[:, 1] = np.minimum(line[:, 1], 0.0)
    return np.vstack(((0.0, ABOVE), (line[0, 0], ABOVE), line))[::-1]


def _block(footprint: Footprint, low: float, high: float, chord_error: float) -> Trimesh:
    """Upright prism or cylinder between two heights."""
    from trimesh.creation import box, cylinder
    from trimesh.transformations import rotation_matrix

    height, sides = high - low, footprint.sides
    if sides == 4:
        block = box((footprint.width, footprint.width, height))
    elif sides:
        block = cylinder(footprint.outer_radius, height, sections=sides)
        # A flat at azimuth 0.
        block.apply_transform(rotation_matrix(math.pi / sides, (0.0, 0.0, 1.0)))
    else:
        radius = footprint.radius
        block = cylinder(radius, height, sections=sections_of(radius, chord_error))
    return block.apply_translation((0.0, 0.0, 0.5 * (low + high)))


def _posts(posts: Posts, assembly: Assembly, chord_error: float) -> list[tuple[str, str, Trimesh]]:
    from trimesh.creation import cylinder

    parts = []
    middle = 0.5 * assembly.post_length - posts.socket_baffle
    sections = sections_of(posts.radius, chord_error)
    for number, angle in enumerate(post_angles(assembly.column, posts, assembly.plate)):
        at = (posts.circle_radius * math.cos(angle), posts.circle_radius * math.sin(angle), middle)
        post = cylinder(posts.radius, assembly.post_length, sections=sections)
        parts.append((f"post {number + 1}", "post", post.apply_translation(at)))
    return parts


def _coloured(mesh: Trimesh, kind: str) -> Trimesh:
    from trimesh.visual import TextureVisuals
    from trimesh.visual.material import PBRMaterial

    paint = PBRMaterial(
        name=kind,
        baseColorFactor=(*COLOURS[kind], 1.0),
        metallicFactor=0.0,
        roughnessFactor=0.8,
        doubleSided=True,
    )
    mesh.visual = TextureVisuals(material=paint)
    return mesh
