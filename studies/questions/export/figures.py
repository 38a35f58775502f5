"""What an exported directivity looks like."""

from __future__ import annotations

from studies.answer.charts.coverage import polar_figure
from studies.answer.picture import Picture, Pictures, coverage_picture
from studies.questions.export.study import Directivity


def directivity_pictures(found: Directivity) -> Pictures:
    """Draw the pattern that is exported, to compare another program's picture with."""
    title = found.design.title
    return {
        "coverage": coverage_picture(title, found.row),
        "polar": Picture(
            polar_figure(title, found.row.coverage),
            "The same seen from the side: what another program draws from the file should look"
            " like this, at every azimuth.",
        ),
    }
