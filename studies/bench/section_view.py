"""The section on the bench: outlines in mm, gaps, clearances, ears, and the words beside them."""

from __future__ import annotations

import math
from pathlib import Path

from shapes.assembly import Assembly
from shapes.clearances import list_clearances
from shapes.lengths import in_both, written_in
from studies.answer.outlines import (
    Data,
    felt_outline,
    foot_of,
    gaps_of,
    half_width,
    lower_outline,
    moving_lines,
    plate_outline,
    posts_outline,
    reflector_outline,
    rounded,
)
from studies.design import Design, DesignError, DesignFile
from studies.design.design import assemble
from studies.design.quantities import unit_of_file
from studies.design.reading import parse_tables


def section_view(text: str, path: Path, design: Design | None) -> Data | None:
    """Return what the page draws of a design, clashes and all; None if it makes no outline.

    Parameters
    ----------
    text : str
    path : Path
        Of the file, for messages.
    design : Design or None
        The same, read; None if it has mistakes, which may be clashes that are worth a look.
    """
    try:
        tables = parse_tables(text, path) if design is None else design.tables
        assembly = assemble(tables)
        with written_in(unit_of_file(tables.unit, text)):
            return _drawn(assembly) | {
                "clearances": _clearances(assembly),
                "ears": _ears(tables, assembly),
            }
    except (DesignError, ValueError):
        return None


def _drawn(assembly: Assembly) -> Data:
    plate = assembly.plate
    return {
        "lower": lower_outline(assembly),
        "moving": moving_lines(assembly),
        "travel": rounded(assembly.driver.excursion * 1e3),
        "frame": rounded(
            [
                assembly.driver.effective_radius * 1e3,
                assembly.driver.frame_radius * 1e3,
                assembly.driver.proud * 1e3,
            ]
        ),
        "reflector": reflector_outline(assembly),
        "plate": plate_outline(assembly),
        "posts": posts_outline(assembly),
        "felts": [
            felt_outline(felt, face, hung=hung)
            for felt, face, hung in (
                (assembly.baffle_felt, 0.0, False),
                (assembly.plate_felt, assembly.plate_gap, True),
            )
            if felt is not None
        ],
        "gap": rounded(assembly.plate_gap * 1e3) if assembly.upper is not None else None,
        "gap_words": in_both(assembly.plate_gap),
        "foot": rounded(foot_of(assembly) * 1e3),
        "half": rounded(half_width(assembly) * 1e3),
        "top": rounded((assembly.plate_gap + (plate.thickness if plate else 0.0)) * 1e3),
        "gaps": gaps_of(assembly),
    }


def _clearances(assembly: Assembly) -> list[list[str]]:
    return [[one.name, in_both(one.value_m), one.note] for one in list_clearances(assembly)]


def _ears(tables: DesignFile, assembly: Assembly) -> list[Data]:
    """Every seat: name, and elevation seen from the middle of the ring, degrees."""
    ring = assembly.height_of_ring
    return [
        {
            "name": seat.name,
            "elevation": round(math.degrees(math.atan2(seat.ear_height - ring, seat.distance)), 2),
            "z": rounded((ring - assembly.column.height) * 1e3),
        }
        for seat in tables.seats
    ]
