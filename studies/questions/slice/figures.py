"""The field in a slice through the axis."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import BoundaryNorm, Colormap, ListedColormap, Normalize
from matplotlib.figure import Figure
from matplotlib.image import AxesImage
from PIL import Image

from shapes.assembly import Assembly
from shapes.lengths import in_own
from studies.answer.charts.section import FOAM, MOVING, PLATE, WOOD
from studies.answer.charts.style import INK, Look, in_common_style, length_axis, new_figure
from studies.answer.picture import Picture, Pictures
from studies.answer.release import mark_of
from studies.questions.slice.slices import Slices

CONTOUR_DB, SPAN_DB = 6.0, 60.0
CHORD_ERROR = 1e-4
LEVEL_WORDS = "dB re the driver's own on-axis level at 1 m"
FRAMES, FRAME_MS, STILL_COLOURS = 20, 70, 64
GIF_WIDTH_IN, GIF_DPI = 6.4, 100
SHADES = 41  # few and flat, so that an animation stays small
FULL_COLOUR = 0.5
"""Pressure, over its amplitude at the mouth, that takes the darkest colour: what has left the ring
is what is to be seen."""


def slice_pictures(slices: Slices) -> Pictures:
    """Draw the field in the plane of the axis at each frequency."""
    caption = "Left: how loud it is in and round the ring. Right: the wave frozen at one instant."
    return {
        name: Picture(slice_figure(slices, number), caption)
        for number, name in enumerate(slices.names)
    }


@in_common_style
def slice_figure(slices: Slices, number: int) -> Figure:
    """Draw one frequency: levels at the left, the wave at one instant at the right.

    Parameters
    ----------
    slices : Slices
    number : int
        Which of its frequencies.

    Returns
    -------
    Figure
        Levels are absolute; the colours span 60 dB below the loudest point of this frequency.
    """
    figure = new_figure(_height(slices, 4.55) + 1.55, _title(slices, number))
    left, right = figure.subplots(1, 2, sharey=True)
    _draw_level(figure, left, slices, number)
    length_axis(left.yaxis, "height above the baffle")
    left.set_title("how loud: contours every 6 dB")
    right.set_title(f"the wave at one instant; it repeats every {_period(slices, number)}")
    wave = _draw_wave(
        right, slices, number, Normalize(-FULL_COLOUR, FULL_COLOUR), colormaps["PuOr_r"]
    )
    words = f"pressure, 1 = its amplitude at {_mouth(slices)}"
    _bar(figure, right, wave, words, "both", np.linspace(-FULL_COLOUR, FULL_COLOUR, 5))
    for axes in (left, right):
        _draw_solids(axes, slices.assembly)
        _frame(axes, slices)
    return figure


@in_common_style
def slice_animation(slices: Slices, number: int) -> bytes:
    """Draw one period of one frequency as a GIF that loops without a jump.

    Parameters
    ----------
    slices : Slices
    number : int
        Which of its frequencies.

    Returns
    -------
    bytes
        The same slices give the same bytes.
    """
    figure = Figure((GIF_WIDTH_IN, _height(slices, 5.5) + 0.85), dpi=GIF_DPI, layout="constrained")
    canvas = FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    colours = ListedColormap(colormaps["PuOr_r"](np.linspace(0.0, 1.0, SHADES)))
    norm = BoundaryNorm(FULL_COLOUR * np.linspace(-1.02, 1.02, SHADES + 1), SHADES)
    image = _draw_wave(axes, slices, number, norm, colours)
    _draw_solids(axes, slices.assembly)
    _frame(axes, slices)
    length_axis(axes.yaxis, "height above the baffle")
    axes.set_title(
        f"{_in_words(slices.frequencies[number])}: one period of {_period(slices, number)};"
        " orange: pressure, purple: suction"
    )
    palette = _palette(canvas, image, colours)
    frames = []
    for frame in range(FRAMES):
        image.set_data(slices.instant(number, frame / FRAMES))
        frames.append(_shot(canvas).quantize(palette=palette, dither=Image.Dither.NONE))
    return _gif(frames, mark_of(slices.design))


def slice_files(slices: Slices) -> dict[str, bytes]:
    """Animate every frequency: file name to bytes."""
    return {
        f"slice-{name}.gif": slice_animation(slices, number)
        for number, name in enumerate(slices.names)
    }


def _draw_level(figure: Figure, axes: Axes, slices: Slices, number: int) -> None:
    top = CONTOUR_DB * np.ceil(np.nanmax(slices.level_db[number]) / CONTOUR_DB)
    levels = slices.in_air(slices.level_db[number])
    scale = Normalize(top - SPAN_DB, top)
    image = _image(axes, slices, levels, norm=scale, cmap="viridis")
    steps = np.arange(top - SPAN_DB, top + 0.1, CONTOUR_DB)
    look: Look = {"colors": "white", "linewidths": 0.6, "linestyles": "solid", "alpha": 0.8}
    axes.contour(slices.x * 1e3, slices.z * 1e3, levels, steps, **look)
    _draw_window(axes, slices)
    _bar(figure, axes, image, f"{LEVEL_WORDS}; dashed: window", "min", steps)


def _draw_wave(
    axes: Axes, slices: Slices, number: int, norm: Normalize, colours: Colormap
) -> AxesImage:
    return _image(axes, slices, slices.instant(number, 0.0), norm=norm, cmap=colours)


def _image(axes: Axes, slices: Slices, values: np.ndarray, **look: Any) -> AxesImage:
    half = 0.5 * slices.step
    sides = (slices.x[0] - half, slices.x[-1] + half, slices.z[0] - half, slices.z[-1] + half)
    extent = tuple(1e3 * side for side in sides)
    return axes.imshow(values, extent=extent, origin="lower", interpolation="bicubic", **look)


def _draw_window(axes: Axes, slices: Slices) -> None:
    """Directions of the window's edges, outside the solids, both sides."""
    assembly = slices.assembly
    middle = assembly.height_of_ring - assembly.column.height
    lines = np.vstack((assembly.lower_line, assembly.upper_line))
    reach = np.array([1.15 * lines[:, 0].max(), slices.x[-1]])
    for edge in slices.design.window_deg:
        heights = (middle + reach * np.tan(np.radians(edge))) * 1e3
        for side in (-1e3, 1e3):
            axes.plot(side * reach, heights, color="white", linewidth=2.2)
            axes.plot(side * reach, heights, color=INK, linewidth=1.2, linestyle=(0, (5, 2)))


def _draw_solids(axes: Axes, assembly: Assembly) -> None:
    """Column, reflector and top plate filled, what moves as a blue line."""
    solids = [(assembly.lower, WOOD)]
    if assembly.plate is not None:
        solids.append((assembly.bare_plate, PLATE))
    if assembly.reflector is not None:
        solids.append((assembly.reflector.profile.shifted(assembly.plate_gap), FOAM))
    for meridian, colour in solids:
        half = meridian.sample(CHORD_ERROR) * 1e3
        whole = np.vstack((half, half[::-1] * (-1.0, 1.0)))
        axes.fill(*whole.T, facecolor=colour, edgecolor=INK, linewidth=0.8, zorder=3)
    for way in assembly.ways:
        for piece in assembly.lower.of_parts(*way.parts):
            line = type(assembly.lower)((piece,)).sample(CHORD_ERROR) * 1e3
            for side in (-1.0, 1.0):
                axes.plot(side * line[:, 0], line[:, 1], color=MOVING, linewidth=1.8, zorder=4)


def _frame(axes: Axes, slices: Slices) -> None:
    half = 0.5 * slices.step
    axes.set_xlim(1e3 * (slices.x[0] - half), 1e3 * (slices.x[-1] + half))
    axes.set_ylim(1e3 * (slices.z[0] - half), 1e3 * (slices.z[-1] + half))
    length_axis(axes.xaxis, "distance from the axis")


def _bar(
    figure: Figure,
    axes: Axes,
    image: AxesImage,
    label: str,
    extend: str,
    ticks: np.ndarray | None = None,
) -> None:
    bar = figure.colorbar(
        image, ax=axes, location="bottom", extend=extend, aspect=35, shrink=0.95, ticks=ticks
    )
    bar.set_label(label)
    bar.outline.set_visible(False)


def _height(slices: Slices, width_in: float) -> float:
    """Height in inches of a slice drawn this wide."""
    return float(width_in * (slices.z[-1] - slices.z[0]) / (slices.x[-1] - slices.x[0]))


def _title(slices: Slices, number: int) -> str:
    frequency, wavelength = slices.frequencies[number], in_own(slices.wavelengths[number], 0)
    return f"{slices.design.title}: {_in_words(frequency)}, wavelength {wavelength}"


def _in_words(frequency: float) -> str:
    return f"{frequency / 1e3:.5g} kHz" if frequency >= 1e3 else f"{frequency:.5g} Hz"


def _period(slices: Slices, number: int) -> str:
    return f"{1e3 / slices.frequencies[number]:.3g} ms"


def _mouth(slices: Slices) -> str:
    return "the driver's mouth" if slices.mouth is None else "the ring's mouth"


def _shot(canvas: FigureCanvasAgg) -> Image.Image:
    """Draw as it is now; the layout is found once, so that nothing moves between frames."""
    canvas.draw()
    canvas.figure.set_layout_engine("none")
    return Image.fromarray(np.asarray(canvas.buffer_rgba())[..., :3].copy())


def _palette(canvas: FigureCanvasAgg, image: AxesImage, colours: ListedColormap) -> Image.Image:
    """Colours of all frames: every shade of the wave, and those of what stands still."""
    image.set_visible(False)
    still = _shot(canvas).quantize(STILL_COLOURS, Image.Quantize.MEDIANCUT)
    image.set_visible(True)
    shades = (255 * np.asarray(colours.colors)[:, :3]).round().astype(int).ravel().tolist()
    palette = Image.new("P", (1, 1))
    of_still = still.getpalette() or []  # never empty: it was just quantised
    palette.putpalette(shades + of_still[: 3 * STILL_COLOURS])
    return palette


def _gif(frames: list[Image.Image], mark: str) -> bytes:
    out = io.BytesIO()
    look: Look = {"append_images": frames[1:], "duration": FRAME_MS, "loop": 0, "optimize": False}
    frames[0].save(out, "GIF", save_all=True, comment=mark, **look)
    return out.getvalue()
