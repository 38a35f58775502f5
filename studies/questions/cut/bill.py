"""What to get and what to take care of: bill of materials, cautions of these materials."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from shapes.assembly import Assembly, Column
from shapes.carcass import Carcass
from shapes.footprints import Footprint
from shapes.lengths import in_both, in_degrees
from shapes.making import Making
from shapes.parts import FeltBand
from shapes.reflector import Reflector
from shapes.weights import Stance
from studies.answer import cautions
from studies.design import Design

BALL_CAP = "ball cap"
TALL = 3.0
"""A column more than so many times as high as its base is wide is tall, whatever it weighs."""


@dataclass(frozen=True)
class Item:
    """One line of the bill of materials for one speaker."""

    name: str
    count: int
    material: str
    size: str


def bill_of_materials(assembly: Assembly, making: Making, carcass: Carcass) -> tuple[Item, ...]:
    """List what one speaker takes, from the floor up."""
    return tuple(_items(assembly, making, carcass))


def _items(assembly: Assembly, making: Making, carcass: Carcass) -> Iterator[Item]:
    driver, plate, posts = assembly.driver, assembly.plate, assembly.posts
    yield from _column_items(assembly.column, making, carcass)
    yield Item("driver", 1, "", f"frame {in_both(2 * driver.frame_radius)} across")
    if assembly.reflector is not None:
        yield _reflector_item(assembly.reflector, making)
    if plate is not None:
        size = f"{_width(plate.footprint)}, {in_both(plate.thickness)} thick"
        if plate.edge_radius:
            size += f", edges rounded {in_both(plate.edge_radius)}"
        yield Item(f"top plate, {plate.footprint.name}", 1, making.plate_material.name, size)
    for where, felt in (("on", assembly.baffle_felt), ("under", assembly.plate_felt)):
        if felt is not None:
            board = "baffle" if where == "on" else "plate"
            yield Item(f"felt ring {where} the {board}", 1, "felt", _ring(felt))
    if posts is not None:
        size = f"{in_both(2 * posts.radius)} across, cut to {in_both(assembly.post_length)}"
        yield Item("post", posts.count, making.post_material.name, size)
    if assembly.upper is not None:
        rods = posts.count if posts is not None else 3
        yield Item("threaded rod for the mock-up", rods, "steel", "with nuts, to set any plate gap")


def _ring(felt: FeltBand) -> str:
    return (
        f"{in_both(2 * felt.inner)} inside, {in_both(2 * felt.outer)} outside,"
        f" {in_both(felt.thickness)} thick"
    )


def _width(footprint: Footprint) -> str:
    return f"{in_both(footprint.width)} across{'' if footprint.is_round else ' the flats'}"


def _column_items(column: Column, making: Making, carcass: Carcass) -> Iterator[Item]:
    material = making.column_material.name
    yield _walls(column, making, carcass)
    radius = column.face_edge_radius
    edge = f", upper edge rounded {in_both(radius)}" if radius and not carcass.baffle_let_in else ""
    thick = f"{in_both(carcass.baffle_thickness)} thick"
    baffle = (making.baffle_material or making.column_material).name
    yield Item("baffle", 1, baffle, f"{_width(carcass.baffle)}, {thick}{edge}")
    if not carcass.bottom_is_foot:
        thick = f"{in_both(carcass.bottom_thickness)} thick"
        yield Item("column bottom", 1, material, f"{_width(carcass.bottom)}, {thick}")
    if carcass.foot is not None:
        thick = f"{in_both(carcass.foot.thickness)} thick"
        foot = (making.foot_material or making.column_material).name
        yield Item("foot", 1, foot, f"{_width(carcass.foot.footprint)}, {thick}")
    elif making.foot_width is not None:
        yield Item("foot", 1, "", f"{in_both(making.foot_width)} wide")


def _walls(column: Column, making: Making, carcass: Carcass) -> Item:
    """Boards, or a tube."""
    material, boards = making.column_material.name, carcass.boards
    if boards is not None:
        size = (
            f"{in_both(boards.outside)} wide outside, {in_both(boards.thickness)} thick,"
            f" {in_both(boards.length)} long, both long edges bevelled"
            f" {in_degrees(boards.off_square)} off square"
        )
        return Item(f"column board, {column.shape} column", boards.count, material, size)
    size = f"{_width(column.footprint)} outside, wall {in_both(carcass.wall)}"
    high = f"{in_both(column.height)} from floor to baffle's face"
    if column.wall is not None:
        high = f"{in_both(carcass.wall_length)} long"
    return Item(f"column, {column.shape}", 1, material, f"{size}, {high}")


def _reflector_item(reflector: Reflector, making: Making) -> Item:
    material = making.reflector_material.name
    if reflector.kind == BALL_CAP:
        ball, keep = reflector.fact("ball diameter"), reflector.fact("keep")
        size = f"ball of {in_both(ball)}, keep {in_both(keep)}, cut off {in_both(ball - keep)}"
        return Item("ball for the reflector", 1, material, size)
    size = f"{in_both(2 * reflector.widest_radius)} across, {in_both(reflector.height)} high"
    return Item(f"reflector, {reflector.kind}", 1, material, size)


def cautions_of(design: Design, assembly: Assembly, stance: Stance) -> tuple[str, ...]:
    """List the cautions that belong to these materials and tools, and no others."""
    return tuple(_cautions(design, assembly, stance))


def _cautions(design: Design, assembly: Assembly, stance: Stance) -> Iterator[str]:
    making = design.making
    kinds, reflector = {making.column_material.kind}, assembly.reflector
    if reflector is not None:
        kinds.add(making.reflector_material.kind)
        yield cautions.BALL[0] if reflector.kind == BALL_CAP else cautions.TURNING
    if assembly.plate is not None:
        kinds.add(making.plate_material.kind)
    if assembly.posts is not None:
        kinds.add(making.post_material.kind)
    yield from (caution for kind, caution in cautions.MATERIALS.items() if kind in kinds)
    if assembly.posts is not None:
        yield cautions.posts_alike(design.post_tolerance)
    column = assembly.column
    if not column.footprint.is_round:
        yield from cautions.BOARDS
    if not stance.steady or column.height > TALL * column.width:
        yield cautions.TIPPING
    yield cautions.SWEEPS
    yield cautions.LOCAL_RULES
