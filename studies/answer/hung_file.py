"""The design file with another reflector: the user's own, its comments kept, hung anew."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.items import Array, Table

from shapes.lengths import in_inches, parse_length, written_mm
from studies.design import Design
from studies.design.companions import files_beside, names_beside, rename
from studies.design.reflector_tables import ReflectorTable
from studies.solving.candidates import SAME_SIZE

ANGLES = ("half_angle", "tip_slope", "rim_slope")
"""Keys of reflectors that are no lengths."""


def name_beside(design: Design, word: str) -> str:
    """Name a file after a word: never as the design itself, which may lie in the same folder."""
    return f"{word}.toml" if design.path.name != f"{word}.toml" else f"{word}_again.toml"


def files_with(
    design: Design, name: str, how: str, reflector: Table, plate_gap: float
) -> dict[str, bytes]:
    """Write a design with another reflector, and the files that it names.

    Parameters
    ----------
    design : Design
    name : str
        Of the file.
    how, reflector, plate_gap
        As for `text_with`.
    """
    beside = names_beside(design, name)
    text = text_with(design, how, reflector, plate_gap, beside)
    return {**files_beside(design, beside), name: text.encode("utf-8")}


def text_with(
    design: Design,
    how: str,
    reflector: Table,
    plate_gap: float,
    renamed: Mapping[str, str] | None = None,
) -> str:
    """Text of a design with its reflector replaced by another one, hung at a gap of its own.

    Parameters
    ----------
    design : Design
    how : str
        How it came about, "Carved": begins the title, so that no page of the new design passes for
        one of the old.
    reflector : tomlkit Table
    plate_gap : float
        m.
    renamed : mapping, optional
        New names of the files that the design names.
    """
    document = tomlkit.parse(design.text)
    if not design.title.startswith(prefix := f"{how} from: "):
        document["title"] = prefix + design.title
    trim = design.tables.trim
    without = trim is not None and trim.balls_on_sale is None and reflector["kind"] != "ball"
    if without and design.ball is not None:
        document["trim"]["balls_on_sale"] = [f"{design.ball.diameter * 1e3!r} mm"]
    rename(document, renamed or {})
    moved = abs(plate_gap - design.tables.plate_gap) > SAME_SIZE
    if moved:
        document["plate_gap"] = _length(plate_gap)
    _replace_reflector(document, reflector)
    new = "title, plate_gap and reflector" if moved else "title and reflector"
    origin = f"# {how} by roundcast from {design.path.name}: only {new} are new.\n"
    return origin + tomlkit.dumps(document)


def reflector_of(table: ReflectorTable) -> Table:
    """Write a reflector's sizes as its table of a design file, lengths in mm but for `_length`."""
    written = tomlkit.table()
    for key, value in table.model_dump(exclude_none=True, exclude_defaults=True).items():
        written[key] = round(math.degrees(value), 9) if key in ANGLES else _value(value)
    written.add(tomlkit.nl())
    return written


def _value(value: Any) -> Any:
    if isinstance(value, tuple) and isinstance(value[0], tuple):
        return _lines(value)
    if isinstance(value, tuple):  # diameters of a ball; of one, no list
        return [_length(one) for one in value] if len(value) > 1 else _length(value[0])
    return _length(value) if isinstance(value, float) else value


def _lines(points: tuple[tuple[float, float], ...]) -> Array:
    lines = tomlkit.array()
    for r, z in points:
        lines.add_line([_length(r), _length(z)])
    lines.add_line(indent="")
    return lines


def _length(metres: float) -> str:
    """In mm; in inches where only they give the length to the last bit, as a file had it."""
    own, marked = f"{written_mm(metres)!r} mm", in_inches(metres)
    return marked if parse_length(own) != metres == parse_length(marked) else own


def _replace_reflector(document: tomlkit.TOMLDocument, new: Table) -> None:
    """Put the new one where the old one stood; at the end if that was under no heading."""
    present = document["reflector"]
    if isinstance(present, Table) and not present.is_super_table():
        document["reflector"] = new
    else:
        document.remove("reflector")
        document.append("reflector", new)
