"""The look that all pictures share: colours, fonts, the frequency axis, dB limits, saving."""

import functools
import io
import math
import textwrap
import warnings
from collections.abc import Callable, Iterable
from typing import Any, ParamSpec, TypeVar

import numpy as np
from matplotlib import style
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.ticker import FixedLocator, FuncFormatter, Locator, MultipleLocator, NullFormatter
from numpy.typing import ArrayLike

from dispersion.bands import band_edges
from shapes.lengths import FOOT, in_inches, own_unit, unbroken

INK = "#243039"
QUIET = "#5f6f7a"
FAINT = "#d5dbdf"
WINDOW = "#c2410c"
# Seven hues that the colour-blind can distinguish (Okabe and Ito), darkest contrast first.
SERIES = ("#0072b2", "#d55e00", "#009e73", "#b0578d", "#a06b00", "#3f9fd8", "#000000")
DASHES = ("-", (0, (6, 2)), (0, (1.5, 1.5)), (0, (6, 2, 1.5, 2)))

WIDTH_IN = 10.0
DPI = 150
LEVEL_LABEL = "level, dB re the driver's own on-axis curve"
FREQUENCY_LABEL = "frequency, Hz"
TITLE_LENGTH = 100
MOST_INCH_MARKS = 9
NARROW = 5.0
"""A frequency axis whose ends have no larger ratio is ticked at every third octave."""

COMMON_STYLE = {
    "font.size": 10.0,
    "text.color": INK,
    "text.parse_math": False,  # a dollar sign in a title is a dollar sign
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.axisbelow": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlesize": 10.5,
    "axes.titlelocation": "left",
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "grid.color": FAINT,
    "grid.linewidth": 0.7,
    "legend.frameon": False,
    "legend.fontsize": 10.0,
    "svg.fonttype": "none",  # words stay words: they can be searched, copied and read aloud
    "svg.hashsalt": "roundcast",
}

P = ParamSpec("P")
Drawn = TypeVar("Drawn")
Look = dict[str, Any]
"""Keywords of a call that draws."""


def in_common_style(draw: Callable[P, Drawn]) -> Callable[P, Drawn]:
    """Draw in this look, whatever the user's own matplotlib settings are, and leave them alone."""

    @functools.wraps(draw)
    def drawn(*args: P.args, **kwargs: P.kwargs) -> Drawn:
        with style.context(["default", COMMON_STYLE]):
            return draw(*args, **kwargs)

    return drawn


def new_figure(height_in: float, title: str, subtitle: str = "", hspace: float = 0.04) -> Figure:
    """Return an empty figure of the common width, its title at the left."""
    layout = ConstrainedLayoutEngine(w_pad=0.08, h_pad=0.08, hspace=hspace, wspace=0.04)
    figure = Figure(figsize=(WIDTH_IN, height_in), layout=layout)
    lines = [title_lines(words) for words in (title, subtitle) if words]
    figure.suptitle("\n".join(lines), x=0.012, ha="left", fontsize=12)
    return figure


def title_lines(words: str, length: int = TITLE_LENGTH) -> str:
    """Break a title into lines, never within a length such as "2 1/8 in"."""
    return textwrap.fill(unbroken(words), length).replace("\u00a0", " ")


def legend_below(figure: Figure, axes: Axes, columns: int = 3) -> None:
    """Put the legend under the axes, outside the data."""
    handles, labels = axes.get_legend_handles_labels()
    if handles:
        figure.legend(handles, labels, loc="outside lower left", ncols=min(columns, len(labels)))


def frequency_axis(axes: Axes, low: float, high: float, label: bool = True) -> None:
    """Make x a logarithmic frequency axis from low to high, Hz, ticked 1, 2, 5 or by bands."""
    axes.set_xscale("log")
    axes.set_xlim(low, high)
    named = (1, 2, 5) if high > NARROW * low else (1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8)
    axes.xaxis.set_major_locator(FixedLocator(_of_each_decade(named, low, high)))
    axes.xaxis.set_minor_locator(FixedLocator(_of_each_decade(range(1, 10), low, high)))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda f, _: short_frequency(f)))
    axes.xaxis.set_minor_formatter(NullFormatter())
    if label:
        axes.set_xlabel(FREQUENCY_LABEL)


def _of_each_decade(steps: Iterable[float], low: float, high: float) -> list[float]:
    """Multiples of every power of ten from low to high: a mark out of sight takes time as well."""
    marks = np.outer(10.0 ** np.arange(0, 6), list(steps)).ravel()
    return marks[(marks > 0.99 * low) & (marks < 1.01 * high)].tolist()


def length_axis(axis: Axis, words: str) -> None:
    """Label an axis whose values are in mm; of an inch design it is ticked in inches.

    Parameters
    ----------
    axis : Axis
        ``axes.xaxis``, say; drawn to its limits in millimetres.
    words : str
        What is measured; the unit follows after a comma.
    """
    axis.set_label_text(f"{words}, {own_unit()}")
    if own_unit() == "in":
        axis.set_major_locator(_Inches())
        axis.set_major_formatter(FuncFormatter(_inch_mark))


def room_axis(axis: Axis, words: str) -> None:
    """Label an axis whose values are metres in a room; of an inch design it is ticked in feet."""
    in_feet = own_unit() == "in"
    axis.set_label_text(f"{words}, {'ft' if in_feet else 'm'}")
    if in_feet:
        axis.set_major_locator(MultipleLocator(2 * FOOT))
        axis.set_major_formatter(FuncFormatter(lambda metres, _: f"{metres / FOOT:.0f}"))


def inch_marks(low: float, high: float) -> list[float]:
    """Return the marks of a rule in inches, eight or so, between two ends, mm."""
    steps = [25.4 * step for step in (1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 4, 6, 12, 24, 48)]
    step = next((s for s in steps if (high - low) / s <= MOST_INCH_MARKS), steps[-1])
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [step * mark for mark in range(first, last + 1)]


def _inch_mark(millimetres: float, _: object) -> str:
    return in_inches(millimetres * 1e-3).removesuffix(" in")


class _Inches(Locator):
    """Marks of a rule in inches, eight or so, on an axis in mm."""

    def __call__(self) -> list[float]:
        low, high = sorted(self.axis.get_view_interval())  # type: ignore[union-attr]
        return self.tick_values(low, high)

    def tick_values(self, vmin: float, vmax: float) -> list[float]:
        """Return the marks between two ends, mm."""
        return inch_marks(vmin, vmax)


def edges_of_bands(centres: ArrayLike) -> np.ndarray:
    """Return the edges of adjoining third-octave bands, shape (B + 1,), from their centres, Hz."""
    lower, upper = band_edges(centres)
    return np.append(lower, upper[-1])


def short_frequency(frequency: float) -> str:
    """Write a tick's frequency: "200", "1k", "12.5k"."""
    return f"{frequency / 1000:g}k" if frequency >= 1000 else f"{frequency:g}"


def level_limits(
    levels: ArrayLike, least_span: float = 30.0, most_span: float = 45.0
) -> tuple[float, float]:
    """Return the limits of a dB axis, on whole steps of 5 dB.

    Small differences look small, and deep nulls do not squeeze the rest.

    Parameters
    ----------
    levels : array_like
        dB; what is not finite does not count.
    least_span, most_span : float
        Narrowest and widest range shown, dB. The top always shows the highest level.
    """
    values = np.asarray(levels, dtype=float).ravel()
    values = values[np.isfinite(values)]
    if not values.size:
        return -least_span, 0.0
    top = 5.0 * math.ceil((values.max() + 1.0) / 5.0)
    bottom = 5.0 * math.floor((values.min() - 1.0) / 5.0)
    return min(max(bottom, top - most_span), top - least_span), top


def in_both_formats(figure: Figure, mark: str = "") -> dict[str, bytes]:
    """Render a figure as PNG (150 dpi) and SVG; the same figure gives the same bytes.

    Parameters
    ----------
    figure : Figure
    mark : str
        What the files say of their origin, where no one sees it: their description.

    Returns
    -------
    dict of str to bytes
        By format: ``png``, ``svg``.
    """
    origin = {"Description": mark or None}
    as_png, as_svg = io.BytesIO(), io.BytesIO()
    with style.context(["default", COMMON_STYLE]), warnings.catch_warnings():
        # A title may hold signs that the font does not have: a box stands in their place.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        figure.set(dpi=DPI, facecolor="white")
        # The layout is found once; `savefig` would draw twice more.
        engine = figure.get_layout_engine()
        if engine is not None:
            engine.execute(figure)
            figure.set_layout_engine("none")
        FigureCanvasAgg(figure).print_png(as_png, metadata=origin | {"Software": None})
        about = origin | {"Date": None, "Creator": "roundcast"}
        FigureCanvasSVG(figure).print_svg(as_svg, metadata=about)
    return {"png": as_png.getvalue(), "svg": as_svg.getvalue()}
