"""The column's woodwork in words: boards, bevels, gluing, what to buy, the air inside, the port."""

from __future__ import annotations

from collections.abc import Iterator

from dispersion.ports import lowered_by_height
from shapes.carcass import Boards, Carcass
from shapes.footprints import Footprint
from shapes.lengths import in_area, in_both, in_degrees, in_litres
from studies.questions.cut.stock import boards_needed, nominal_stock
from studies.questions.cut.study import SPEAKERS, Cutting

OFF = 0.1
"""Error of a bevel, degrees, whose sum over all joints is told."""


def outline_words(footprint: Footprint) -> str:
    """Size of a disc or polygon: diameter, or across flats and corners."""
    if footprint.is_round:
        return f"{in_both(footprint.width)} across"
    return (
        f"{footprint.name}, {in_both(footprint.width)} across the flats,"
        f" {in_both(footprint.across_corners)} across the corners"
    )


def bevel_words(boards: Boards) -> str:
    """The bevel of a long edge, counted both ways."""
    square, face = in_degrees(boards.off_square), in_degrees(boards.from_face)
    return f"{square} off square, which is {face} from the outside face"


def boards_sentence(boards: Boards) -> str:
    """Say what to cut for the column."""
    return (
        f"Column: {boards.count} boards (a pair of speakers {boards.count * SPEAKERS}), each"
        f" {in_both(boards.outside)} wide on the outside face, {in_both(boards.thickness)} thick,"
        f" {in_both(boards.length)} long; both long edges bevelled {bevel_words(boards)}."
    )


def board_rows(carcass: Carcass, boards: Boards) -> Iterator[tuple[str, str]]:
    """Sizes to cut and to check by, name and value."""
    yield "boards, for one and for a pair", f"{boards.count} and {boards.count * SPEAKERS}"
    yield "outside face, edge to edge", in_both(boards.outside)
    yield "inside face", in_both(boards.inside)
    yield "thickness", in_both(boards.thickness)
    yield f"length ({_ends(carcass)})", in_both(boards.length)
    yield "bevel of each long edge, off square: the saw's scale", in_degrees(boards.off_square)
    yield "the same from the outside face", in_degrees(boards.from_face)
    yield "column across the flats", in_both(carcass.outside.width)
    yield "column across the corners", in_both(carcass.outside.across_corners)
    yield "inside across the flats", in_both(carcass.inside.width)


def _ends(carcass: Carcass) -> str:
    above = "let in" if carcass.baffle_let_in else "laid on"
    below = "let in" if carcass.bottom_let_in else "laid on"
    closing = "foot" if carcass.bottom_is_foot else "bottom"
    return f"baffle {above}, {closing} {below}"


def gluing(carcass: Carcass, boards: Boards) -> Iterator[str]:
    """The order of the work, step by step."""
    yield (
        f"Bevel {boards.count} short offcuts first and hold them together: {OFF:g} deg wrong on"
        f" every edge is {2 * boards.count * OFF:.1f} deg in the last joint."
    )
    yield _openings(boards)
    yield (
        "Lay all boards outside up, long edges touching, ends against one straight edge; tape over"
        " every joint; turn the whole mat over, glue into the grooves, roll it up and tape the last"
        " joint."
    )
    if boards.count >= 6 and boards.count % 2 == 0:
        yield (
            f"Or glue two halves of {boards.count // 2} boards, true their edges flat on a sheet of"
            " sandpaper, then join them: that takes out what the bevels are off."
        )
    yield (
        f"Band clamps at both ends and in the middle; measure {in_both(carcass.outside.width)}"
        f" {_across(boards)}, and both ends square to the axis, before the glue grips."
    )
    if carcass.bottom_let_in:
        yield f"Let the bottom in while the clamps are on: {outline_words(carcass.bottom)}."
    how = "into the end, flush" if carcass.baffle_let_in else "on the ends, centred by its outline"
    yield (
        "Foot, bottom, braces and all that needs an arm inside come before the baffle; the baffle"
        f" goes {how}, its holes drilled together with those of the top plate."
    )


def _across(boards: Boards) -> str:
    if boards.count % 2:
        return "from each flat to twice the axis: half of it on a rule laid to the middle"
    return f"between flats, {boards.count // 2} times round"


def _openings(boards: Boards) -> str:
    if not boards.opposite:
        return (
            "Number the boards in order. An odd number has no two that face one another; openings"
            " (port, terminals) are cut while the boards lie flat."
        )
    pairs = ", ".join(f"{one} and {other}" for one, other in boards.opposite)
    return (
        f"Number the boards in order; these face one another: {pairs}. Openings (port, terminals)"
        " are cut while the boards lie flat; two that belong opposite go into one of these pairs."
    )


def shopping(cutting: Cutting, boards: Boards) -> Iterator[tuple[str, str, str]]:
    """What to buy for the column's boards: part, true size, as sold."""
    carcass, tables = cutting.carcass, cutting.design.tables
    inches = tables.unit == "in"
    true = (
        f"{in_both(boards.thickness)} x {in_both(boards.outside)} x {in_both(boards.length)},"
        f" {boards.count} of them"
    )
    yield "column board", true, tables.column.stock or _as_sold(cutting, boards, inches=inches)
    for name, footprint, thickness in _panels(carcass):
        sold = "sheet of this thickness"
        if inches:
            sold += "; plywood is 1/32 in or so thinner than its name: measure, write that"
        true = f"{in_both(thickness)} thick, blank {in_both(footprint.across_corners)} square"
        yield name, true, sold


def _panels(carcass: Carcass) -> Iterator[tuple[str, Footprint, float]]:
    yield "baffle", carcass.baffle, carcass.baffle_thickness
    if not carcass.bottom_is_foot:
        yield "column bottom", carcass.bottom, carcass.bottom_thickness
    if carcass.foot is not None:
        yield "foot", carcass.foot.footprint, carcass.foot.thickness


def _as_sold(cutting: Cutting, boards: Boards, *, inches: bool) -> str:
    stock = nominal_stock(boards.outside, boards.thickness) if inches else None
    if stock is None:
        return "any board at least so wide and thick, planed"
    needed = boards_needed(boards.count, boards.length, cutting.making.kerf)
    many = f"; {needed} of 96 in" if needed else ""
    return f"{stock.words}, planed and ripped to size{many}"


def air_sentence(cutting: Cutting) -> str:
    """Say how much air is inside, and what was taken off."""
    air = cutting.air
    guess = ", a guess from its frame" if air.driver_is_guess else ""
    taken = [f"driver {in_litres(air.driver)}{guess}", f"braces {in_litres(air.braces)}"]
    if air.port:
        taken.append(f"port {in_litres(air.port)}")
    return (
        f"Air inside: {in_litres(air.net)}, which is {in_litres(air.empty)} less"
        f" {', '.join(taken)}; stuffing not counted."
    )


def port_sentences(cutting: Cutting) -> Iterator[str]:
    """The resonance of volume and port, where it comes from, where it ends."""
    port, air, speed = cutting.port, cutting.air, cutting.design.air.speed
    if port is None:
        return
    frequency = port.resonance(air.net, speed)
    height = cutting.carcass.inside_height
    lower = lowered_by_height(frequency, height, speed)
    yield (
        f"Port and air inside swing at {frequency:.1f} Hz: area {in_area(port.area)}, depth"
        f" {in_both(port.depth)}, {in_both(port.acoustic_depth)} with both end corrections, by"
        " f = c / (2 pi) sqrt(S / (V L)), the resonator of Helmholtz."
    )
    yield (
        f"That takes the air inside as one spring. With the port at one end of {in_both(height)}"
        f" the resonance lies {100 * lower:.0f} % lower, at some {frequency * (1 - lower):.0f} Hz;"
        " stuffing, leaks and a floor near the port lower it too. How loud the bass is, this does"
        " not say."
    )
