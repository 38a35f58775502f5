"""Reading a design file: text, tables, files that it names, geometry, and every mistake."""

from __future__ import annotations

import hashlib
import math
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from dispersion.absorbers import AbsorberError
from dispersion.air import AirError
from dispersion.bounded import UnreadableError, bytes_of
from dispersion.driver_curve import LARGEST_CURVE, DriverCurve, read_driver_curve
from dispersion.sources import Way
from shapes.carcass import carcass_of
from shapes.clashes import Clash, find_clashes
from shapes.lengths import in_own, written_in
from studies.design.companions import OutsideError, file_beside
from studies.design.design import (
    ContestEntry,
    Design,
    DesignFile,
    assemble,
    column_of,
    outer_radius_of,
)
from studies.design.errors import DesignError, Mistake, mistakes_in
from studies.design.fit_table import (
    CAP_HEIGHT,
    CONE_DEPTH,
    EFFECTIVE_DIAMETER,
    IN_PRINT,
    PROUD_HEIGHT,
    SHRINK_FREQUENCY,
    KnownDriver,
    known_driver,
)
from studies.design.quantities import UNITS, unit_of_file
from studies.design.reflector_tables import CHOOSABLE, BallTable, ReflectorTable
from studies.design.tables import DriverTable, WayTable
from studies.design.walls_table import FELT_PIECES

LARGEST_DESIGN = 2**20
"""Bytes; a profile of 2000 points takes a tenth of it."""
_HALF_BAND = 10**0.05  # from the middle of a third-octave band to its edge, IEC 61260-1
_LARGEST_WHOLE = 2**63  # whole numbers of TOML 1.0 lie within 64 bits; Python's reader takes any
_DEEPEST = 20  # no design file nests half as deep, and Python's own stack has an end

_TOO_LONG = "a whole number of more than 18 digits: correct it, and mind its unit"
_TOO_DEEP = f"brackets or dots nest more than {_DEEPEST} deep: close them where they belong"

Made = TypeVar("Made")


def read_design(path: Path | str, allow_outside: bool = False) -> Design:
    """Read a design file and check everything that can be checked without acoustics.

    Parameters
    ----------
    path : path
        A TOML file; companions (curves, other designs) are named relative to its folder.
    allow_outside : bool
        Whether companions may lie outside of that folder.

    Returns
    -------
    Design
        Complete, and free of clashes as written.

    Raises
    ------
    DesignError
        With one line for each mistake found.
    """
    return parse_design(_text_of(Path(path)), path, allow_outside)


def parse_design(text: str, path: Path | str, allow_outside: bool = False) -> Design:
    """Read a design from its text, as if it stood in a file at ``path``.

    Parameters
    ----------
    text : str
        What the file holds.
    path : path
        Names the file in messages and the folder of its companions.
    allow_outside : bool
        Whether companions may lie outside of that folder.

    Raises
    ------
    DesignError
        With one line for each mistake found.
    """
    file = Path(path)
    tables = parse_tables(text, file)
    with written_in(unit_of_file(tables.unit, text)):
        return _checked(text, file, tables, allow_outside=allow_outside)


def _checked(text: str, file: Path, tables: DesignFile, *, allow_outside: bool) -> Design:
    found = _Noted(file.parent, allow_outside)
    found.attempt("reflector", tables.reflector.build)
    if not found.mistakes:
        _check_clashes(tables, found)
        _check_port(tables, found)
    found.attempt("air", tables.air.build)
    ways = _ways(tables, found)
    known = _known(tables, found)
    walls = tables.walls.build(tables.driver.lets_go_hz)
    found.mistakes += _walls_mistakes(tables)
    entries = (
        ContestEntry("as designed", tables.reflector, tables.plate_gap),
        *_contest(tables, found),
    )
    found.mistakes += _crossed_mistakes(tables)
    if found.mistakes:
        raise DesignError(file, found.mistakes)
    return Design(
        path=file,
        text=text,
        tables=tables,
        ways=ways,
        walls=walls,
        entries=entries,
        companions=tuple(found.companions),
        allow_outside=allow_outside,
        known=known,
    )


def design_schema() -> dict[str, Any]:
    """JSON Schema of design files, for editors that complete and check TOML."""
    # As it is written, so that defaults are in the units of the file and not in those inside.
    schema = DesignFile.model_json_schema(by_alias=True, mode="serialization")
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "roundcast design file"
    return schema


@dataclass
class _Noted:
    """What is noted while a file is read: mistakes, and the companions with their hash."""

    folder: Path
    allow_outside: bool = False
    mistakes: list[Mistake] = field(default_factory=list)
    companions: list[tuple[str, str]] = field(default_factory=list)

    def attempt(self, key: str, make: Callable[[], Made]) -> Made | None:
        """Return what is made; None if it cannot be made, with the reason kept as a mistake."""
        try:
            return make()
        except ValueError as error:
            self.mistakes.append(Mistake(key, " ".join(str(error).split())))
            return None

    def companion(self, key: str, name: str, largest: int) -> Path | None:
        """Return the path of a file named in the design; None, and a mistake, if unreadable."""
        try:
            path = file_beside(self.folder, name, self.allow_outside)
            raw = bytes_of(path, largest)
        except OutsideError as error:
            self.mistakes.append(Mistake(key, str(error)))
            return None
        except UnreadableError as error:
            remedy = "its path is written as seen from the design file's folder"
            self.mistakes.append(Mistake(key, f"{name} {error}; {remedy}"))
            return None
        self.companions.append((name, hashlib.sha256(raw).hexdigest()))
        return path


def _text_of(path: Path) -> str:
    try:
        raw = bytes_of(path, LARGEST_DESIGN)
    except UnreadableError as error:
        raise DesignError(path, (Mistake("", str(error)),)) from None
    try:
        # Some editors put a byte-order mark in front, which TOML forbids.
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        mistake = Mistake("", f"line {line} is not UTF-8 text: save the file as UTF-8")
        raise DesignError(path, (mistake,)) from None


def parse_tables(text: str, path: Path) -> DesignFile:
    """Read the tables of a design from its text; geometry and companions are not looked at.

    Raises
    ------
    DesignError
        With one line for each mistake found.
    """
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DesignError(path, (Mistake("", _broken(str(error), text)),)) from None
    except RecursionError:
        raise DesignError(path, (Mistake("", _TOO_DEEP),)) from None
    except ValueError:
        mistake = Mistake("", f"holds {_TOO_LONG}")
        raise DesignError(path, (mistake,)) from None
    if absurd := tuple(_absurd_values(raw)):
        raise DesignError(path, absurd)
    unit = raw.get("unit")
    if unit is not None and unit not in UNITS:
        # Reported once for the key itself; any unit serves to check the rest.
        unit = UNITS[0]
    with written_in(unit_of_file(unit, text)):
        try:
            return DesignFile.model_validate(raw, context={"unit": unit})
        except ValidationError as error:
            raise DesignError(path, mistakes_in(error, raw, DesignFile)) from None


def _absurd_values(raw: Mapping[str, Any]) -> Iterator[Mistake]:
    """Find values that Python's TOML reader takes and that would break what reads them later."""
    waiting: list[tuple[str, int, Any]] = [(key, 1, value) for key, value in raw.items()]
    while waiting:
        key, depth, value = waiting.pop()
        if depth > _DEEPEST:
            yield Mistake(key.partition(".")[0], _TOO_DEEP)
            return
        if isinstance(value, int) and abs(value) >= _LARGEST_WHOLE:
            yield Mistake(key, f"is {_TOO_LONG}")
        elif isinstance(value, Mapping):
            waiting += [(f"{key}.{name}", depth + 1, below) for name, below in value.items()]
        elif isinstance(value, list):
            waiting += [(f"{key}[{n}]", depth + 1, below) for n, below in enumerate(value, 1)]


def _broken(reason: str, text: str) -> str:
    at = re.search(r"\(at line (\d+), column (\d+)\)", reason)
    number = int(at.group(1)) if at else len(text.splitlines())
    lines = text.splitlines()
    shown = lines[number - 1].strip() if 0 < number <= len(lines) else ""
    what = reason.split(" (at ")[0]
    remedy = 'put text and sizes with a unit in double quotes, like width = "200 mm"'
    if "overwrite" in what or "twice" in what:
        remedy = "it stands in the file twice, remove one"
    return f"line {number} is not valid TOML ({what}), {shown!r}: {remedy}"


def _check_clashes(tables: DesignFile, found: _Noted) -> None:
    assembly = found.attempt("", lambda: assemble(tables))
    if assembly is not None:
        found.mistakes += [_clash_mistake(clash) for clash in find_clashes(assembly)]


def _check_port(tables: DesignFile, found: _Noted) -> None:
    if tables.port is None or found.mistakes:
        return
    column, wall = column_of(tables), tables.build.column_wall
    carcass = found.attempt("column", lambda: carcass_of(column, wall))
    if carcass is not None:
        found.mistakes += [Mistake("port", words) for words in tables.port.misfits(carcass)]


def _clash_mistake(clash: Clash) -> Mistake:
    key = clash.part.replace(" ", "_")
    if key in DriverTable.model_fields:
        key = f"driver.{key}"
    elif key in FELT_PIECES:
        key = f"walls.{key}"
    return Mistake(key, f"{clash.message}: {clash.remedy}")


def _ways(tables: DesignFile, found: _Noted) -> tuple[Way, ...]:
    band = tables.target.band
    curve = _curve("driver", tables.driver, band, None, found)
    ways = [tables.driver.way(curve)]
    if tables.tweeter is not None:
        zero = None if curve is None else curve.zero_db
        curve = _curve("tweeter", tables.tweeter, band, zero, found)
        ways.append(tables.tweeter.way(curve))
    return tuple(ways)


def _curve(
    way: str,
    table: WayTable,
    band: tuple[float, float],
    usual_zero: float | None,
    found: _Noted,
) -> DriverCurve | None:
    if table.curve is None:
        return None
    key = f"{way}.curve"
    path = found.companion(key, table.curve, LARGEST_CURVE)
    if path is None:
        return None
    curve = found.attempt(key, lambda: read_driver_curve(path, table.curve_beyond))
    if curve is None:
        return None
    if table.curve_beyond == "refuse":
        found.mistakes += _short_curve(key, curve, band)
    zero = usual_zero if table.curve_zero_db is None else table.curve_zero_db
    return curve.with_zero(curve.usual_level() if zero is None else zero)


def _short_curve(key: str, curve: DriverCurve, band: tuple[float, float]) -> Iterator[Mistake]:
    """Mistake of a curve that does not reach to the edges of the outermost bands."""
    low, high = band[0] / _HALF_BAND, band[1] * _HALF_BAND
    first, last = curve.frequencies[0], curve.frequencies[-1]
    if first > low or last < high:
        yield Mistake(
            key,
            f"reaches from {first:.0f} to {last:.0f} Hz, the band needs {low:.0f} to {high:.0f} Hz:"
            ' narrow target.band, or write curve_beyond = "hold" to hold its end values',
        )


def _contest(tables: DesignFile, found: _Noted) -> Iterator[ContestEntry]:
    for number, table in enumerate(tables.contest, start=1):
        key = f"contest[{number}]"
        reflector = table.reflector
        if table.design is not None:
            reflector = _borrowed(f"{key}.design", table.design, found)
        if reflector is None:
            continue
        found.attempt(f"{key}.reflector", reflector.build)
        may_hold = ("nothing", *CHOOSABLE.get(reflector.kind, ()), "sizes")
        if table.hold not in may_hold:
            said = f'"{table.hold}" is no size that a reflector of kind "{reflector.kind}" chooses'
            remedy = ", ".join(f'"{one}"' for one in may_hold)
            found.mistakes.append(Mistake(f"{key}.hold", f"{said}: write one of {remedy}"))
        stays = table.plate_gap is not None
        gap = tables.plate_gap if table.plate_gap is None else table.plate_gap
        yield ContestEntry(table.name, reflector, gap, stays, table.hold)


def _borrowed(key: str, name: str, found: _Noted) -> ReflectorTable | None:
    """Reflector table of another design file, whose own contest is not followed."""
    path = found.companion(key, name, LARGEST_DESIGN)
    if path is None:
        return None
    try:
        return parse_tables(_text_of(path), path).reflector
    except DesignError as error:
        first = error.mistakes[0]
        found.mistakes.append(
            Mistake(key, f"{name} has mistakes, correct them first: {first.key} {first.message}")
        )
        return None


def _known(tables: DesignFile, found: _Noted) -> KnownDriver | None:
    """What a fit found of the driver: that of the file which is named, or the file's own."""
    name, listed, key = tables.driver.known, tables.fit, "fit"
    if name is not None:
        key = "driver.known"
        path = found.companion(key, name, LARGEST_DESIGN)
        if path is None:
            return None
        try:
            listed = parse_tables(_text_of(path), path).fit
        except DesignError as error:
            first = error.mistakes[0]
            said = f"{name} cannot be read as the file of a fit: {first.key} {first.message}"
            found.mistakes.append(Mistake(key, said))
            return None
    elif not listed:
        return None
    known = found.attempt(key, lambda: known_driver(name or "this file", listed))
    if known is not None:
        found.mistakes += _another_driver(key, known, tables.driver)
    return known


def _another_driver(key: str, known: KnownDriver, driver: DriverTable) -> Iterator[Mistake]:
    """Mistake of a fit that began with, and found, other sizes than this driver has."""
    shrinks = math.nan if driver.lets_go is None else driver.lets_go.above
    own = {
        EFFECTIVE_DIAMETER: 2.0 * driver.effective_radius,
        SHRINK_FREQUENCY: shrinks,
        PROUD_HEIGHT: driver.proud,
        CONE_DEPTH: driver.cone_depth,
        CAP_HEIGHT: math.nan if driver.dust_cap is None else driver.dust_cap.height,
    }
    for size, value in own.items():
        if not known.is_of(size, value):
            began, ended = (
                f"{known.in_print(size, which):g}" for which in (known.written, known.found)
            )
            here = "missing" if math.isnan(value) else f"{value / IN_PRINT[size]:g}"
            yield Mistake(
                key,
                f"{known.file} is a fit of another driver: its {size} was {began} and became"
                f" {ended}, here it is {here} (mm, Hz): measure this driver, or leave the fit out",
            )
            return


def _walls_mistakes(tables: DesignFile) -> Iterator[Mistake]:
    """Surfaces that are not there, a cone that moves as one, models that do not reach the band."""
    walls, driver = tables.walls, tables.driver
    if walls.cone is not None and driver.lets_go is None:
        yield Mistake(
            "walls.cone",
            "counts only where the cone no longer moves as one, and driver.lets_go is missing: add"
            f' lets_go = {{ above = "{driver.lets_go_hz / 1e3:.1f} kHz", down_to = ... }}, or leave'
            " the cone out",
        )
    inside = driver.dust_cap or (driver.whizzer and driver.whizzer.dust_cap)
    if walls.dust_cap is not None and (inside is None or tables.tweeter is not None):
        yield Mistake("walls.dust_cap", "there is no dust cap: leave it out")
    if walls.tweeter is not None and tables.tweeter is None:
        yield Mistake("walls.tweeter", "there is no tweeter: leave it out")
    low, high = tables.target.band
    for key, absorber in walls.surfaces():
        try:
            air = tables.air.build()
            for frequency in (low / _HALF_BAND, high * _HALF_BAND):
                absorber.admittance(frequency, air)
        except AirError:
            return  # a mistake of its own
        except AbsorberError as mistake:
            yield Mistake(f"walls.{key}", str(mistake))


def _too_short(tables: DesignFile) -> Iterator[Mistake]:
    """Say where the rods at hand make no posts for the plate gap, or for any of ``[gap]``."""
    posts, gap = tables.posts, tables.gap
    if posts is None or posts.longest is None:
        return
    sockets, widest = posts.socket_plate + posts.socket_baffle, posts.widest_gap
    least = {"plate_gap": tables.plate_gap} | ({} if gap is None else {"[gap]": gap.first})
    for where, wanted in least.items():
        if wanted > widest:
            yield Mistake(
                "posts.longest",
                f"is too short for {where}: {in_own(wanted)} takes posts of"
                f" {in_own(wanted + sockets)}, sockets included; write what the rods give, or lower"
                " the plate",
            )


def _crossed_mistakes(tables: DesignFile) -> Iterator[Mistake]:
    """Mistakes that show only when several tables are held against each other."""
    if tables.target.window is None and not tables.seats:
        yield Mistake(
            "target.window", "is missing and no [[seats]] are named: add window = [0, 20] or seats"
        )
    solid = outer_radius_of(tables)
    for number, seat in enumerate(tables.seats, start=1):
        if seat.distance <= solid:
            yield Mistake(f"seats[{number}].distance", "is inside the speaker: sit further away")
    lies_on = tables.baffle is not None and tables.baffle.joint == "laid on"
    if lies_on and tables.column.edge_radius:
        yield Mistake("column.edge_radius", "a [baffle] lies there: write edge_radius below it")
    if tables.foot is not None and tables.build.foot_width is not None:
        yield Mistake("build.foot_width", "[foot] says how wide it stands: leave this out")
    yield from _too_short(tables)
    trim, reflector = tables.trim, tables.reflector
    if trim is None:
        return
    if trim.balls_on_sale is None and not isinstance(reflector, BallTable):
        yield Mistake(
            "trim.balls_on_sale",
            "is missing and the reflector is no ball: list the balls to try, or leave [trim] out",
        )
    if trim.hold == "nothing" and tables.gap is None:
        yield Mistake(
            "trim.hold",
            "nothing is held, and no [gap] says where the plate may hang: add [gap] with from, to"
            ' and step, or write "plate gap"',
        )
    if trim.hold == "tip clearance" and reflector.kind == "none":
        yield Mistake("trim.hold", 'there is no reflector to hold clear: write "plate gap"')
