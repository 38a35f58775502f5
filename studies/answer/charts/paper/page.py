"""One sheet: its header, the bar and the square that tell the printer's scale, its own matter.

Everything is drawn in millimetres of paper, so that 1 mm is 1 mm.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from matplotlib import style
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from shapes.lengths import in_both, in_own, own_unit
from studies.answer.charts.drafting import Sheet
from studies.answer.charts.paper import lettering
from studies.answer.charts.paper.lettering import BODY, SMALL, TITLE, Span, TextLine
from studies.answer.charts.paper.sizes import (
    HEADER,
    MARGIN,
    MM_PER_POINT,
    Box,
    SheetLayout,
)
from studies.answer.charts.style import COMMON_STYLE, INK, QUIET, Look
from studies.answer.release import mark_of, version
from studies.design import Design

INCH = 25.4
FINGERPRINT_LENGTH = 12
PRINT_STYLE = {
    "pdf.fonttype": 42,  # whole letters, so that words can be searched and printers agree
    "path.simplify": False,  # every point of an outline is kept
    "hatch.linewidth": 0.5,
    "font.family": "DejaVu Sans",
}
MARKS = {"mm": (10, 10.0, 5), "in": (16, 6.35, 4)}
"""Of the bar: how many steps, of how many mm, and which of them are marked long."""


@dataclass(frozen=True)
class Imprint:
    """What stands on every sheet: title of the design, program and version, fingerprint.

    `mark` stands in the file's own description, where no one sees it.
    """

    title: str
    program: str
    fingerprint: str
    mark: str = ""


def imprint_of(design: Design) -> Imprint:
    """Imprint of a design's sheets; the fingerprint on paper is its first few digits."""
    return Imprint(
        title=" ".join(design.title.split()),
        program=f"roundcast {version()}",
        fingerprint=design.fingerprint[:FINGERPRINT_LENGTH],
        mark=mark_of(design),
    )


@dataclass(frozen=True)
class Page:
    """A sheet while it is drawn; `axes` covers all of it, in mm from its lower left corner."""

    figure: Figure
    axes: Axes
    layout: SheetLayout

    def drawing(self, box: Box, centre: tuple[float, float], scale: float = 1.0) -> Sheet:
        """Make a drawing inside a box of the page.

        Parameters
        ----------
        box : Box
            On the page, mm.
        centre : (float, float)
            Point of the drawing that comes to lie in the middle of the box, mm.
        scale : float
            Millimetres of the drawing for one of paper; 1 is true size.

        Returns
        -------
        Sheet
            Whatever reaches beyond the box is not printed.
        """
        width, height = self.layout.width, self.layout.height
        place = (box.left / width, box.bottom / height, box.width / width, box.height / height)
        axes = self.figure.add_axes(place)
        axes.set_axis_off()
        half_width, half_height = box.width * scale / 2, box.height * scale / 2
        axes.set_xlim(centre[0] - half_width, centre[0] + half_width)
        axes.set_ylim(centre[1] - half_height, centre[1] + half_height)
        return Sheet(axes, MM_PER_POINT * scale)


@dataclass(frozen=True)
class Leaf:
    """A sheet to be printed: its title, how it lies, and what draws its own matter."""

    title: str
    layout: SheetLayout
    draw: Callable[[Page], None]


def pdf_bytes(leaves: Sequence[Leaf], imprint: Imprint) -> bytes:
    """Print sheets into one PDF; the same sheets give the same bytes."""
    buffer = io.BytesIO()
    about = {"Title": imprint.title, "Creator": imprint.program, "CreationDate": None}
    about |= {"Subject": imprint.mark} if imprint.mark else {}
    with (
        style.context(["default", COMMON_STYLE, PRINT_STYLE]),
        warnings.catch_warnings(),
        PdfPages(buffer, metadata=about) as pdf,
    ):
        # A title may hold signs that the font does not have: a box stands in their place.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        for number, leaf in enumerate(leaves, start=1):
            pdf.savefig(printed(leaf, imprint, f"sheet {number} of {len(leaves)}"))
    return buffer.getvalue()


def printed(leaf: Leaf, imprint: Imprint, number: str) -> Figure:
    """Draw one sheet; `number` is what its header says of its place among the others."""
    layout = leaf.layout
    figure = Figure(figsize=(layout.width / INCH, layout.height / INCH))
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    axes.set_xlim(0, layout.width)
    axes.set_ylim(0, layout.height)
    page = Page(figure, axes, layout)
    _draw_header(page, leaf.title, imprint, number)
    _draw_scale(page, imprint)
    leaf.draw(page)
    for part in figure.axes:
        for text in part.texts:
            text.set_clip_on(True)
            text.set_clip_box(part.bbox)
    return figure


def _draw_header(page: Page, title: str, imprint: Imprint, number: str) -> None:
    width, top = page.layout.width - 2 * MARGIN, page.layout.height - MARGIN
    sheet = f"{number}, {page.layout.paper.name}"
    room = width - lettering.width_of(sheet, BODY) - 5
    lettering.write(
        page.axes,
        (
            TextLine(
                lettering.height_of(TITLE),
                (
                    Span(0, lettering.shortened(title, room, TITLE, bold=True), TITLE, bold=True),
                    Span(width, sheet, BODY, align="right"),
                ),
            ),
            TextLine(
                lettering.height_of(BODY),
                (Span(0, lettering.shortened(imprint.title, width), BODY),),
            ),
        ),
        MARGIN,
        top,
    )
    rule = top - HEADER + 3.0
    page.axes.plot((MARGIN, MARGIN + width), (rule, rule), color=INK, linewidth=0.8)


def _draw_scale(page: Page, imprint: Imprint) -> None:
    layout, axes = page.layout, page.axes
    (x, y), side = layout.square, layout.square_side
    look: Look = {"fill": False, "edgecolor": INK, "linewidth": 0.6}
    axes.add_patch(Rectangle((x, y), side, side, **look))
    _draw_bar(page)
    inside = side - 6.0
    note = (
        "Print at 100 % (actual size), no fit to page. Measure the bar,"
        f" {in_both(layout.bar_length * 1e-3)}, and the square, {in_both(side * 1e-3)}, both ways,"
        " before anything is cut."
    )
    lines = [
        *lettering.paragraph(note, inside, SMALL),
        TextLine(1.5),
        *lettering.paragraph(imprint.program, inside, SMALL),
        *lettering.paragraph(f"design {imprint.fingerprint}", inside, SMALL),
    ]
    lettering.write(axes, lines, x + 3.0, y + side - 3.0)


def _draw_bar(page: Page) -> None:
    """A line of exactly `bar_length`, ticked every 10 mm or 1/4 in."""
    (x0, y0), (x1, y1) = page.layout.bar
    axes, lying = page.axes, page.layout.lying
    look: Look = {"color": INK, "linewidth": 0.6, "solid_capstyle": "butt"}
    axes.plot((x0, x1), (y0, y1), **look)
    count, step, long_every = MARKS[own_unit()]
    for mark in range(count + 1):
        at, long = mark * step, 2.0 if mark % long_every else 4.0
        if lying:
            axes.plot((x0, x0 + long), (y0 + at, y0 + at), **look)
        else:
            axes.plot((x0 + at, x0 + at), (y0, y0 + long), **look)
    words: Look = {"fontsize": SMALL, "color": QUIET}
    length = page.layout.bar_length
    for share, level, upright in ((0.0, "left", "bottom"), (0.5, "center", "center"),
                                  (1.0, "right", "top")):  # fmt: skip
        at = share * length
        label = in_own(at * 1e-3, 0) if share == 1.0 else in_own(at * 1e-3, 0).split()[0]
        if lying:
            axes.text(x0 + 4.8, y0 + at, label, va=upright, rotation=90, **words)
        else:
            axes.text(x0 + at, y0 + 4.8, label, ha=level, va="bottom", **words)
