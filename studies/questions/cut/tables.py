"""The answer to "what do I cut?" in sentences and tables."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from shapes.lengths import in_both, in_degrees
from studies.answer.columns import length, mm, number, text
from studies.answer.table import Fact, Findings, Table

if TYPE_CHECKING:
    from studies.questions.cut.ball_cut import BallCut
    from studies.questions.cut.study import Cutting

PAIR = 2


def cut_tables(cutting: Cutting) -> Findings:
    """Put what goes to the shed into words and tables.

    Parameters
    ----------
    cutting : Cutting

    Returns
    -------
    Findings
    """
    tables = [_parts(cutting), _masses(cutting)]
    if cutting.coordinates:
        tables.append(_coordinates(cutting))
    return Findings(
        "cut",
        cutting.design,
        tuple(_answer(cutting)),
        tuple(_facts(cutting)),
        tuple(tables),
        None,
        cutting.cautions,
    )


def _answer(cutting: Cutting) -> list[str]:
    said = []
    if cutting.ball is not None:
        said += _ball(cutting.ball)
    elif cutting.assembly.reflector is not None:
        reflector = cutting.assembly.reflector
        said.append(
            f"Reflector, {reflector.label}: base diameter {in_both(2 * reflector.base_radius)},"
            f" {in_both(reflector.height)} high, rim slope {in_degrees(reflector.rim_slope)}."
        )
    said += _posts(cutting)
    stance = cutting.stance
    said.append(
        f"One speaker weighs about {stance.mass:.1f} kg, its centre of gravity"
        f" {in_both(stance.centre_of_gravity)} above the floor. {cutting.steadiness}"
    )
    said.append("Print the sheets at 100 % and measure the bar on each before anything is cut.")
    return said


def _ball(ball: BallCut) -> list[str]:
    near, far = ball.blade
    said = [
        f"Keep {in_both(ball.keep)} of the ball of {in_both(ball.diameter)}: cut off"
        f" {in_both(ball.cut_off)}. Check: the flat is then {in_both(ball.base_diameter)} across;"
        f" rim slope {in_degrees(ball.rim_slope)}.",
        f"Mark from the kept pole; the blade runs from {in_both(near)} to {in_both(far)} from it,"
        f" which leaves {in_both(ball.sanding)} to sand off. 1 mm of keep is"
        f" {ball.base_per_keep:.1f} mm across the flat.",
        f"Jig ring of {in_both(ball.ring.inner_diameter)} inside: the flat lies"
        f" {in_both(ball.above_ring(ball.keep, True))} above its top with the kept pole down,"
        f" {in_both(ball.above_ring(ball.keep, False))} with the kept pole up.",
    ]
    for diameter, cut_off, base in ball.spread:
        said.append(
            f"Where the ball measures {in_both(diameter)}, the same keep means cut off"
            f" {in_both(cut_off)} and a base of {in_both(base)}."
        )
    return said


def _posts(cutting: Cutting) -> list[str]:
    assembly = cutting.assembly
    posts = assembly.posts
    if posts is None:
        return []
    words = (
        f"{posts.count} posts (a pair of speakers {posts.count * PAIR}), each"
        f" {in_both(assembly.post_length)} long, within 0.2 mm of each other"
    )
    if posts.count > 1:
        words += f"; their axes are {in_both(posts.chord)} apart, neighbour to neighbour"
    return [f"{words}."]


def _facts(cutting: Cutting) -> list[Fact]:
    assembly, stance = cutting.assembly, cutting.stance
    facts = []
    if cutting.ball is not None:
        ball = cutting.ball
        facts = [
            Fact("ball_diameter_mm", mm(ball.diameter), "mean of the measured diameters, mm"),
            Fact("keep_mm", mm(ball.keep), "from the kept pole to the flat, mm"),
            Fact("cut_off_mm", mm(ball.cut_off), "from the flat to the other pole, mm"),
            Fact("saw_from_mm", mm(ball.blade[0]), "blade's near face from the kept pole, mm"),
            Fact("saw_to_mm", mm(ball.blade[1]), "blade's far face from the kept pole, mm"),
            Fact("jig_ring_mm", mm(ball.ring.inner_diameter), "inner diameter of the ring, mm"),
        ]
    if assembly.reflector is not None:
        base = mm(2 * assembly.reflector.base_radius)
        facts.append(Fact("base_diameter_mm", base, "across the flat: the check, mm"))
    if assembly.posts is not None:
        cut = mm(assembly.post_length)
        facts.append(Fact("post_length_mm", cut, "cut length of a post with sockets, mm"))
        if assembly.posts.count > 1:
            chord = mm(assembly.posts.chord)
            facts.append(Fact("chord_mm", chord, "between the axes of neighbouring posts, mm"))
    return [
        *facts,
        Fact("mass_kg", stance.mass, "one speaker, kg"),
        Fact("centre_of_gravity_mm", mm(stance.centre_of_gravity), "above the floor, mm"),
        Fact("tipping_angle_deg", math.degrees(stance.tipping_angle), "leans so far, degrees"),
        Fact("steady", stance.steady, "whether that is enough"),
    ]


def _parts(cutting: Cutting) -> Table:
    columns = (
        text("part", "part", "what to get"),
        number("count", "for\none", "for one speaker", 0),
        number("count_pair", "for\ntwo", "for a pair", 0),
        text("material", "material", "what it is made of"),
        text("size", "size", "what to measure"),
    )
    rows = tuple(
        (item.name, item.count, item.count * PAIR, item.material, item.size)
        for item in cutting.items
    )
    return Table("parts", "Bill of materials", columns, rows)


def _masses(cutting: Cutting) -> Table:
    columns = (
        text("part", "part", "part of one speaker"),
        number("count", "count", "how many of it", 0),
        text("material", "material", "what it is made of"),
        number("mass_kg", "mass, kg", "mass of all of them, kg", 2),
        length("centre_mm", "centre above floor", "height of its centre above the floor"),
    )
    rows = tuple(
        (part.name, part.count, part.material, part.mass, mm(part.centre_z))
        for part in cutting.masses
    )
    return Table("masses", "Masses of one speaker", columns, rows)


def _coordinates(cutting: Cutting) -> Table:
    columns = (
        length("radius_mm", "radius", "from the axis"),
        length("depth_mm", "depth", "from the flat to the finished surface"),
    )
    rows = tuple((mm(point.radius), mm(point.depth)) for point in cutting.coordinates)
    return Table("profile", "Coordinates of the profile", columns, rows, scope="data")
