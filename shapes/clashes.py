"""Whether the parts of an assembly fit, found before any acoustics.

Each clash names the part to change, what is wrong with the numbers, and a remedy, written so
that "message: remedy" reads as one sentence.
"""

from collections.abc import Iterator
from functools import lru_cache

from shapes.assembly import Assembly
from shapes.carcass_clashes import Clash, baffle_socket_clashes, carcass_clashes
from shapes.crossings import polyline_crossings, polyline_self_crossings
from shapes.lengths import in_both, in_own
from shapes.parts import (
    WHIZZER_RIM,
    Driver,
    DustCap,
    FeltBand,
    Posts,
    TopPlate,
    Tweeter,
    Whizzer,
)
from shapes.pieces import TOLERANCE, place
from shapes.reflector import Reflector

__all__ = ["Clash", "find_clashes", "fits"]

LEAST_FLAT = 1e-3
"""A reflector needs a flat of at least this radius to be fixed by, metres."""


@lru_cache(maxsize=1024)
def fits(assembly: Assembly) -> bool:
    """Return whether everything fits: no clashes. A search asks it of the same assembly often."""
    return not find_clashes(assembly)


def find_clashes(assembly: Assembly) -> tuple[Clash, ...]:
    """Find everything that does not fit, the parts by themselves first; empty if it can be built.

    Outlines are laid over one another only where each part by itself can be made.
    """
    driver = assembly.driver
    by_itself = (
        *_column_clashes(assembly),
        *_driver_clashes(driver),
        *_centre_clashes(driver),
        *(_tweeter_clashes(assembly.tweeter, driver) if assembly.tweeter else ()),
        *(_plate_clashes(assembly.plate) if assembly.plate else ()),
        *_felt_clashes(assembly),
    )
    together = (
        *(_reflector_clashes(assembly, assembly.reflector) if assembly.reflector else ()),
        *(_post_clashes(assembly, assembly.posts) if assembly.posts else ()),
    )
    outlines = () if by_itself else tuple(_outline_clashes(assembly))
    return by_itself + together + outlines


def _column_clashes(assembly: Assembly) -> Iterator[Clash]:
    column, driver = assembly.column, assembly.driver
    if column.edge_radius > min(column.width / 2, column.height):
        yield Clash(
            "column",
            f"the baffle's edge radius of {in_own(column.edge_radius)} is more than the column "
            f"({in_own(column.width)} wide, {in_own(column.height)} high) can hold",
            "make the edge radius smaller",
        )
    elif column.laid_on is None and driver.frame_radius > column.flat_radius + TOLERANCE:
        yield Clash(
            "column",
            f"the driver's frame, {_across(driver.frame_radius)} across, is wider than the flat "
            f"of the baffle, {_across(column.flat_radius)} (column less edge radius)",
            "take a wider column, a smaller edge radius or a smaller driver",
        )
    if -driver.neck_z >= column.height:
        yield Clash(
            "column",
            f"the cone reaches {in_own(-driver.neck_z)} below the baffle, to the foot of the "
            f"column ({in_own(column.height)} high)",
            "check the units of the column's height and of the cone's depth",
        )
    yield from carcass_clashes(column, driver)


def _driver_clashes(driver: Driver) -> Iterator[Clash]:
    effective, frame = driver.effective_radius, driver.frame_radius
    if frame < effective or (frame == effective and driver.proud > 0):
        yield Clash(
            "driver",
            f"the frame, {_across(frame)} across, is no wider than the effective diameter "
            f"of the cone, {_across(effective)}",
            "measure the frame over all, and the cone with half of its surround",
        )
    cutout = driver.cutout_radius
    if cutout is not None and not effective <= cutout <= frame:
        yield Clash(
            "driver",
            f"the opening, {_across(cutout)} across, does not lie between the cone "
            f"({_across(effective)}) and the frame ({_across(frame)})",
            "correct the opening, the effective diameter or the frame",
        )


def _centre_clashes(driver: Driver) -> Iterator[Clash]:
    if isinstance(driver.centre, Whizzer):
        yield from _whizzer_clashes(driver.centre, driver)
    elif driver.centre is not None:
        yield from _cap_clashes(driver.centre, driver.effective_radius, "the cone")


def _cap_clashes(cap: DustCap, room: float, what: str) -> Iterator[Clash]:
    if cap.radius > room + TOLERANCE:
        yield Clash(
            "dust cap",
            f"the dust cap, {_across(cap.radius)} across, is wider than {what} has room for "
            f"({_across(max(room, 0.0))})",
            "correct its diameter",
        )
    if cap.height > cap.radius:
        yield Clash(
            "dust cap",
            f"the dust cap is {in_own(cap.height)} high and only {_across(cap.radius)} across: "
            "more than half a ball",
            "measure its height from the edge where it meets the cone",
        )


def _whizzer_clashes(whizzer: Whizzer, driver: Driver) -> Iterator[Clash]:
    neck, rim, cone = whizzer.neck_radius, whizzer.radius, driver.effective_radius
    if not WHIZZER_RIM < neck <= rim < cone:
        yield Clash(
            "whizzer",
            f"the whizzer, {_across(neck)} across at its neck and {_across(rim)} at its rim, does "
            f"not open upwards inside the cone ({_across(cone)})",
            "correct its neck and rim diameters",
        )
    elif driver.cone_depth * (rim - neck) / (cone - neck) >= whizzer.height:
        yield Clash(
            "whizzer",
            f"the whizzer, {in_own(whizzer.height)} high and {_across(rim)} across, would pass "
            "through the cone",
            "make it higher or narrower, or the cone less deep",
        )
    if whizzer.cap is not None:
        yield from _cap_clashes(whizzer.cap, neck - WHIZZER_RIM, "the whizzer's neck")


def _tweeter_clashes(tweeter: Tweeter, driver: Driver) -> Iterator[Clash]:
    dome, pod, cone = tweeter.dome_radius, tweeter.housing_radius, driver.effective_radius
    if not dome <= pod < cone:
        yield Clash(
            "tweeter",
            f"the dome ({_across(dome)}) must fit on its housing ({_across(pod)}), and that "
            f"inside the cone ({_across(cone)})",
            "correct the diameters",
        )
    if tweeter.dome_height > dome:
        yield Clash(
            "tweeter",
            f"the dome is {in_own(tweeter.dome_height)} high and only {_across(dome)} across: "
            "more than half a ball",
            "correct its height or diameter",
        )
    if tweeter.face_height <= driver.neck_z:
        yield Clash(
            "tweeter",
            f"its face at {in_own(tweeter.face_height)} from the baffle lies under the cone's neck "
            f"at {in_own(driver.neck_z)}",
            "raise the face or make the cone deeper",
        )


def _plate_clashes(plate: TopPlate) -> Iterator[Clash]:
    if 2 * plate.edge_radius > plate.thickness + TOLERANCE:
        yield Clash(
            "plate",
            f"an edge radius of {in_own(plate.edge_radius)} is more than half of the plate's "
            f"thickness of {in_own(plate.thickness)}",
            f"make it {in_own(plate.thickness / 2)} (a full round) or less",
        )
    if plate.edge_radius > plate.radius:
        yield Clash(
            "plate",
            f"an edge radius of {in_own(plate.edge_radius)} is more than the plate's radius of "
            f"{in_own(plate.radius)}",
            "make it smaller",
        )


def _reflector_clashes(assembly: Assembly, reflector: Reflector) -> Iterator[Clash]:
    gap, plate = assembly.plate_gap, assembly.plate
    if reflector.base_radius < LEAST_FLAT:
        yield Clash(
            "reflector",
            f"the reflector ({reflector.label}) has no flat to fix it by",
            "cut a flat: keep less of the ball",
        )
    if reflector.height > gap + TOLERANCE:
        yield Clash(
            "reflector",
            f"the reflector is {in_both(reflector.height)} tall but the plate gap is "
            f"{in_both(gap)}: its tip would hang below the baffle's face",
            "make the plate gap larger (longer posts) or the reflector lower (keep less of a ball)",
        )
    if plate is None:
        return
    if reflector.widest_radius > plate.footprint.inner_radius + TOLERANCE:
        yield Clash(
            "reflector",
            f"the reflector, {_across(reflector.widest_radius)} across, is wider than the top "
            f"plate, {_across(plate.footprint.inner_radius)}",
            "take a larger plate or a smaller base",
        )
    elif reflector.base_radius > plate.flat_radius + TOLERANCE:
        yield Clash(
            "reflector",
            f"the reflector's base, {_across(reflector.base_radius)} across, reaches past the "
            f"flat of the plate's underside, {_across(plate.flat_radius)}, over its rounded edge",
            "take a larger plate, a smaller edge radius or a smaller base",
        )


def _post_clashes(assembly: Assembly, posts: Posts) -> Iterator[Clash]:
    yield from _post_end_clashes(assembly, posts)
    frame, reflector = assembly.driver.frame_radius, assembly.reflector
    if posts.inner_radius < frame - TOLERANCE:
        yield Clash(
            "posts",
            f"the posts begin {in_own(posts.inner_radius)} from the axis, inside the driver's "
            f"frame at {in_own(frame)}",
            f"make the post circle at least {_across(frame + posts.radius)} across",
        )
    if reflector is not None and posts.inner_radius < reflector.widest_radius - TOLERANCE:
        yield Clash(
            "posts",
            f"the posts begin {in_own(posts.inner_radius)} from the axis, inside the reflector, "
            f"which reaches to {in_own(reflector.widest_radius)}",
            "make the post circle larger or the reflector narrower",
        )
    if posts.chord < 2 * posts.radius:
        yield Clash(
            "posts",
            f"{posts.count} posts of {_across(posts.radius)} do not fit side by side: their axes "
            f"are {in_own(posts.chord)} apart",
            "take fewer or thinner posts, or a larger circle",
        )


def _post_end_clashes(assembly: Assembly, posts: Posts) -> Iterator[Clash]:
    plate = assembly.plate
    limit = assembly.column.post_circle_limit(posts.count, posts.radius)
    if posts.circle_radius > limit + TOLERANCE:
        yield Clash(
            "posts",
            f"the posts, on a circle {_across(posts.circle_radius)} across, do not stand wholly "
            "on the flat of the baffle",
            f"make the post circle at most {_across(max(limit, 0.0))} across or the "
            + ("column wider" if assembly.column.laid_on is None else "baffle larger"),
        )
    yield from baffle_socket_clashes(assembly.column, posts)
    if plate is None:
        yield Clash("posts", "there is no top plate on the posts", "add a plate or leave them out")
        return
    spare = plate.edge_radius + posts.radius
    if posts.circle_radius > plate.footprint.circle_limit(posts.count, spare) + TOLERANCE:
        yield Clash(
            "posts",
            f"the posts reach {in_own(posts.outer_radius)} from the axis, past the flat of the "
            f"plate's underside at {in_own(plate.flat_radius)}",
            "make the post circle smaller, the plate larger or its edge radius smaller",
        )
    if posts.socket_plate >= plate.thickness:
        yield Clash(
            "posts",
            f"sockets {in_own(posts.socket_plate)} deep go through the plate, "
            f"{in_own(plate.thickness)} thick",
            "make the sockets shallower or the plate thicker",
        )


def _felt_clashes(assembly: Assembly) -> Iterator[Clash]:
    if (felt := assembly.baffle_felt) is not None:
        free = (assembly.driver.frame_radius, assembly.column.flat_radius)
        yield from _ring_clashes(felt, "felt on baffle", free, "the driver's frame", "the baffle")
    if assembly.felt_under_plate is not None and assembly.plate is None:
        yield Clash(
            "felt under plate", "there is no top plate for the felt", "add a plate or leave it out"
        )
    if (felt := assembly.plate_felt) is not None and assembly.plate is not None:
        widest = assembly.reflector.widest_radius if assembly.reflector else 0.0
        free = (widest, assembly.plate.flat_radius)
        yield from _ring_clashes(felt, "felt under plate", free, "the reflector", "the plate")


def _ring_clashes(
    felt: FeltBand, part: str, free: tuple[float, float], inside: str, board: str
) -> Iterator[Clash]:
    inner, outer = free
    if felt.width <= TOLERANCE:
        yield Clash(
            part,
            f"the felt runs from {_across(felt.inner)} to {_across(felt.outer)}: there is no room"
            " for it",
            "make its outer diameter larger or its inner one smaller, or leave it out",
        )
        return
    if felt.inner < inner - TOLERANCE:
        yield Clash(
            part,
            f"the felt begins {_across(felt.inner)} across, inside {inside} ({_across(inner)})",
            f"make its inner diameter {_across(inner)} or more, or leave it out",
        )
    if felt.outer > outer + TOLERANCE:
        yield Clash(
            part,
            f"the felt is {_across(felt.outer)} across, wider than the flat of {board}"
            f" ({_across(outer)})",
            f"make its outer diameter {_across(outer)} or less, or leave it out",
        )


def _outline_clashes(assembly: Assembly) -> Iterator[Clash]:
    upper = assembly.upper
    for crossing in polyline_self_crossings(assembly.lower_line)[:1]:
        yield Clash(
            "driver",
            f"the driver's outline meets itself near {place(crossing)}",
            "check the sizes of the driver's parts",
        )
    if upper is None:
        return
    name = "reflector" if assembly.reflector is not None else "plate"
    for crossing in polyline_self_crossings(assembly.upper_line)[:1]:
        yield Clash(
            name,
            f"the outline of reflector and plate meets itself near {place(crossing)}",
            "check the reflector's profile and the plate's size",
        )
    if assembly.gap_over_felt <= 0:
        yield Clash(
            "felt on baffle" if assembly.baffle_felt else "felt under plate",
            f"the felt is {in_both(-assembly.gap_over_felt)} thicker than there is room for",
            "take thinner felt or make the plate gap larger",
        )
        return
    if assembly.tip_clearance_in_motion <= 0:
        yield _tip_clash(name, assembly)
    elif crossings := polyline_crossings(assembly.upper_line, assembly.lower_line):
        yield Clash(
            name,
            f"the {name} meets the driver or column near {place(crossings[0])}",
            "make the plate gap larger or the reflector smaller",
        )


def _tip_clash(name: str, assembly: Assembly) -> Clash:
    rest, motion = assembly.nearest_at_rest, assembly.nearest_in_motion
    short = "make the plate gap larger or the reflector lower (keep less of a ball), by more than "
    if rest.gap <= 0:
        message = f"the {name} reaches {in_both(-rest.gap)} into the {rest.part} at rest"
    else:
        message = (
            f"the {name} clears the {motion.part} by {in_both(rest.gap)} at rest, but the driver "
            f"moves out by {in_both(assembly.driver.excursion)}: they touch"
        )
    return Clash(name, message, short + in_both(-motion.gap))


def _across(radius: float) -> str:
    """Write a radius as the diameter that is measured."""
    return in_own(2 * radius)
