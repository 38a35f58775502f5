"""Whether column, baffle and foot fit one another, the driver and the posts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from shapes.columns import Baffle, Column
from shapes.lengths import in_both
from shapes.parts import Driver, Posts
from shapes.pieces import TOLERANCE

LEAST_STEP = 1e-4
"""A baffle whose edge is rounded stands on its underside with at least this much edge, metres."""

LEAST_REST = 3e-3
"""Width of wall that a baffle should rest on, metres: common practice, no source."""


@dataclass(frozen=True)
class Clash:
    """Something that does not fit: the part to change, what is wrong, and a remedy."""

    part: str
    message: str
    remedy: str


def carcass_clashes(column: Column, driver: Driver) -> Iterator[Clash]:
    """Find what does not fit of walls, baffle and foot.

    Walls are held against the rest only where the column says how thick they are.
    """
    if column.wall is not None:
        yield from _wall_clashes(column, column.wall, driver)
    if column.laid_on is not None:
        yield from _baffle_clashes(column, column.laid_on, driver)
    thick = 0.0 if column.baffle is None else column.baffle.thickness
    foot = 0.0 if column.foot is None else column.foot.thickness
    if thick + foot >= column.height:
        yield Clash(
            "column",
            f"baffle and foot, {in_both(thick + foot)} thick together, leave no column of"
            f" {in_both(column.height)}",
            "check the units of their thickness, or make the column higher",
        )


def _wall_clashes(column: Column, wall: float, driver: Driver) -> Iterator[Clash]:
    inside = column.footprint.inset(wall).inner_radius
    if inside <= TOLERANCE:
        yield Clash(
            "column",
            f"walls of {in_both(wall)} leave no room inside a column {in_both(column.width)} wide",
            "take thinner walls or wider boards",
        )
        return
    opening = driver.cutout_radius
    if opening is not None and opening > inside + TOLERANCE:
        yield Clash(
            "column",
            f"the driver's opening, {in_both(2 * opening)} across, is wider than the room between"
            f" the walls, {in_both(2 * inside)}",
            f"take boards or walls that leave {in_both(2 * opening)}, or a smaller driver",
        )


def _baffle_clashes(column: Column, baffle: Baffle, driver: Driver) -> Iterator[Clash]:
    flat, thick = column.flat_radius, baffle.thickness
    if driver.frame_radius > flat + TOLERANCE:
        yield Clash(
            "baffle",
            f"the driver's frame, {in_both(2 * driver.frame_radius)} across, is wider than the flat"
            f" of the baffle, {in_both(2 * flat)} (baffle less edge radius)",
            f"make the baffle at least"
            f" {in_both(2 * (driver.frame_radius + baffle.edge_radius))} across",
        )
    if baffle.edge_radius > thick - LEAST_STEP:
        yield Clash(
            "baffle",
            f"an edge radius of {in_both(baffle.edge_radius)} is all of its thickness of"
            f" {in_both(thick)}",
            "make the edge radius smaller or the baffle thicker",
        )
    below = driver.radius_below(thick)
    if below > column.radius - TOLERANCE:
        yield Clash(
            "baffle",
            f"below the baffle, {in_both(thick)} thick, the cone is still {in_both(2 * below)}"
            f" across and comes out beside the column, {in_both(2 * column.radius)} across",
            f"make the baffle {in_both(-driver.neck_z)} thick or more, or the column wider",
        )
    if column.wall is None:
        return
    inside = column.footprint.inset(column.wall)
    needed = inside.outer_radius if baffle.footprint.is_round else inside.inner_radius
    if baffle.footprint.inner_radius < needed + LEAST_STEP:
        yield Clash(
            "baffle",
            f"a baffle {in_both(baffle.footprint.width)} across does not cover the room between the"
            f" walls, {in_both(2 * needed)} across"
            + ("" if inside.is_round or not baffle.footprint.is_round else " its corners"),
            f"make it {in_both(2 * (needed + LEAST_REST))} across or more, or let it in",
        )


def baffle_socket_clashes(column: Column, posts: Posts) -> Iterator[Clash]:
    """Find sockets that go through a baffle whose thickness is known."""
    baffle = column.baffle
    if baffle is not None and posts.socket_baffle >= baffle.thickness - TOLERANCE:
        yield Clash(
            "posts",
            f"sockets {in_both(posts.socket_baffle)} deep go through the baffle,"
            f" {in_both(baffle.thickness)} thick",
            f"make them shallower than {in_both(baffle.thickness)} or the baffle thicker",
        )
