"""Figures with captions, and those that several commands draw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure

from shapes.assembly import Assembly
from studies.answer.charts.choosing import choosing_figure
from studies.answer.charts.coverage import coverage_map_figure
from studies.answer.charts.curves import Trace
from studies.answer.charts.section import section_figure
from studies.answer.charts.sweeps import Ladder
from studies.design import Design
from studies.solving.candidates import Row, are_settled
from studies.solving.choosing import choices


@dataclass(frozen=True, eq=False)
class Picture:
    """A figure, and one sentence on what to look for."""

    figure: Figure
    caption: str


Pictures = dict[str, Picture]

SECTION = "What is built, cut through the axis: the parts, the three gaps, the lines to the ears."
COVERAGE = (
    "How loud each pitch is at each angle. Left as it is; right only the difference to the window,"
    " which hides what the whole window loses in the treble."
)


def section_picture(assembly: Assembly, title: str, design: Design) -> Picture:
    """Draw an assembly in section, with the seats of its design."""
    return Picture(section_figure(assembly, title, design.seats), SECTION)


def section_pictures(design: Design) -> Pictures:
    """Draw the design as written."""
    return {"section": section_picture(design.assembly(), design.title, design)}


def coverage_picture(title: str, row: Row) -> Picture:
    """Draw the level at every angle and pitch."""
    return Picture(coverage_map_figure(title, row.coverage), COVERAGE)


def choosing_picture(design: Design, rows: Sequence[Row], chosen: Row) -> Picture:
    """Draw what no other candidate beats."""
    return Picture(
        choosing_figure(f"{design.title}: what no other beats", choices(rows, chosen)),
        "More even across the window, steadier, less left to mend: whoever wants one of them more"
        " than the score does finds the others to choose from here.",
    )


def window_trace(name: str, row: Row) -> Trace:
    """Return a candidate's window level by frequency as a line to draw."""
    return Trace(name, row.response.problem.frequencies, row.window_curve_db)


def ladder_of(
    name: str, sizes_mm: Sequence[float], rows: Sequence[Row], among: Sequence[Row]
) -> Ladder:
    """Return scores by size, mm, to draw: nan and the reason where a row was not solved.

    `among` are all rows of the picture: settled are those as fine as the finest of them.
    """
    scores = [row.score if row.solved else np.nan for row in rows]
    fine = {id(row) for row, is_fine in zip(among, are_settled(among), strict=True) if is_fine}
    settled = [id(row) in fine for row in rows]
    return Ladder(name, sizes_mm, scores, [row.reason for row in rows], settled)


def window_levels(rows: tuple[Row, ...] | list[Row], like: Row) -> np.ndarray:
    """(C, B) window levels of C rows, dB; nan where one was not solved.

    `like` is a solved row, from which the number of third-octave bands is taken.
    """
    nothing = np.full(like.coverage.centres.size, np.nan)
    return np.array([row.coverage.window_level_db if row.solved else nothing for row in rows])
