"""Sheets of words: numbers to drill by, coordinates, posts, what to get, masses, cautions."""

from __future__ import annotations

from collections.abc import Iterator

from shapes.clearances import list_clearances
from shapes.lengths import INCH, in_both, in_inches, in_kg, in_mm, in_own
from studies.answer.cautions import tips_over
from studies.answer.charts.style import in_both_formats
from studies.answer.report.report import inline_svg
from studies.answer.report.sheets import SheetBlock, WrittenSheet, sheets_html
from studies.questions.cut.carpentry import (
    air_sentence,
    board_rows,
    gluing,
    port_sentences,
    shopping,
)
from studies.questions.cut.drill_plan import reflector_rings
from studies.questions.cut.figures import boards_figure
from studies.questions.cut.study import SPEAKERS, Cutting
from studies.questions.cut.words import about_templates, drill_notes

ON_THE_BOARDS = (
    "frame to", "posts to", "baffle past", "column's corners", "opening to", "wood under"
)  # fmt: skip
"""Clearances on plate, baffle and column begin so; the gaps have a sheet of their own."""


def lists_html(cutting: Cutting) -> bytes:
    """Write the sheets of words as one HTML file, to be printed beside the drawings."""
    sheets = [
        WrittenSheet("Drill plan: numbers", tuple(_drilling(cutting))),
        WrittenSheet("Cutting list, materials, masses, cautions", tuple(_lists(cutting))),
    ]
    if cutting.coordinates:
        sheets.insert(0, WrittenSheet("Coordinates of the profile", (_coordinates(cutting),)))
    return sheets_html(cutting.design, sheets)


def _coordinates(cutting: Cutting) -> SheetBlock:
    in_inches_first = cutting.design.unit == "in"
    exact = "Decimals of an inch" if in_inches_first else "Millimetres"
    columns = ("radius, mm", "radius, in", "depth, mm", "depth, in")
    if in_inches_first:
        columns = ("radius, in", "radius, in, decimal", "depth, in", "depth, in, decimal")
    return SheetBlock(
        intro=f"{about_templates(cutting.assembly.hung_reflector)} Radius from the axis, depth from"
        f" the flat, both to the finished surface; fractions to the nearest 1/32 in. {exact} are"
        " exact to the digit shown.",
        columns=columns,
        rows=tuple(
            (*_place(point.radius, in_inches_first), *_place(point.depth, in_inches_first))
            for point in cutting.coordinates
        ),
        words=(),
    )


def _place(size: float, in_inches_first: bool) -> tuple[str, str]:
    """A coordinate twice: as a rule has it, and exactly."""
    fraction = in_inches(size).removesuffix(" in")
    if in_inches_first:
        return fraction, f"{size / INCH:.3f}"
    return in_mm(size, 2).removesuffix(" mm"), fraction


def _drilling(cutting: Cutting) -> Iterator[SheetBlock]:
    picture = in_both_formats(boards_figure(cutting))["svg"].decode("utf-8")
    yield SheetBlock(
        picture=inline_svg(picture, "boards"),
        columns=("", "dimension"),
        rows=tuple(_dimensions(cutting)),
        words=(0, 1),
    )
    rooms = tuple(
        (row.name, in_both(row.value_m), row.note)
        for row in list_clearances(cutting.assembly)
        if row.name.startswith(ON_THE_BOARDS)
    )
    yield SheetBlock(
        heading="Does it clash?",
        columns=("", "room", ""),
        rows=rooms,
        words=(0, 1, 2),
        points=tuple(drill_notes(cutting)),
    )


def _dimensions(cutting: Cutting) -> Iterator[tuple[str, str]]:
    posts, driver = cutting.assembly.posts, cutting.assembly.driver
    if posts is not None:
        yield "post circle, diameter", in_both(2 * posts.circle_radius)
        yield "posts at, degrees", ", ".join(f"{angle:.4g}" for angle in cutting.post_angles_deg)
        if posts.count > 1:
            law = f"circle x sin(180/{posts.count})"
            yield f"chord between neighbours ({law})", in_both(posts.chord)
        yield "drill", in_both(2 * posts.radius)
        yield "socket in the plate, from below", _depth(posts.socket_plate)
        yield "socket in the baffle", _depth(posts.socket_baffle)
    yield "driver's frame", in_both(2 * driver.frame_radius)
    if driver.cutout_radius is not None:
        yield "driver's opening", in_both(2 * driver.cutout_radius)
    for ring in reflector_rings(cutting):
        yield f"reflector's {ring.name}", in_both(2 * ring.radius)
    if cutting.making.spigot is not None:
        yield "spigot, depth in the reflector", in_both(cutting.making.spigot.depth)


def _depth(socket: float) -> str:
    return f"{in_both(socket)} deep" if socket else "none given: fix the posts by screws"


def _lists(cutting: Cutting) -> Iterator[SheetBlock]:
    yield from _posts(cutting)
    yield from _boards(cutting)
    yield SheetBlock(
        heading="Bill of materials",
        columns=("part", "one", "pair", "material", "size"),
        rows=tuple(
            (item.name, str(item.count), str(item.count * SPEAKERS), item.material, item.size)
            for item in cutting.items
        ),
        words=(0, 3, 4),
    )
    yield _masses(cutting)
    yield SheetBlock(heading="Take care", points=cutting.cautions)


def _posts(cutting: Cutting) -> Iterator[SheetBlock]:
    assembly, posts = cutting.assembly, cutting.assembly.posts
    if posts is None:
        return
    row = (
        str(posts.count),
        str(posts.count * SPEAKERS),
        in_both(2 * posts.radius),
        in_both(assembly.post_length),
        in_both(cutting.post_stock),
    )
    yield SheetBlock(
        heading="Posts",
        columns=(
            "for one",
            "for a pair",
            "diameter",
            "cut length",
            "stock for one, with saw cuts",
        ),
        rows=(row,),
        words=(2, 3, 4),
        text=f"Cut length = plate gap {in_own(assembly.plate_gap)} + socket in the plate"
        f" {in_own(posts.socket_plate)} + socket in the baffle {in_own(posts.socket_baffle)}. All"
        f" posts of one speaker within {in_own(cutting.design.post_tolerance)} of each other: cut"
        " them against one stop.",
    )


def _boards(cutting: Cutting) -> Iterator[SheetBlock]:
    """Boards of the column: sizes, gluing, what to buy; then the air inside."""
    carcass, boards = cutting.carcass, cutting.carcass.boards
    if boards is not None:
        yield SheetBlock(
            heading="Boards of the column",
            columns=("", "size"),
            rows=tuple(board_rows(carcass, boards)),
            words=(0, 1),
        )
        yield SheetBlock(heading="Order of gluing", points=tuple(gluing(carcass, boards)))
        yield SheetBlock(
            heading="What to buy for the column",
            columns=("part", "true size", "as sold"),
            rows=tuple(shopping(cutting, boards)),
            words=(0, 1, 2),
        )
    if cutting.carcass_is_told:
        said = " ".join((air_sentence(cutting), *port_sentences(cutting)))
        yield SheetBlock(heading="Air inside", text=said)


def _masses(cutting: Cutting) -> SheetBlock:
    stance = cutting.stance
    rows = [
        (part.name, str(part.count), part.material, _mass(part.mass), in_both(part.centre_z))
        for part in cutting.masses
    ]
    whole = ("all of it", "", "", _mass(stance.mass), in_both(stance.centre_of_gravity))
    return SheetBlock(
        heading="Masses of one speaker",
        columns=("part", "count", "material", "mass", "centre above the floor"),
        rows=(*rows, whole),
        words=(0, 2),
        text="Stuffing, cables, screws, glue and an amplifier are not counted."
        f" {tips_over(stance)}",
    )


def _mass(kilograms: float) -> str:
    return in_kg(kilograms, 2)
