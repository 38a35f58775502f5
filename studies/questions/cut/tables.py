"""What goes to the shed as tables and single numbers."""

from __future__ import annotations

import math
from collections.abc import Iterator

from shapes.carcass import Boards
from shapes.lengths import in_kg
from studies.answer.columns import length, mm, number, text
from studies.answer.table import Fact, Findings, Table, TableColumn
from studies.questions.cut.carpentry import board_rows
from studies.questions.cut.study import SPEAKERS, Cutting
from studies.questions.cut.words import answer


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
    boards = cutting.carcass.boards
    if boards is not None:
        tables.insert(0, _boards(cutting, boards))
    if cutting.coordinates:
        tables.append(_coordinates(cutting))
    return Findings(
        command="cut",
        design=cutting.design,
        answer=answer(cutting),
        facts=tuple(_facts(cutting)),
        tables=tuple(tables),
        evidence=None,
        cautions=cutting.cautions,
    )


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
        *_carcass_facts(cutting),
        Fact("mass_kg", stance.mass, "one speaker, kg"),
        Fact("centre_of_gravity_mm", mm(stance.centre_of_gravity), "above the floor, mm"),
        Fact("tipping_angle_deg", math.degrees(stance.tipping_angle), "leans so far, degrees"),
        Fact("steady", stance.steady, "whether that is enough"),
    ]


def _carcass_facts(cutting: Cutting) -> Iterator[Fact]:
    boards, air, port = cutting.carcass.boards, cutting.air, cutting.port
    if boards is not None:
        yield Fact("board_count", boards.count, "boards of one column")
        yield Fact("board_width_mm", mm(boards.outside), "outside face, mm")
        yield Fact("board_length_mm", mm(boards.length), "between what is laid on, mm")
        bevel = math.degrees(boards.off_square)
        yield Fact("bevel_off_square_deg", bevel, "of each long edge, off square, degrees")
        flats, corners = cutting.carcass.outside.width, cutting.carcass.outside.across_corners
        yield Fact("across_flats_mm", mm(flats), "of the column outside, mm")
        yield Fact("across_corners_mm", mm(corners), "of the column outside, mm")
    if cutting.carcass_is_told:
        yield Fact("air_inside_litres", air.net * 1e3, "less driver, braces and port, litres")
    if port is not None:
        hertz = port.resonance(air.net, cutting.design.air.speed)
        yield Fact("port_resonance_hz", hertz, "of air inside and port, elementary formula, Hz")


def _boards(cutting: Cutting, boards: Boards) -> Table:
    columns = (text("name", "", "what is measured"), text("size", "size", "its size"))
    return Table(
        "boards", "Boards of the column", columns, tuple(board_rows(cutting.carcass, boards))
    )


def _parts(cutting: Cutting) -> Table:
    columns = (
        text("part", "part", "what to get"),
        number("count", "for\none", "for one speaker", 0),
        number("count_pair", "for\ntwo", "for a pair", 0),
        text("material", "material", "what it is made of"),
        text("size", "size", "what to measure"),
    )
    rows = tuple(
        (item.name, item.count, item.count * SPEAKERS, item.material, item.size)
        for item in cutting.items
    )
    return Table("parts", "Bill of materials", columns, rows)


def _masses(cutting: Cutting) -> Table:
    columns = (
        text("part", "part", "part of one speaker"),
        number("count", "count", "how many of it", 0),
        text("material", "material", "what it is made of"),
        TableColumn("mass_kg", "mass", "mass of all of them, kg", lambda kg: in_kg(kg, 2)),
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
