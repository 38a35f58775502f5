"""Outlines of the parts as chains of labelled pieces, walked with the air on the right.

Part labels of the lower body: "column bottom", "foot", "column side", "column top", "baffle
underside", "baffle edge", "baffle", "baffle felt", "frame", "recess", "cone", "dust cap",
"whizzer", "pod", "dome". Of the upper one: "reflector", "plate underside", "plate felt", "plate
edge", "plate top", "reflector base".

A ring of felt stands out of its flat by its thickness, edges and all, or lies flush in a rebate.
"""

from collections.abc import Iterator

from shapes.columns import Column
from shapes.meridian import Arc, Line, Piece, Point
from shapes.parts import (
    WHIZZER_RIM,
    Driver,
    DustCap,
    FeltBand,
    TopPlate,
    Tweeter,
    Whizzer,
)
from shapes.pieces import TOLERANCE
from shapes.reflector import Reflector


def column_outline(
    column: Column, frame_radius: float, felt: FeltBand | None = None
) -> Iterator[Piece]:
    """From the axis at the foot, round the column, in over the baffle to the frame."""
    radius, edge = column.face.radius, column.face_edge_radius
    yield from _below_the_face(column, edge)
    yield Arc(
        (radius, -edge),
        (radius - edge, 0.0),
        (radius - edge, -edge),
        clockwise=False,
        part="baffle edge",
    )
    flat = list(_flat(radius - edge, frame_radius, 0.0, "baffle", felt))
    # Felt against the frame: its inner edge is the frame's, see `driver_outline`.
    yield from flat[:-2] if felt is not None and felt.inner <= frame_radius + TOLERANCE else flat


def _below_the_face(column: Column, edge: float) -> Iterator[Piece]:
    """Foot, walls, and the step to a baffle that is wider or narrower than they are."""
    foot, radius, floor = column.foot, column.radius, -column.height
    if foot is None:
        yield Line((0.0, floor), (radius, floor), "column bottom")
        start = (radius, floor)
    else:
        base, top = foot.footprint.radius, floor + foot.thickness
        yield Line((0.0, floor), (base, floor), "column bottom")
        yield Line((base, floor), (base, top), "foot")
        yield Line((base, top), (radius, top), "foot")
        start = (radius, top)
    if column.laid_on is None:
        yield Line(start, (radius, -edge), "column side")
        return
    under, out = -column.laid_on.thickness, column.face.radius
    yield Line(start, (radius, under), "column side")
    yield Line((radius, under), (out, under), "baffle underside" if out > radius else "column top")
    yield Line((out, under), (out, -edge), "baffle edge")


def driver_outline(
    driver: Driver, tweeter: Tweeter | None, felt: FeltBand | None = None
) -> Iterator[Piece]:
    """From the frame's outside on the baffle, over the cone and its centre, to the axis.

    Where felt on the baffle touches the frame, it begins at the felt's face.
    """
    outside, rim = driver.frame_radius, driver.effective_radius
    against = felt is not None and felt.inner <= outside + TOLERANCE
    start = felt.proud if felt is not None and against else 0.0
    edge = "frame" if driver.proud >= start else "baffle felt"
    yield Line((outside, start), (outside, driver.proud), edge)
    yield Line((outside, driver.proud), (rim, driver.proud), "frame")
    yield Line((rim, driver.proud), (rim, -driver.recess), "recess")
    neck_radius = driver.neck_radius if tweeter is None else tweeter.housing_radius
    yield Line((rim, -driver.recess), (neck_radius, driver.neck_z), "cone")
    if tweeter is not None:
        yield from _tweeter_outline(tweeter, driver.neck_z)
    elif isinstance(driver.centre, Whizzer):
        yield from _whizzer_outline(driver.centre, driver.neck_z)
    elif isinstance(driver.centre, DustCap):
        yield _dome(driver.centre.radius, driver.centre.height, driver.neck_z, "dust cap")


def upper_outline(
    gap: float,
    reflector: Reflector | None,
    plate: TopPlate | None,
    felt: FeltBand | None = None,
) -> Iterator[Piece]:
    """From the tip on the axis, along the reflector, round the plate, to the axis above."""
    base: Point = (0.0, gap)
    if reflector is not None:
        yield from reflector.profile.shifted(gap).pieces
        base = (reflector.base_radius, gap)
    if plate is None:
        yield Line(base, (0.0, gap), "reflector base")
        return
    edge, flat, top = plate.edge_radius, plate.radius - plate.edge_radius, gap + plate.thickness
    lower, upper = gap + edge, top - edge
    yield from _flat(base[0], flat, gap, "plate underside", felt)
    yield Arc((flat, gap), (plate.radius, lower), (flat, lower), clockwise=False, part="plate edge")
    yield Line((plate.radius, lower), (plate.radius, upper), "plate edge")
    yield Arc((plate.radius, upper), (flat, top), (flat, upper), clockwise=False, part="plate edge")
    yield Line((flat, top), (0.0, top), "plate top")


def _flat(start: float, end: float, z: float, part: str, felt: FeltBand | None) -> Iterator[Piece]:
    """A flat from one radius to another at z, felt on the baffle or under the plate included."""
    if felt is None:
        yield Line((start, z), (end, z), part)
        return
    # Felt that reaches beyond its flat is a clash of its own; here it ends with the flat.
    low, high = min(start, end), max(start, end)
    edges = [min(max(edge, low), high) for edge in (felt.inner, felt.outer)]
    first, last = edges if start < end else edges[::-1]
    name, face = ("plate felt", z - felt.proud) if start < end else ("baffle felt", z + felt.proud)
    corners = ((start, z), (first, z), (first, face), (last, face), (last, z), (end, z))
    for a, b, label in zip(corners, corners[1:], (part, name, name, name, part), strict=False):
        yield Line(a, b, label)


def _whizzer_outline(whizzer: Whizzer, neck_z: float) -> Iterator[Piece]:
    rim_z = neck_z + whizzer.height
    inner_rim, inner_neck = whizzer.radius - WHIZZER_RIM, whizzer.neck_radius - WHIZZER_RIM
    yield Line((whizzer.neck_radius, neck_z), (whizzer.radius, rim_z), "whizzer")
    yield Line((whizzer.radius, rim_z), (inner_rim, rim_z), "whizzer")
    yield Line((inner_rim, rim_z), (inner_neck, neck_z), "whizzer")
    cap_radius = whizzer.cap.radius if whizzer.cap else 0.0
    yield Line((inner_neck, neck_z), (cap_radius, neck_z), "whizzer")
    if whizzer.cap is not None:
        yield _dome(cap_radius, whizzer.cap.height, neck_z, "dust cap")


def _tweeter_outline(tweeter: Tweeter, neck_z: float) -> Iterator[Piece]:
    pod, face = tweeter.housing_radius, tweeter.face_height
    yield Line((pod, neck_z), (pod, face), "pod")
    yield Line((pod, face), (tweeter.dome_radius, face), "pod")
    yield _dome(tweeter.dome_radius, tweeter.dome_height, face, "dome")


def _dome(radius: float, height: float, z: float, part: str) -> Piece:
    if height == 0:
        return Line((radius, z), (0.0, z), part)
    ball = (radius**2 + height**2) / (2 * height)
    return Arc((radius, z), (0.0, z + height), (0.0, z + height - ball), clockwise=False, part=part)
