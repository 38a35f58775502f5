"""What holds for every figure: it is complete, its lettering stays inside, its axes have units."""

import io
import xml.etree.ElementTree as ElementTree

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.image import imread
from matplotlib.text import Text

from studies.answer.charts.style import in_both_formats

UNITS = ("Hz", "dB", "mm", "degrees", "per cent")


def words_of(figure: Figure) -> list[str]:
    """Return all lettering."""
    return [text.get_text() for text in figure.findobj(Text) if text.get_text()]


def check_files(figure: Figure) -> None:
    """Both files are whole and neither is blank or black."""
    files = in_both_formats(figure)
    pixels = imread(io.BytesIO(files["png"]))
    assert pixels.shape[1] == 1500
    assert 0.005 < np.mean(np.any(pixels[..., :3] < 0.9, axis=-1)) < 0.95
    assert ElementTree.fromstring(files["svg"]).tag.endswith("svg")


def check_lettering(figure: Figure) -> None:
    """No lettering is cut off by the edge."""
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    width, height = figure.bbox.width, figure.bbox.height
    for text in figure.findobj(Text):
        if text.get_text() and text.get_visible() and text.axes is not None:
            box = text.get_window_extent(renderer)
            assert 0 <= box.x0 <= box.x1 <= width, text
            assert 0 <= box.y0 <= box.y1 <= height, text


def check_units(figure: Figure) -> None:
    """Every axis says its unit."""
    shown = [axes for axes in figure.axes if axes.axison]
    labels = [label for axes in shown for label in (axes.get_xlabel(), axes.get_ylabel()) if label]
    assert labels
    for label in labels:
        assert any(unit in label for unit in UNITS), label
