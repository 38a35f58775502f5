"""The design file with the felt that pays: the user's own, its comments kept, with the rings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.items import InlineTable

from shapes.parts import FeltBand
from studies.design import Design
from studies.design.companions import files_beside, names_beside, rename
from studies.questions.felt.study import FeltChoice, FeltStudy

PREFIX = "With felt: "
"""Begins the title, so that no page of the felted design passes for one of the old."""


def felted_name(design: Design) -> str:
    """Name of the file: never that of the design itself, which may lie in the same folder."""
    return "felted.toml" if design.path.name != "felted.toml" else "felted_again.toml"


def felted_files(study: FeltStudy) -> dict[str, bytes]:
    """Write the design with the best felt, and the files that it names; nothing if none pays."""
    best, design = study.best_felt, study.design
    if best is None or not study.pays:
        return {}
    own = felted_name(design)
    beside = names_beside(design, own)
    text = felted_text(design, best, study.flow_resistivity, beside)
    return {**files_beside(design, beside), own: text.encode("utf-8")}


def felted_text(
    design: Design,
    choice: FeltChoice,
    flow_resistivity: float,
    renamed: Mapping[str, str] | None = None,
) -> str:
    """Text of a design with its felt replaced by that of a choice, the rest of `[walls]` kept.

    Parameters
    ----------
    design : Design
    choice : FeltChoice
    flow_resistivity : float
        Of the felt, Pa s/m2.
    renamed : mapping, optional
        New names of the files that the design names.
    """
    document = tomlkit.parse(design.text)
    if not design.title.startswith(PREFIX):
        document["title"] = PREFIX + design.title
    rename(document, renamed or {})
    if "walls" not in document:
        document.add(tomlkit.nl())
        document.add("walls", tomlkit.table())
    walls: Any = document["walls"]
    built = choice.row.assembly
    rings = {"felt_on_baffle": built.baffle_felt, "felt_under_plate": built.plate_felt}
    for key, ring in rings.items():
        walls.pop(key, None)
        if ring is not None:
            walls[key] = _ring(ring, flow_resistivity, to_the_edge=choice.share == 1.0)
    origin = f"# From {design.path.name} by roundcast: only title and felt are new.\n"
    return origin + tomlkit.dumps(document)


def _ring(ring: FeltBand, flow_resistivity: float, *, to_the_edge: bool) -> InlineTable:
    """A ring from frame or reflector outwards: it follows them where they are changed later."""
    table = tomlkit.inline_table()
    table["thickness"] = _millimetres(ring.thickness)
    table["flow_resistivity"] = flow_resistivity
    if not to_the_edge:
        table["outer_diameter"] = _millimetres(2.0 * ring.outer)
    return table


def _millimetres(metres: float) -> str:
    return f"{round(metres * 1e3, 3)} mm"
