"""The design file of a carved curve: the user's own, its comments kept, with another reflector."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import tomlkit
from tomlkit.items import Table

from studies.design import Design
from studies.design.companions import files_beside, names_beside, rename
from studies.questions.carve.curves import PointMm, written_mm
from studies.questions.carve.study import Carved
from studies.solving.candidates import SAME_SIZE

PREFIX = "Carved from: "
"""Begins the title, so that no page of the carved design passes for one of the old."""


def carved_name(design: Design) -> str:
    """Name of the file: never that of the design itself, which may lie in the same folder."""
    return "carved.toml" if design.path.name != "carved.toml" else "carved_again.toml"


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
    own = carved_name(design)
    beside = names_beside(design, own)
    text = carved_text(design, points_mm, plate_gap, beside)
    return {**files_beside(design, beside), own: text.encode("utf-8")}


def carved_text(
    design: Design,
    points_mm: Sequence[PointMm],
    plate_gap: float,
    renamed: Mapping[str, str] | None = None,
) -> str:
    """Text of a design with its reflector replaced by a turned one, hung at a gap of its own.

    Parameters
    ----------
    design : Design
    points_mm : sequence of (r, z)
        Knots of the curve, tip first, mm.
    plate_gap : float
        m.
    renamed : mapping, optional
        New names of the files that the design names.
    """
    document = tomlkit.parse(design.text)
    if not design.title.startswith(PREFIX):
        document["title"] = PREFIX + design.title
    trim = design.tables.trim
    if trim is not None and trim.balls_on_sale is None and design.ball is not None:
        document["trim"]["balls_on_sale"] = [f"{design.ball.diameter * 1e3!r} mm"]
    rename(document, renamed or {})
    moved = abs(plate_gap - design.tables.plate_gap) > SAME_SIZE
    if moved:
        document["plate_gap"] = f"{written_mm(plate_gap)!r} mm"
    _replace_reflector(document, _reflector_table(points_mm))
    new = "title, plate_gap and reflector" if moved else "title and reflector"
    origin = f"# Carved by roundcast from {design.path.name}: only {new} are new.\n"
    return origin + tomlkit.dumps(document)


def _replace_reflector(document: tomlkit.TOMLDocument, carved: Table) -> None:
    """Put the carved one where the old one stood; at the end if that was under no heading."""
    present = document["reflector"]
    if isinstance(present, Table) and not present.is_super_table():
        document["reflector"] = carved
    else:
        document.remove("reflector")
        document.append("reflector", carved)


def _reflector_table(points_mm: Sequence[PointMm]) -> Table:
    points = tomlkit.array()
    for r, z in points_mm:
        points.add_line([f"{r!r} mm", f"{z!r} mm"])
    points.add_line(indent="")
    table = tomlkit.table()
    table.comment("carved: a smooth curve through these knots, tip first")
    table.update({"kind": "turned", "smooth": True, "points": points})
    table.add(tomlkit.nl())
    return table
