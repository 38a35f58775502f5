"""Sheets of words: posts to cut, what to get, what it weighs, whether it stands, cautions."""

from __future__ import annotations

from collections.abc import Iterator

from shapes.lengths import in_both, in_mm
from studies.answer.paper.lettering import SMALL, Line, heading, paragraph, table
from studies.answer.paper.page import Leaf, written_leaves
from studies.answer.paper.paper import Layout, Paper
from studies.questions.cut.marks import notes
from studies.questions.cut.study import Cutting

SPEAKERS = 2
"""Loudspeakers are mostly built in pairs: counts are given for one and for two."""
POUND = 0.45359237
"""kg; the international pound of 1959."""


def list_sheets(cutting: Cutting, paper: Paper) -> list[Leaf]:
    """Return the sheets of lists, as many as they take."""
    layout = Layout(paper)
    width = layout.window.width
    lines = [
        *_posts(cutting, width),
        *_bill(cutting, width),
        *_masses(cutting, width),
        *heading("Take care", width),
        *notes(cutting.cautions, width),
    ]
    return written_leaves("Cutting list, materials, masses, cautions", layout, lines)


def _posts(cutting: Cutting, width: float) -> Iterator[Line]:
    assembly = cutting.assembly
    posts = assembly.posts
    if posts is None:
        return
    length = assembly.post_length
    yield from heading("Posts", width)
    row = (
        str(posts.count),
        str(posts.count * SPEAKERS),
        in_both(2 * posts.radius),
        in_both(length),
        in_both(posts.count * (length + cutting.making.kerf)),
    )
    head = ("for one", "for a pair", "diameter", "cut length", "stock for one, with saw cuts")
    yield from table(head, [row], width, left=(2, 3, 4))
    yield Line(1.0)
    yield from paragraph(
        f"Cut length = plate gap {in_mm(assembly.plate_gap)} + socket in the plate"
        f" {in_mm(posts.socket_plate)} + socket in the baffle {in_mm(posts.socket_baffle)}. All"
        " posts of one speaker within 0.2 mm of each other: cut them against one stop.",
        width,
    )


def _bill(cutting: Cutting, width: float) -> Iterator[Line]:
    yield from heading("Bill of materials", width)
    rows = (
        (item.name, str(item.count), str(item.count * SPEAKERS), item.material, item.size)
        for item in cutting.items
    )
    head = ("part", "one", "pair", "material", "size")
    yield from table(head, rows, width, left=(0, 3, 4), size=SMALL)


def _masses(cutting: Cutting, width: float) -> Iterator[Line]:
    stance = cutting.stance
    yield from heading("Masses of one speaker", width)
    rows = [
        (
            part.name,
            str(part.count),
            part.material,
            f"{part.mass:.2f} kg ({part.mass / POUND:.2f} lb)",
            in_both(part.centre_z),
        )
        for part in cutting.masses
    ]
    rows.append(
        (
            "all of it",
            "",
            "",
            f"{stance.mass:.2f} kg ({stance.mass / POUND:.2f} lb)",
            in_both(stance.centre_of_gravity),
        )
    )
    head = ("part", "count", "material", "mass", "centre above the floor")
    yield from table(head, rows, width, left=(0, 2), size=SMALL)
    yield Line(1.0)
    left_out = "Stuffing, cables, screws, glue and an amplifier are not counted."
    yield from paragraph(f"{left_out} {cutting.steadiness}", width)
