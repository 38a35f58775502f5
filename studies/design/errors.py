"""Mistakes in a design file: one error, one line for each mistake, each with its remedy."""

from __future__ import annotations

import difflib
import functools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails, PydanticCustomError

_PLAIN_WORDS = {
    "bool_type": "must be true or false, without quotes",
    "finite_number": "must be a finite number",
    "float_type": "must be a number, without quotes",
    "greater_than_equal": "must be at least {ge:g}",
    "int_from_float": "must be a whole number",
    "int_type": "must be a whole number, without quotes",
    "less_than_equal": "must be at most {le:g}",
    "missing": "is missing: add it",
    "model_type": "must be a table: keys in braces, or below a [heading]",
    "string_too_long": "is too long: at most {max_length} characters",
    "string_too_short": "is empty: write something",
    "string_type": "must be text in quotes",
    "too_long": "has too many entries: at most {max_length}",
    "too_short": "has too few entries: at least {min_length}",
    "tuple_type": "must be a list in square brackets, like [0, 20]",
    "union_tag_not_found": 'is missing: add one, such as kind = "ball"',
}
_MOST_SHOWN = 50
"""Mistakes of one file that are shown: what has more is no design file."""
_MOST_LOOKED_AT = 500
_TOO_SHORT, _NO_TEXT = "too_short", "string_type"
ABSURD = "is an absurd size here"
"""In the message about a length outside of what is possible."""
NO_UNIT = "no_unit"
"""Type of the error about a bare length in a file that declares no unit."""


@dataclass(frozen=True)
class Mistake:
    """One thing wrong in a design file.

    Attributes
    ----------
    key : str
        Dotted path of the key, such as ``reflector.keep``; empty for the file as a whole.
    message : str
        What is wrong and what to do about it.
    """

    key: str
    message: str


class DesignError(ValueError):
    """A design file that cannot be used; its text has one line for each mistake.

    Parameters
    ----------
    path : Path or str
        The file, as the user named it.
    mistakes : iterable of Mistake
        Everything that was found wrong, in the order of the file's keys where possible.
    """

    def __init__(self, path: Path | str, mistakes: Iterable[Mistake]) -> None:
        self.path = Path(path)
        self.mistakes = tuple(mistakes)
        super().__init__("\n".join(self._line(mistake) for mistake in self.mistakes))

    def _line(self, mistake: Mistake) -> str:
        where = f"{mistake.key}: " if mistake.key else ""
        return _shown(f"{self.path}: {where}{mistake.message}")


def _shown(line: str) -> str:
    """Escape what a terminal would obey instead of showing: keys may hold any character."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in line)


def wrong(key: str, message: str) -> PydanticCustomError:
    """Return the error that a validator of a whole table raises about one of its keys."""
    return PydanticCustomError("design", "{text}", {"key": key, "text": message})


def mistakes_in(
    error: ValidationError, raw: Mapping[str, Any], model: type[BaseModel]
) -> tuple[Mistake, ...]:
    """Translate pydantic's errors into plain words, fifty mistakes at most.

    Parameters
    ----------
    error : ValidationError
        As raised by ``model``.
    raw : mapping
        The file as read, to distinguish its keys from pydantic's own labels.
    model : type
        The model of the whole file: its keys are the known ones.
    """
    known = known_keys(model)
    found = _without_repeats(error.errors(include_url=False)[:_MOST_LOOKED_AT])
    shown = tuple(_mistake(details, raw, known) for details in found[:_MOST_SHOWN])
    left = len(found) - len(shown)
    return (*shown, Mistake("", f"{left} more mistakes: correct these first")) if left else shown


def _without_repeats(found: list[ErrorDetails]) -> list[ErrorDetails]:
    """Leave out what only repeats another mistake.

    A list whose entries are wrong is also called too short; a table with a mistake where text would
    do as well is also called no text; and a unit that is missing or unknown, which is one mistake
    with one remedy, is found again at every bare length.
    """
    if any(details["loc"] == ("unit",) for details in found):
        found = [details for details in found if not _takes_unit_of_file(details)]
    no_unit = [details for details in found if details["type"] == NO_UNIT]
    repeated = [
        *no_unit[1:],
        *(details for details in found if _is_repeat(details, found)),
    ]
    return [details for details in found if details not in repeated]


def _takes_unit_of_file(details: ErrorDetails) -> bool:
    """Whether a bare length is absurd, which in an unknown unit says nothing."""
    return ABSURD in details["msg"] and isinstance(details["input"], int | float)


def _is_repeat(details: ErrorDetails, found: list[ErrorDetails]) -> bool:
    loc = details["loc"]
    if details["type"] not in (_TOO_SHORT, _NO_TEXT):
        return False
    place = loc if details["type"] == _TOO_SHORT else loc[:-1]
    return any(
        other["loc"][: len(place)] == place and len(other["loc"]) > len(loc) for other in found
    )


@functools.lru_cache(maxsize=4)
def known_keys(model: type[BaseModel]) -> dict[str, tuple[str, ...]]:
    """List the keys that each table of a file may hold.

    Parameters
    ----------
    model : type
        The model of the whole file.

    Returns
    -------
    dict of str to tuple of str
        Keys by the table's dotted path, without list positions; the path is empty at the top of
        the file. Alternatives at one place (the reflector kinds) are taken together.
    """
    schema = model.model_json_schema(by_alias=True)
    found: dict[str, tuple[str, ...]] = {}
    _collect(schema, schema.get("$defs", {}), "", found)
    return found


def _collect(
    node: Mapping[str, Any], defs: Mapping[str, Any], path: str, found: dict[str, tuple[str, ...]]
) -> None:
    if "$ref" in node:
        node = defs[node["$ref"].rsplit("/", 1)[-1]]
    for part in (*node.get("anyOf", ()), *node.get("oneOf", ())):
        _collect(part, defs, path, found)
    if "items" in node:
        _collect(node["items"], defs, path, found)
    properties = node.get("properties", {})
    if properties:
        found[path] = tuple(dict.fromkeys((*found.get(path, ()), *properties)))
    for key, child in properties.items():
        _collect(child, defs, f"{path}.{key}" if path else key, found)


def _mistake(
    details: ErrorDetails, raw: Mapping[str, Any], known: Mapping[str, tuple[str, ...]]
) -> Mistake:
    kind = details["type"]
    place = _place(details["loc"], raw, missing=kind == "missing")
    context = details.get("ctx", {})
    if kind == "design":
        place = (*place, *([context["key"]] if context["key"] else ()))
        return Mistake(_dotted(place), context["text"])
    if kind == "extra_forbidden":
        return Mistake(_dotted(place), _unknown(place, known))
    if kind.startswith("union_tag"):
        place = (*place, "kind")
    return Mistake(_dotted(place), _in_plain_words(kind, context, details))


def _in_plain_words(kind: str, context: Mapping[str, Any], details: ErrorDetails) -> str:
    if kind == "value_error":
        return str(context["error"])
    if kind == "literal_error":
        return f"{details['input']!r} is not a choice here: write {context['expected']}"
    if kind == "union_tag_invalid":
        tag, choices = context["tag"], context["expected_tags"]
        return f"{tag!r} is not known: write one of {choices}"
    if kind in _PLAIN_WORDS:
        return _PLAIN_WORDS[kind].format(**context)
    return details["msg"]


def _place(
    loc: Sequence[int | str], raw: Mapping[str, Any], *, missing: bool
) -> tuple[int | str, ...]:
    """Keep what is really in the file: pydantic also names the alternative that it tried."""
    place: list[int | str] = []
    here: Any = raw
    for position, part in enumerate(loc):
        is_key = isinstance(here, Mapping) and part in here
        is_entry = isinstance(here, list) and isinstance(part, int) and part < len(here)
        if is_key or is_entry:
            here = here[part]
            place.append(part)
        elif missing and position == len(loc) - 1:
            place.append(part)
    return tuple(place)


def _dotted(place: Sequence[int | str]) -> str:
    """Dotted path; entries of a list are counted from 1, as people do."""
    text = ""
    for part in place:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def _unknown(place: Sequence[int | str], known: Mapping[str, tuple[str, ...]]) -> str:
    table = ".".join(part for part in place[:-1] if isinstance(part, str))
    key = str(place[-1])
    here = known.get(table, ())
    if key in here:
        return f"does not go with the kind that [{table}] has: remove it, or write another kind"
    near = difflib.get_close_matches(key, here, n=1, cutoff=0.6)
    if near:
        return f"unknown key: did you mean {near[0]}?"
    if key in known:
        return f"unknown key here: write it as a table of its own, [{key}]"
    homes = [_home(path) for path, keys in known.items() if key in keys]
    if homes:
        return f"unknown key here: {key} belongs {' or '.join(homes)}"
    return f"unknown key: remove it, or use one of {', '.join(here)}"


def _home(table: str) -> str:
    return f"in [{table}]" if table else "at the top of the file, above the first [table]"
