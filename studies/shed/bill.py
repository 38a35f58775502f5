"""What to get and what to take care of: bill of materials, cautions of these materials."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from shapes.lengths import in_both, in_degrees, in_mm
from shapes.reflector import Reflector
from studies.shed.cutting import Cutting
from studies.tables import cautions

TALL = 3.0
"""A column more than so many times as high as its base is wide is tall, whatever it weighs."""


@dataclass(frozen=True)
class Item:
    """One line of the bill of materials for one speaker."""

    name: str
    count: int
    material: str
    size: str


def bill_of_materials(cutting: Cutting) -> tuple[Item, ...]:
    """List what one speaker takes, from the floor up."""
    return tuple(_items(cutting))


def _items(cutting: Cutting) -> Iterator[Item]:
    assembly, making = cutting.assembly, cutting.making
    driver, plate, posts = assembly.driver, assembly.plate, assembly.posts
    yield from _column_items(cutting)
    yield Item("driver", 1, "", f"frame {in_both(2 * driver.frame_radius)} across")
    if assembly.reflector is not None:
        yield _reflector_item(cutting, assembly.reflector)
    if plate is not None:
        size = f"{in_both(2 * plate.radius)} across, {in_both(plate.thickness)} thick"
        if plate.edge_radius:
            size += f", edges rounded {in_both(plate.edge_radius)}"
        yield Item("top plate, round", 1, making.plate_material.name, size)
    if posts is not None:
        size = f"{in_both(2 * posts.radius)} across, cut to {in_both(assembly.post_length)}"
        yield Item("post", posts.count, making.post_material.name, size)
    if assembly.upper is not None:
        rods = posts.count if posts is not None else 3
        yield Item("threaded rod for the mock-up", rods, "steel", "with nuts, to set any plate gap")


def _column_items(cutting: Cutting) -> Iterator[Item]:
    column, making = cutting.assembly.column, cutting.making
    material, wall = making.column_material.name, in_both(making.column_wall)
    width = f"{in_both(column.width)} across{'' if column.shape == 'round' else ' the flats'}"
    high = f"{in_both(column.height)} from floor to baffle's face"
    yield Item(f"column, {column.shape}", 1, material, f"{width} outside, wall {wall}, {high}")
    edge = f", upper edge rounded {in_both(column.edge_radius)}" if column.edge_radius else ""
    yield Item("baffle", 1, material, f"{width}, {wall} thick{edge}")
    yield Item("column bottom", 1, material, f"{width}, {wall} thick")
    if making.foot_width is not None:
        yield Item("foot", 1, "", f"{in_both(making.foot_width)} wide")


def _reflector_item(cutting: Cutting, reflector: Reflector) -> Item:
    material, ball = cutting.making.reflector_material.name, cutting.ball
    if ball is not None:
        size = f"ball of {in_both(ball.diameter)}, keep {in_both(ball.keep)}"
        return Item("ball for the reflector", 1, material, size)
    size = f"{in_both(2 * reflector.widest_radius)} across, {in_both(reflector.height)} high"
    return Item(f"reflector, {reflector.kind}", 1, material, size)


def steadiness(cutting: Cutting) -> str:
    """Tell how far the speaker leans before it falls, and whether that is enough."""
    stance = cutting.stance
    verdict = "steady enough" if stance.steady else "NOT STEADY: widen or weight the foot"
    return (
        f"It tips over at {in_degrees(stance.tipping_angle)} (half the base,"
        f" {in_mm(stance.half_base)}, over the height of the centre of gravity,"
        f" {in_mm(stance.centre_of_gravity)}): {verdict}. 12 to 15 deg or more is wanted."
    )


def cautions_of(cutting: Cutting) -> tuple[str, ...]:
    """List the cautions that belong to these materials and tools, and no others."""
    return tuple(dict.fromkeys(_cautions(cutting)))


def _cautions(cutting: Cutting) -> Iterator[str]:
    making, assembly = cutting.making, cutting.assembly
    kinds = {making.column_material.kind}
    if assembly.reflector is not None:
        kinds.add(making.reflector_material.kind)
        yield cautions.BALL[0] if cutting.ball is not None else cautions.TURNING
    if assembly.plate is not None:
        kinds.add(making.plate_material.kind)
    if assembly.posts is not None:
        kinds.add(making.post_material.kind)
    for kind, caution in cautions.MATERIALS.items():
        if kind in kinds:
            yield caution
    if assembly.posts is not None:
        yield cautions.POSTS
    column = assembly.column
    if not cutting.stance.steady or column.height > TALL * column.width:
        yield cautions.TIPPING
    yield cautions.SWEEPS
    yield cautions.LOCAL_RULES
