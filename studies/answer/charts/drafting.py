"""Dimension lines as on a workshop drawing: strokes at their ends, millimetres and inches."""

from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes

from shapes.lengths import in_both
from studies.answer.charts.style import INK, QUIET, Look

SIZE_PT = 10.0
CHARACTER_PT = 0.6 * SIZE_PT
PAPER = {"facecolor": "white", "edgecolor": "none", "pad": 1.2}


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

    def _stroke(self, x: float, z: float) -> None:
        d = 3 * self.pt
        self.line((x - d, x + d), (z - d, z + d), color=INK, linewidth=1.2)
