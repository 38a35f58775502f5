"""The field in a slice through the axis."""

from __future__ import annotations

from studies.charts import slice_figure
from studies.pictures.picture import Picture, Pictures
from studies.slices import Slices


def slice_pictures(slices: Slices) -> Pictures:
    """Draw the field in the plane of the axis at each frequency."""
    caption = "Left: how loud it is in and round the ring. Right: the wave frozen at one instant."
    return {
        name: Picture(slice_figure(slices, number), caption)
        for number, name in enumerate(slices.names)
    }
