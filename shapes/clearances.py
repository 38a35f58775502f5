"""The distances a builder measures before cutting, as a table."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from shapes.assembly import Assembly, Nearest
from shapes.columns import post_angles
from shapes.gaps import shortest_distance
from shapes.lengths import in_own
from shapes.parts import Posts
from shapes.pieces import place


@dataclass(frozen=True)
class Clearance:
    """One row of the table of clearances: name, value in metres, what it means."""

    name: str
    value_m: float
    note: str


def list_clearances(assembly: Assembly) -> tuple[Clearance, ...]:
    """List the distances that apply to this assembly, in the order of the builder's questions.

    Raises
    ------
    MeridianError
        If an outline cannot be made at all; `find_clashes` then says why.
    """
    column, driver = assembly.column, assembly.driver
    rows = [
        Clearance(
            "frame to edge of baffle",
            column.flat_radius - driver.frame_radius,
            "flat left on the baffle outside the driver's frame",
        )
    ]
    if assembly.upper is not None:
        rows = [*_gap_rows(assembly), *rows]
    rows += _carcass_rows(assembly)
    if assembly.posts is not None:
        rows += _post_rows(assembly, assembly.posts)
    return tuple(rows)


def _carcass_rows(assembly: Assembly) -> Iterator[Clearance]:
    """How the baffle lies over the walls, where it has an outline of its own."""
    column, opening = assembly.column, assembly.driver.cutout_radius
    baffle, walls = column.laid_on, column.footprint
    if baffle is not None:
        out = baffle.footprint.inner_radius - walls.inner_radius
        note = "stands out over the walls" if out >= 0 else "set back: the walls' ends show"
        yield Clearance("baffle past column", out, f"{note}, at the middle of a flat")
        if baffle.footprint.is_round and not walls.is_round:
            yield _corners_row(baffle.footprint.outer_radius - walls.outer_radius)
    if column.wall is not None and opening is not None:
        inside = walls.inset(column.wall).inner_radius
        yield Clearance("opening to walls", inside - opening, "inside, below the baffle")


def _corners_row(room: float) -> Clearance:
    note = "the corners stay under the baffle"
    if room < 0:
        note = "the corners poke past the baffle, which is seen: round them off or leave them"
    return Clearance("column's corners to edge of baffle", room, note)


def _gap_rows(assembly: Assembly) -> Iterator[Clearance]:
    yield Clearance("plate gap", assembly.plate_gap, "baffle's face to underside of top plate")
    if assembly.reflector is not None:
        yield Clearance("rim gap", assembly.rim_gap, "baffle's face to reflector's base edge")
    rest, motion = assembly.nearest_at_rest, assembly.nearest_in_motion
    if math.isfinite(rest.gap):
        yield Clearance("tip clearance", rest.gap, f"at rest, upright, {_over(rest)}")
        yield Clearance(
            "tip clearance in motion",
            motion.gap,
            f"cone out by {in_own(assembly.driver.excursion)}, {_over(motion)}",
        )
    if math.isfinite(assembly.throat_gap):
        says = "chokes the driver" if assembly.is_choked else "does not choke"
        yield Clearance(
            "gap at driver's edge",
            assembly.throat_gap,
            f"ring area {assembly.ring_over_driver:.2f} times the driver's area: {says}",
        )
    if math.isfinite(assembly.gap_over_felt):
        yield Clearance(
            "felt to what is opposite",
            assembly.gap_over_felt,
            "felt on baffle or plate, its thickness taken off unless let in",
        )
    distance, where = shortest_distance(assembly.upper_line, assembly.lower_line)
    yield Clearance("closest approach", distance, f"in any direction, near {place(where)}")


def _post_rows(assembly: Assembly, posts: Posts) -> Iterator[Clearance]:
    yield Clearance(
        "posts to frame", posts.inner_radius - assembly.driver.frame_radius, "on the baffle"
    )
    if assembly.reflector is not None:
        room = posts.inner_radius - assembly.reflector.widest_radius
        yield Clearance("posts to reflector", room, "at the reflector's widest")
    if assembly.plate is not None:
        plate = assembly.plate
        limit = plate.footprint.circle_limit(posts.count, plate.edge_radius + posts.radius)
        room = limit - posts.circle_radius
        yield Clearance("posts to edge of plate", room, "flat left on the plate's underside")
    limit = assembly.column.post_circle_limit(posts.count, posts.radius)
    yield Clearance(
        "posts to edge of baffle",
        limit - posts.circle_radius,
        "how much larger the post circle could be",
    )
    yield from _posts_over_walls(assembly, posts)
    baffle = assembly.column.baffle
    if baffle is not None:
        left = baffle.thickness - posts.socket_baffle
        yield Clearance("wood under the sockets", left, "of the baffle, below the posts")


def _posts_over_walls(assembly: Assembly, posts: Posts) -> Iterator[Clearance]:
    """Where the posts stand over the walls: on them, inside or outside of them."""
    column = assembly.column
    if column.wall is None:
        return
    angles = post_angles(column, posts, assembly.plate)
    outside = min(column.footprint.room(posts.circle_radius, angle) for angle in angles)
    note = _standing(column.wall, posts.radius, outside)
    yield Clearance("posts to outside of walls", outside - posts.radius, note)


def _standing(wall: float, radius: float, room: float) -> str:
    """Say over what a post stands, given its axis' distance from the outside of the walls."""
    if room < -radius:
        return "the posts stand off the column, on the baffle's overhang"
    if room < radius:
        return "the posts stand half off the column, on the baffle's overhang"
    if room < wall + radius:
        return "the posts stand over the walls: no bolt passes through beside them"
    return "the posts stand inside the walls"


def _over(nearest: Nearest) -> str:
    return f"over the {nearest.part} at r {in_own(nearest.radius)}"
