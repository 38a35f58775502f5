"""The design as it is built: clearances, gaps, the reflector's dimensions, the seats."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator

from shapes.assembly import Assembly
from shapes.clearances import list_clearances
from shapes.lengths import in_both, in_degrees, in_own
from shapes.making import MakingError
from shapes.reflector import Reflector
from shapes.reflectors import WorkshopFact
from shapes.solids import SolidError
from studies.answer import cautions
from studies.answer.columns import both, mm, number, text, window_in_words
from studies.answer.evidence import outline_sentences
from studies.answer.table import Fact, Findings, Table, TableColumn, Value
from studies.design import Design


def section_tables(design: Design) -> Findings:
    """Put the geometry of a design into words and tables; nothing is solved for it."""
    assembly = design.assembly()
    tables = [_clearances(assembly)]
    if assembly.reflector is not None:
        tables.append(_reflector(assembly.reflector))
    if design.seats:
        tables.append(_seats(design))
    return Findings(
        command="section",
        design=design,
        answer=tuple(_answer(design, assembly)),
        facts=_facts(design, assembly),
        tables=tuple(tables),
        evidence=None,
        cautions=(*_tipping(design), cautions.TIPPING),
    )


def _answer(design: Design, assembly: Assembly) -> list[str]:
    said = [_gaps(assembly), _choking(assembly), _posts(assembly)]
    said.append(
        f"The middle of the ring is {in_both(assembly.height_of_ring)} above the floor; window"
        f" {window_in_words(design.window_deg)}, seen from there."
    )
    return [*said, *outline_sentences(assembly, design.air)]


def _gaps(assembly: Assembly) -> str:
    if assembly.upper is None:
        return "Nothing hangs above the driver, so there is no gap."
    if assembly.reflector is None:
        return (
            f"Nothing hangs below the plate: plate gap {in_both(assembly.plate_gap)}, clear of the"
            f" driver by {in_both(assembly.tip_clearance)} at rest and"
            f" {in_both(assembly.tip_clearance_in_motion)} with the cone out by"
            f" {in_own(assembly.driver.excursion)}."
        )
    rest, motion = in_both(assembly.tip_clearance), in_both(assembly.tip_clearance_in_motion)
    both = f"{rest} at rest and " + ("as much" if rest == motion else motion)
    return (
        f"Three gaps: plate gap {in_both(assembly.plate_gap)}, rim gap {in_both(assembly.rim_gap)},"
        f" tip clearance {both} with the cone out by {in_own(assembly.driver.excursion)}."
    )


def _choking(assembly: Assembly) -> str:
    share = assembly.ring_over_driver
    if math.isinf(share):
        return "The driver is open above its edge: nothing chokes it."
    loads = "its air weighs on the cone, and `gap` says how much"
    verdict = loads if assembly.is_choked else "it does not choke"
    return f"The ring at the driver's edge has {share:.2f} times the driver's area: {verdict}."


def _posts(assembly: Assembly) -> str:
    posts = assembly.posts
    if posts is None:
        return "The file names no posts."
    return (
        f"{posts.count} posts, each cut to {in_both(assembly.post_length)}: plate gap, sockets of"
        f" {in_both(posts.socket_plate)} in the plate and {in_both(posts.socket_baffle)} in the"
        " baffle."
    )


def _tipping(design: Design) -> Iterator[str]:
    """Say how far it may lean; nothing where its walls or its reflector cannot be made so."""
    with contextlib.suppress(MakingError, SolidError):
        yield cautions.tips_over(design.stance)


def _facts(design: Design, assembly: Assembly) -> tuple[Fact, ...]:
    low, high = design.window_deg
    return (
        Fact("plate_gap_mm", mm(assembly.plate_gap), "baffle to underside of the top plate, mm"),
        Fact("rim_gap_mm", mm(assembly.rim_gap), "baffle to the reflector's base edge, mm"),
        Fact("tip_clearance_mm", mm(assembly.tip_clearance), "tip to driver at rest, upright, mm"),
        Fact(
            "tip_clearance_in_motion_mm",
            mm(assembly.tip_clearance_in_motion),
            "the same with the cone out by its excursion, mm",
        ),
        Fact("post_length_mm", mm(assembly.post_length), "cut length of a post with sockets, mm"),
        Fact(
            "ring_over_driver",
            assembly.ring_over_driver,
            "ring area over driver area; below 1 the ring chokes",
        ),
        Fact("chokes", assembly.is_choked, "whether the ring chokes the driver"),
        Fact("ring_height_mm", mm(assembly.height_of_ring), "middle of the ring above floor, mm"),
        Fact("window_low_deg", low, "lowest elevation of the window, degrees"),
        Fact("window_high_deg", high, "highest elevation of the window, degrees"),
    )


def _clearances(assembly: Assembly) -> Table:
    columns = (
        text("name", "", "what is measured"),
        TableColumn("clearance_mm", "clearance", "distance, mm", both),
        text("note", "", "how it is measured"),
    )
    rows = tuple((c.name, mm(c.value_m), c.note) for c in list_clearances(assembly))
    return Table("clearances", "Clearances", columns, rows)


def _reflector(reflector: Reflector) -> Table:
    columns = (
        text("name", "", "dimension of the reflector"),
        text("value", "", "value in words"),
        TableColumn("length_mm", "length", "length, mm; none for an angle", both, shown=False),
        number("angle_deg", "angle", "angle, degrees; none for a length", shown=False),
    )
    rows = tuple(_dimension(fact) for fact in reflector.facts)
    if "rim slope" not in (fact.name for fact in reflector.facts):
        rows += (_dimension(WorkshopFact("rim slope", reflector.rim_slope, "angle")),)
    return Table("reflector", f"Reflector: {reflector.kind}", columns, rows)


def _dimension(fact: WorkshopFact) -> tuple[Value, ...]:
    if fact.unit == "angle":
        return fact.name, in_degrees(fact.value), None, math.degrees(fact.value)
    return fact.name, in_both(fact.value), mm(fact.value), None


def _seats(design: Design) -> Table:
    columns = (
        text("name", "", "name of the seat"),
        TableColumn("ear_height_mm", "ears above floor", "height of the ears, mm", both),
        TableColumn("distance_mm", "from the axis", "level distance from the axis, mm", both),
        number("elevation_deg", "seen at, deg", "degrees above horizontal from the ring", 1),
    )
    rows = tuple(
        (seat.name, mm(seat.ear_height), mm(seat.r), seat.elevation_deg) for seat in design.seats
    )
    return Table("seats", "Seats", columns, rows)
