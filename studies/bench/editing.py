"""Changes of single keys in the text of a design; remarks and the order of the file stay."""

from __future__ import annotations

import re
import tomllib
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

LONGEST_VALUE = 20_000
"""Characters of one value: a profile of two thousand points has as many."""
MOST_PARTS = 8
_PART = re.compile(r"([A-Za-z_][A-Za-z0-9_-]*)((?:\[[0-9]{1,3}\])*)")
_FRACTION = re.compile(r"-?(?:[0-9]+[ -])?[0-9]+/[0-9]+")
_GUESSED = re.compile(r"#\s*guess\s*:?\s*")

Place = tuple[str | int, ...]
"""Keys from the top of the file, entries of a list counted from 0."""


class EditError(ValueError):
    """A change that cannot be made; the message says why."""


def place_of(key: str) -> Place:
    """Read a dotted key as mistakes name it, ``seats[1].distance``; entries are counted from 1."""
    parts: list[str | int] = []
    for word in key.split(".")[: MOST_PARTS + 1]:
        match = _PART.fullmatch(word)
        if match is None:
            raise EditError(f"{key!r} is no key of a design")
        parts.append(match[1])
        parts += [int(number) - 1 for number in re.findall(r"[0-9]+", match[2])]
    if len(parts) > MOST_PARTS or any(part == -1 for part in parts):
        raise EditError(f"{key!r} is no key of a design")
    return tuple(parts)


def with_value(text: str, key: str, typed: str, *, words: bool = False) -> str:
    """Return a design's text with one key set to what was typed; without the key if nothing was.

    Parameters
    ----------
    text : str
        TOML.
    key : str
        Dotted, see `place_of`; its table is made if it is not there.
    typed : str
        A number, words, or a list or table in brackets as TOML writes them. A fraction without a
        unit, "1 1/2", counts in that of the file, as a number does.
    words : bool
        Whether even a number is text there.

    Raises
    ------
    EditError
        If there is no such place, or what was typed is no value.
    """
    if len(typed) > LONGEST_VALUE:
        raise EditError(f"is too long: at most {LONGEST_VALUE} characters")
    document, place = _document(text), place_of(key)
    if not typed.strip():
        return _dumped(_removed(document, place))
    if not words and _FRACTION.fullmatch(typed.strip()) and (unit := document.get("unit")):
        typed = f"{typed.strip()} {unit}"
    value = _value(typed.strip(), words)
    table, last = _holder(document, place), place[-1]
    known = table.get(last) if isinstance(last, str) else None
    table[last] = value
    if known is not None and isinstance(last, str):
        _no_guess(table, last)
    return _dumped(document)


def with_table(text: str, key: str) -> str:
    """Return a design's text with an empty table, or one more entry of a list of tables."""
    document, place = _document(text), place_of(key)
    holder, last = _holder(document, place[:-1] if _is_entry(place) else place), place[-1]
    if _is_entry(place):
        name = place[-2]
        entries = holder.get(name)
        if entries is None:
            holder[name] = tomlkit.aot()
            entries = holder[name]
        entries.append(tomlkit.table())
    elif len(place) == 1:
        document[last] = tomlkit.table()
    else:
        holder[last] = tomlkit.inline_table()
    return _dumped(document)


def without(text: str, key: str) -> str:
    """Return a design's text without a key, a table, or an entry of a list."""
    return _dumped(_removed(_document(text), place_of(key)))


def with_kind(text: str, key: str, kind: str, known: set[str]) -> str:
    """Return a design's text with another kind of reflector; keys it does not know go."""
    document, place = _document(text), place_of(key)
    table = _holder(document, (*place, "kind"))
    for name in [name for name in table if name not in known]:
        del table[name]
    table["kind"] = kind
    return _dumped(document)


def mark_at(table: Any, key: str) -> str:
    """Return "guess" or "given" as the remark beside a key says; empty if it says neither."""
    item = table.item(key) if hasattr(table, "item") else None
    remark = getattr(getattr(item, "trivia", None), "comment", "")
    if _GUESSED.match(remark):
        return "guess"
    return "given" if re.match(r"#\s*as given", remark) else ""


def _no_guess(table: Any, key: str) -> None:
    """What its owner has written is no guess any more."""
    trivia = getattr(table.item(key), "trivia", None) if hasattr(table, "item") else None
    if trivia is not None and _GUESSED.match(trivia.comment):
        rest = _GUESSED.sub("", trivia.comment, count=1)
        trivia.comment = f"# as given; {rest}" if rest else "# as given"


def _is_entry(place: Place) -> bool:
    return isinstance(place[-1], int)


def _document(text: str) -> Any:
    try:
        return tomlkit.parse(text)
    except (TOMLKitError, RecursionError) as error:
        raise EditError(f"the file is not valid TOML ({error}): correct its text") from error


def _dumped(document: Any) -> str:
    return tomlkit.dumps(document)


def _holder(document: Any, place: Place) -> Any:
    """The table that holds the last key of a place; tables on the way are made."""
    here = document
    for depth, part in enumerate(place[:-1]):
        if isinstance(part, str) and part not in here:
            here[part] = tomlkit.table() if depth == 0 else tomlkit.inline_table()
        here = _step(here, part)
    if not hasattr(here, "get") and not isinstance(place[-1], int):
        raise EditError("there is no table there")
    return here


def _step(here: Any, part: str | int) -> Any:
    try:
        return here[part]
    except (KeyError, IndexError, TypeError) as error:
        raise EditError(f"there is no {part!r} there") from error


def _removed(document: Any, place: Place) -> Any:
    here = document
    for part in place[:-1]:
        if isinstance(part, str) and part not in here:
            return document
        here = _step(here, part)
    try:
        del here[place[-1]]
    except (KeyError, IndexError):
        return document
    if _is_entry(place) and not len(here) and len(place) == 2:
        del document[place[0]]
    return document


def _value(typed: str, words: bool) -> Any:
    """What was typed as a TOML value: a number, a switch, a list or a table, else text."""
    looks_like_toml = typed[0] in "[{" or (not words and _is_bare(typed))
    if not looks_like_toml:
        return tomlkit.string(typed)
    try:
        return tomlkit.parse(f"value = {typed}")["value"]
    except TOMLKitError as error:
        raise EditError(f"cannot be read: {error}") from error


def _is_bare(typed: str) -> bool:
    """Whether TOML reads it as a number or a switch without quotes."""
    try:
        value = tomllib.loads(f"value = {typed}")["value"]
    except (tomllib.TOMLDecodeError, ValueError):
        return False
    return isinstance(value, bool | int | float)
