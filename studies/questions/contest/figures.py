"""Cone or dome or curve, on one scale."""

from __future__ import annotations

import numpy as np

from studies.charts import Contender, contest_figure, curves_figure
from studies.contest import Contest
from studies.pictures.picture import (
    Picture,
    Pictures,
    coverage_picture,
    window_levels,
    window_trace,
)


def contest_pictures(contest: Contest) -> Pictures:
    """Draw every entry on one scale."""
    design, centres = contest.design, contest.winner.coverage.centres
    levels = window_levels(contest.rows, contest.winner)
    contenders = [
        Contender(row.name, row.drawn, centres, level, row.score if row.solved else np.nan)
        for row, level in zip(contest.rows, levels, strict=True)
    ]
    # In the order of the first picture, so that each keeps its colour.
    traces = [window_trace(row.name, row) for row in contest.rows if row.solved]
    pictures = {
        "contest": Picture(
            contest_figure(design.title, contenders),
            "Each shape at one scale, with the level that it gives in the window.",
        ),
        "curves": Picture(
            curves_figure(f"{design.title}: mean of the window", traces),
            "The same levels over each other, frequency by frequency.",
        ),
    }
    for place, row in enumerate(contest.ranking, start=1):
        pictures[f"coverage-{place}"] = coverage_picture(f"{design.title}: {row.name}", row)
    return pictures
