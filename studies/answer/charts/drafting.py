"""Workshop drawings: dimension lines in millimetres and inches, solids, circles, centre marks."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Polygon
from numpy.typing import ArrayLike

from shapes.lengths import in_both
from studies.answer.charts.style import INK, QUIET, Look

SIZE_PT = 10.0
CHARACTER_PT = 0.6 * SIZE_PT
PAPER = {"facecolor": "white", "edgecolor": "none", "pad": 1.2}
KEEP_LOOK = {"facecolor": "#e3eef5", "hatch": ""}
WASTE_LOOK = {"facecolor": "#b9b2a8", "hatch": "xxx"}
"""Kept is light and plain, waste dark and crossed: they differ on a black and white printer."""
SCALES = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 30.0, 50.0, 100.0)


def scale_for(width: float, height: float, room_width: float, room_height: float) -> float:
    """Smallest reduction at which a drawing (mm) fits into its room on paper (mm); 1 if it can."""
    wanted = max(width / room_width, height / room_height)
    return next((scale for scale in SCALES if scale >= wanted - 1e-9), wanted)


def scale_words(scale: float) -> str:
    """Words that stand beside a drawing of this scale."""
    return "TRUE SIZE" if scale == 1.0 else f"NOT TO SCALE (about 1 : {scale:.3g})"


def solid(axes: Axes, outline: ArrayLike, **look: Any) -> None:
    """Fill a closed outline (N, 2), mm."""
    given: Look = {"edgecolor": INK, "linewidth": 0.8, "zorder": 2}
    axes.add_patch(Polygon(np.asarray(outline), closed=True, **(given | look)))


@dataclass(frozen=True)
class Sheet:
    """A drawing in millimetres at a known scale, so that lettering never collides.

    Attributes
    ----------
    axes : Axes
    pt : float
        Millimetres of the drawing that one point of paper stands for.
    """

    axes: Axes
    pt: float

    def line(self, x: tuple[float, ...], y: tuple[float, ...], **look: Any) -> None:
        """Draw a thin line."""
        given: Look = {"color": QUIET, "linewidth": 0.7, "zorder": 6}
        self.axes.plot(x, y, **(given | look))

    def upright(
        self,
        x: float,
        z: tuple[float, float],
        name: str,
        reach: tuple[float, float],
        push: str = "",
    ) -> None:
        """Dimension an upright distance z (mm) at x, with its lettering along the line.

        Parameters
        ----------
        x, z
            Where the line stands, and its ends, mm.
        name : str
            Of the dimension; its length is written below.
        reach : (float, float)
            Where the extension lines to the lower and upper end begin, mm.
        push : {"", "up", "down"}
            Which way lettering longer than the line may stick out.
        """
        for end, start in zip(z, reach, strict=True):
            self.line((start, x - 4 * self.pt), (end, end), linewidth=0.5)
            self._stroke(x, end)
        self.line((x, x), z, color=INK)
        value = in_both((z[1] - z[0]) / 1e3)
        half = max(len(name), len(value)) * CHARACTER_PT * self.pt / 2
        middle = sum(z) / 2
        if push == "up":
            middle = max(middle, z[0] + half + 3 * self.pt)
        if push == "down":
            middle = min(middle, z[1] - half - 3 * self.pt)
        self.text(x - 3 * self.pt, middle, f"{name}\n{value}", rotation=90, ha="right", va="center")

    def level(
        self, z: float, half_width: float, text: str, reach: float, side: float = 1.0
    ) -> None:
        """Dimension a diameter about the axis at height z, lettering on the line's middle.

        The extension lines begin at height `reach`; they end above z for side 1, below for -1.
        """
        for x in (-half_width, half_width):
            self.line((x, x), (reach, z + side * 4 * self.pt), linewidth=0.5)
            self._stroke(x, z)
        self.line((-half_width, half_width), (z, z), color=INK)
        self.text(0.0, z, text, ha="center", va="center")

    def text(self, x: float, z: float, text: str, **look: Any) -> None:
        """Letter on a scrap of paper colour, so that lines stop short of it."""
        given: Look = {"fontsize": SIZE_PT, "bbox": PAPER, "zorder": 8, "linespacing": 1.25}
        self.axes.text(x, z, text, **(given | look))

    def circle(self, centre: tuple[float, float], radius: float, **look: Any) -> None:
        """Draw a circle, mm; radius of the line's middle."""
        given: Look = {"fill": False, "edgecolor": INK, "linewidth": 0.6, "zorder": 3}
        self.axes.add_patch(Circle(centre, radius, **(given | look)))

    def centre_mark(self, x: float, y: float, size: float) -> None:
        """Draw a cross for the point of a drill, `size` mm to each side."""
        self.line((x - size, x + size), (y, y), color=INK, linewidth=0.4)
        self.line((x, x), (y - size, y + size), color=INK, linewidth=0.4)

    def _stroke(self, x: float, z: float) -> None:
        d = 3 * self.pt
        self.line((x - d, x + d), (z - d, z + d), color=INK, linewidth=1.2)
