"""A curve of one's own beside the best cap and the best cone."""

from __future__ import annotations

from studies.carve import Carved
from studies.charts import curves_figure
from studies.charts.carve import Shape, carve_figure
from studies.pictures.picture import (
    Picture,
    Pictures,
    coverage_picture,
    section_picture,
    window_trace,
)


def carve_pictures(carved: Carved) -> Pictures:
    """Draw the carved curve beside the best cap and the best cone, and how it was found."""
    title, curve = carved.design.title, carved.curve.row
    return {
        "profiles": _profiles(carved),
        "curves": Picture(
            curves_figure(
                f"{title}: mean of the window",
                [window_trace(found.name, found.row) for found in carved.compared],
            ),
            "The carved curve against the best cap and the best cone.",
        ),
        "section": section_picture(curve.assembly, f"{title}: carved", carved.design),
        "coverage": coverage_picture(f"{title}: carved", curve),
    }


def _profiles(carved: Carved) -> Picture:
    figure = carve_figure(
        f"{carved.design.title}: a curve of one's own",
        [Shape(row.name, row.assembly) for row in carved.rows],
        carved.curve.trial.points_mm,
        [trial.stage for trial in carved.trials],
        [trial.score for trial in carved.trials],
    )
    return Picture(
        figure,
        "The carved curve over the driver, beside the best cap and the best cone within the same"
        " limits; below, every solve of the search.",
    )
