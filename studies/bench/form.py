"""The form: a field for every key that a design file may hold, from the file's own schema.

Fields and help come from the JSON Schema of design files, values and marks from the present text,
so that a key which is added there has its field here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

import tomlkit

from studies.bench.editing import mark_at
from studies.design import design_schema
from studies.design.quantities import LENGTH_SCHEMA

Data = dict[str, Any]
DESIGN = "design"
"""Name of the group of keys above the first table."""
TOP_HELP = "What it is called, and what its parts have in common."
UNITS_OF_EXAMPLES = {"deg": [45, "45 deg"], "Hz": ["3 kHz"], "ms": ["0.12 ms"]}


def form_of(text: str) -> list[Data]:
    """Return the groups of the form, in the order of the schema.

    Parameters
    ----------
    text : str
        Of a design: valid TOML, mistakes in it do not matter.

    Returns
    -------
    list of dict
        Each a table: ``key``, ``name``, ``help``, ``there``, ``needed``, ``fields``; or a list of
        tables: ``entries`` in place of ``fields``. A field has ``key``, ``name``, ``help``,
        ``value`` (text; empty if left out), ``choices``, ``unit``, ``usual`` (what counts if left
        out), ``mark`` ("guess", "given" or empty), ``needed``; or it is a table in its turn.
    """
    document = tomlkit.parse(text)
    schema = _schema()
    unit = document.get("unit")
    tables = [(key, part) for key, part in schema["properties"].items() if _is_table_or_list(part)]
    plain = [(key, part) for key, part in schema["properties"].items() if (key, part) not in tables]
    top = {
        "key": DESIGN,
        "name": DESIGN,
        "help": TOP_HELP,
        "there": True,
        "needed": True,
        "fields": [
            _field(document, key, part, key, unit, key in schema["required"]) for key, part in plain
        ],
    }
    return [
        top,
        *(_node(document, key, part, key, unit, key in schema["required"]) for key, part in tables),
    ]


def kinds_at(key: str) -> dict[str, set[str]]:
    """Keys that each kind of reflector knows, by kind; empty where there are no kinds."""
    if not (key == "reflector" or key.endswith(".reflector")):
        return {}
    part = _resolved(_schema()["properties"]["reflector"])
    mapping = part["discriminator"]["mapping"]
    return {kind: set(_definition(ref)["properties"]) for kind, ref in mapping.items()}


def is_words(key: str) -> bool:
    """Whether the value of a key is text even where it looks like a number: a title, a name."""
    return key.rsplit(".", 1)[-1] in ("title", "name", "curve", "design", "stock")


@cache
def _schema() -> Data:
    return design_schema()


def _definition(reference: str) -> Data:
    found: Data = _schema()["$defs"][reference.rsplit("/", 1)[-1]]
    return found


def _resolved(part: Mapping[str, Any]) -> Data:
    """A part of the schema with its reference followed; its own words come first."""
    if "$ref" not in part:
        return dict(part)
    return _definition(part["$ref"]) | {k: v for k, v in part.items() if k != "$ref"}


def _alternatives(part: Mapping[str, Any]) -> list[Data]:
    """All that may stand at a place, null left out."""
    if "$ref" in part:
        return _alternatives(_resolved(part))
    if "discriminator" in part:
        return [dict(part)]
    nested = [*part.get("anyOf", ()), *part.get("oneOf", ())]
    if not nested:
        return [] if part.get("type") == "null" else [dict(part)]
    own = {k: v for k, v in part.items() if k not in ("anyOf", "oneOf")}
    return [{**own, **one} for each in nested for one in _alternatives(each)]


def _is_table(part: Mapping[str, Any]) -> bool:
    return "properties" in part or "discriminator" in part


def _is_table_or_list(part: Mapping[str, Any]) -> bool:
    found = _alternatives(part)
    return bool(found) and all(_is_table(one) or _is_list_of_tables(one) for one in found)


def _is_list_of_tables(part: Mapping[str, Any]) -> bool:
    return part.get("type") == "array" and "$ref" in part.get("items", {})


def _node(
    holder: Any, key: str, part: Mapping[str, Any], path: str, unit: Any, needed: bool
) -> Data:
    """A table, a list of tables, or a field: whatever stands at one key."""
    found = _alternatives(part)
    value = holder.get(key) if hasattr(holder, "get") else None
    lists = [one for one in found if _is_list_of_tables(one)]
    if lists:
        return _entries(value, lists[0], key, path, unit)
    tables = [one for one in found if _is_table(one)]
    if tables and (len(tables) == len(found) or hasattr(value, "items")):
        return _table(value, tables[0], key, path, unit, needed)
    return _field(holder, key, part, path, unit, needed)


def _table(
    value: Any, part: Mapping[str, Any], key: str, path: str, unit: Any, needed: bool
) -> Data:
    there = hasattr(value, "items")
    inside: list[Data] = []
    if there or needed:
        held = value if there else {}
        inside = list(_inside(held, part, path, unit))
    return {
        "key": path,
        "name": _named(key),
        "help": _first_line(part.get("description", "")),
        "there": there,
        "needed": needed,
        "fields": inside,
    }


def _inside(held: Any, whole: Mapping[str, Any], path: str, unit: Any) -> Iterator[Data]:
    """Fields of a table; of one that comes in kinds, the kind and the fields of that kind."""
    part = whole
    if "discriminator" in whole:
        mapping = whole["discriminator"]["mapping"]
        kind = str(held.get("kind", ""))
        yield {
            "key": f"{path}.kind",
            "name": "kind",
            "help": "What it is.",
            "value": kind,
            "choices": list(mapping),
            "unit": "",
            "usual": "",
            "mark": "",
            "needed": True,
        }
        part = _definition(mapping[kind]) if kind in mapping else {}
    needed, told = part.get("required", ()), "discriminator" in whole
    for key, each in part.get("properties", {}).items():
        if not (told and key == "kind"):
            yield _node(held, key, each, f"{path}.{key}", unit, key in needed)


def _entries(value: Any, part: Mapping[str, Any], key: str, path: str, unit: Any) -> Data:
    item = _resolved(part["items"])
    entries = [
        _table(one, item, f"{key} {number}", f"{path}[{number}]", unit, needed=False)
        for number, one in enumerate(value or (), start=1)
    ]
    return {
        "key": path,
        "name": _named(key),
        "help": _first_line(item.get("description", "")),
        "there": bool(entries),
        "needed": False,
        "entries": entries,
        "next": f"{path}[{len(entries) + 1}]",
    }


def _field(
    holder: Any, key: str, part: Mapping[str, Any], path: str, unit: Any, needed: bool
) -> Data:
    found = _alternatives(part)
    value = holder.get(key) if hasattr(holder, "get") else None
    choices = [str(one) for each in found for one in each.get("enum", ())]
    if any(each.get("type") == "boolean" for each in found):
        choices = ["true", "false"]
    usual = part.get("default")
    return {
        "key": path,
        "name": _named(key),
        "help": part.get("description", ""),
        "value": "" if value is None else _typed(value),
        "choices": choices,
        "unit": _unit(found, unit),
        "usual": "" if usual is None else _typed(usual),
        "mark": mark_at(holder, key) if value is not None else "",
        "needed": needed,
    }


def _unit(found: list[Data], unit: Any) -> str:
    """In which unit a bare number counts there."""
    examples = next((each["examples"] for each in found if "examples" in each), None)
    if examples == LENGTH_SCHEMA["examples"]:
        return str(unit or "")
    return next((name for name, one in UNITS_OF_EXAMPLES.items() if one == examples), "")


def _typed(value: Any) -> str:
    """A value as its owner would type it: words without quotes, all else as TOML writes it."""
    if isinstance(value, str):
        return str(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    return tomlkit.item(value).as_string().strip()


def _named(key: str) -> str:
    return key.replace("_", " ")


def _first_line(text: str) -> str:
    return text.split("\n\n")[0].replace("\n", " ")
