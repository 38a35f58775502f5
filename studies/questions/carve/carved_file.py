"""The design file of a carved curve: its knots as a turned reflector."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from tomlkit.items import Table

from shapes.lengths import parse_length
from studies.answer.hung_file import files_with, name_beside, reflector_of, text_with
from studies.design import Design
from studies.design.reflector_tables import TurnedTable
from studies.questions.carve.curves import PointMm
from studies.questions.carve.study import Carved

HOW = "Carved"


def carved_name(design: Design) -> str:
    """Name of the file."""
    return name_beside(design, "carved")


def carve_files(carved: Carved) -> dict[str, bytes]:
    """Write the design with the carved curve as a design file, with the files that it names."""
    trial = carved.curve.trial
    return carved_files(carved.design, trial.points_mm, trial.plate_gap)


def carved_files(
    design: Design, points_mm: Sequence[PointMm], plate_gap: float
) -> dict[str, bytes]:
    """Write a design with its reflector turned through knots (r, z) in mm, and what it names.

    Its plate hangs at this gap, m.
    """
    return files_with(design, carved_name(design), HOW, _reflector_table(points_mm), plate_gap)


def carved_text(
    design: Design,
    points_mm: Sequence[PointMm],
    plate_gap: float,
    renamed: Mapping[str, str] | None = None,
) -> str:
    """Text of that file; parameters as for `carved_files` and `text_with`."""
    return text_with(design, HOW, _reflector_table(points_mm), plate_gap, renamed)


def _reflector_table(points_mm: Sequence[PointMm]) -> Table:
    points = tuple((parse_length(r, "mm"), parse_length(z, "mm")) for r, z in points_mm)
    table = reflector_of(TurnedTable.model_construct(kind="turned", points=points))
    table.comment("carved: a smooth curve through these knots, tip first")
    return table
