"""Measurements from files: curves and readings at positions, and their third-octave levels.

Files of 32 MiB and 2 million rows at most, found before memory is taken; one at both limits took
192 MiB and 11 s. A band counts from the frequency of which two periods fit before the first bounce.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from dispersion.bands import band_edges, band_index, nominal_centre, third_octave_centres
from dispersion.elevations import level_db
from shapes.lengths import across_room, in_own
from studies.design import Design
from studies.design.companions import OutsideError, file_beside
from studies.design.design import outer_radius_of
from studies.measured.curves import power_mean_db, read_curve
from studies.measured.dialect import MOST_ROWS
from studies.measured.hung import HungError, read_hung
from studies.measured.index import EXAMPLE, MeasurementTable, read_index
from studies.measured.outliers import without_slips
from studies.measured.positions import MeasuredBands, Measurement, Position
from studies.measured.sheet import Reading, is_sheet, read_sheet
from studies.measured.text_files import MeasurementError

MOST_POSITIONS = 200
LEAST_IN_BAND = 3
"""Fewest points of a curve in a band that has a level; twelve to the octave always give three."""
CENTRE_TOLERANCE = 0.02
"""Nominal and base-two centres are up to 1.3 % off the exact base-ten ones."""
CLEARANCE = 0.05
"""Metres between a microphone and the speaker at least."""


def read_measurements(paths: Sequence[Path], design: Design) -> tuple[Measurement, ...]:
    """Read everything that was measured, in the order given.

    Parameters
    ----------
    paths : sequence of Path
        Indexes of curves (TOML), filled-in sheets of `roundcast meter` (CSV), and curves that one
        of the indexes lists (which need not be named).
    design : Design
        What was built: positions must be outside of it.

    Returns
    -------
    tuple of Measurement
        One for each position.

    Raises
    ------
    MeasurementError
        With file, line or key, and remedy.
    """
    found: list[Measurement] = []
    listed: set[Path] = set()
    loose: list[Path] = []
    for path in paths:
        if path.suffix.lower() == ".toml":
            for table in read_index(path):
                file = _listed_file(path, table.file, design.allow_outside)
                found.append(_from_index(path, file, table, design))
                listed.add(file.resolve())
                _require_bounded(path, found)
        elif is_sheet(path):
            found += _from_sheet(path, design)
            _require_bounded(path, found)
        else:
            loose.append(path)
    for path in loose:
        if path.resolve() not in listed:
            read_curve(path)  # refuses what is no curve at all
            raise MeasurementError(
                f"{path}: nothing says where this was measured: name an index (a TOML file) that"
                f" lists it, such as{EXAMPLE.replace('p1.txt', path.name)}"
            )
    _require_places(found, design)
    return tuple(found)


def _listed_file(index: Path, name: str, allow_outside: bool) -> Path:
    try:
        return file_beside(index.parent, name, allow_outside)
    except OutsideError as error:
        raise MeasurementError(f"{index}: measurement.file: {error}") from None


def _from_index(index: Path, file: Path, table: MeasurementTable, design: Design) -> Measurement:
    if is_sheet(file):
        raise MeasurementError(
            f"{index}: {table.file} is a sheet of roundcast meter, which knows its positions: name"
            " it on the command line, and leave it out here"
        )
    frequencies, levels, notes = read_curve(file)
    if table.kind == "bands":
        frequencies, levels = _readings_on_centres(str(file), frequencies, levels)
    return Measurement(
        position=_under(table.position, table.hung, design, str(index)),
        source=str(file),
        frequencies=frequencies,
        level_db=levels,
        kind=table.kind,
        gate_limit_hz=table.gate_limit_hz,
        notes=tuple(f"{file.name}: {note}" for note in notes),
    )


def _from_sheet(path: Path, design: Design) -> Iterator[Measurement]:
    sheet = read_sheet(path)
    notes: tuple[str, ...] = ()
    if sheet.fingerprints and not any(map(design.fingerprint.startswith, sheet.fingerprints)):
        notes = (f"{path.name}: the sheet was made for another version of the design",)
    by_box: dict[tuple[str, str], list[Reading]] = {}
    readings, slips = without_slips(sheet.readings, path.name)
    notes += slips
    for reading in readings:
        rows = by_box.setdefault(reading.box, [])
        if rows and rows[0].position != reading.position:
            raise MeasurementError(
                f"{path}, line {reading.line}: {reading.position.name!r} stands elsewhere in line"
                f" {rows[0].line}: two positions need two names"
            )
        rows.append(reading)
    for rows in by_box.values():
        frequencies = np.array([row.band_hz for row in rows])
        levels = np.array([row.reading_db for row in rows])
        source = f"{path}, line {rows[0].line} and on"
        centres, means = _readings_on_centres(source, frequencies, levels)
        twice = len(rows) - len(centres)
        more = (f"{path.name}: bands read more than once at {rows[0].position.name}: {twice}, the"
                " mean of their power taken",)  # fmt: skip
        yield Measurement(
            position=_under(rows[0].position, rows[0].hung, design, source),
            source=str(path),
            frequencies=centres,
            level_db=means,
            kind="bands",
            notes=notes + (more if twice else ()),
        )


def _under(position: Position, hung: str, design: Design, source: str) -> Position:
    """A position with what hung over the driver, which its name then tells."""
    try:
        what, named = read_hung(hung, design)
    except HungError as error:
        raise MeasurementError(f"{source}: position {position.name!r}: {error}") from None
    return replace(position, name=f"{position.name}, {named}", hung=what) if named else position


def _readings_on_centres(
    source: str, frequencies: np.ndarray, levels: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return exact centres of the bands that were read, Hz, and the power mean of each, dB."""
    numbers = band_index(frequencies)
    centres = 1000.0 * 10.0 ** (numbers / 10.0)
    off = np.abs(frequencies / centres - 1.0) > CENTRE_TOLERANCE
    if off.any():
        odd = frequencies[off][0]
        raise MeasurementError(
            f"{source}: {odd:g} Hz is the centre of no third-octave band (the nearest is"
            f' {nominal_centre(odd):g} Hz): correct it, or write kind = "curve" for a curve'
        )
    bands = np.unique(numbers)
    return 1000.0 * 10.0 ** (bands / 10.0), np.array(
        [power_mean_db(levels[numbers == band]) for band in bands]
    )


def _require_bounded(path: Path, found: Sequence[Measurement]) -> None:
    if len(found) > MOST_POSITIONS:
        raise MeasurementError(
            f"{path}: more than {MOST_POSITIONS} positions: compare some of them at a time"
        )
    if sum(len(one.frequencies) for one in found) > MOST_ROWS:
        raise MeasurementError(
            f"{path}: more than {MOST_ROWS} rows in all files together: export fewer points"
        )


def _require_places(found: Sequence[Measurement], design: Design) -> None:
    seen: dict[str, Measurement] = {}
    for one in found:
        name = one.position.name
        if name in seen:
            raise MeasurementError(
                f"{one.source}: the position {name!r} is also in {seen[name].source}: give every"
                " position a name of its own"
            )
        seen[name] = one
        if _is_inside(one.position, design):
            raise MeasurementError(
                f"{one.source}: the position {name!r}, {across_room(one.position.r)} from the axis"
                f" and {across_room(one.position.height)} above the floor, is in the speaker or"
                f" closer than {in_own(CLEARANCE, 0)}: measure the distance from the column's axis,"
                " the height from the floor"
            )


def _is_inside(position: Position, design: Design) -> bool:
    """Return whether a position is within a cylinder round everything that is built."""
    tables = design.tables
    widest = outer_radius_of(tables)
    top = tables.plate_gap + (tables.plate.thickness if tables.plate else 0.0)
    z = position.z_over(design.column_height)
    return position.r < widest + CLEARANCE and z < top + CLEARANCE


def in_bands(measurements: Sequence[Measurement], band: tuple[float, float]) -> MeasuredBands:
    """Convert measurements to levels of common third-octave bands.

    Parameters
    ----------
    measurements : sequence of Measurement
    band : (float, float)
        Lowest and highest band, Hz.

    Returns
    -------
    MeasuredBands
        nan where a band reaches below the gate limit, was not read, is not wholly covered by a
        curve, or holds fewer than `LEAST_IN_BAND` points of it.

    Notes
    -----
    The level of a band is 10 lg of the mean of 10^(L/10) over the logarithm of the frequency, as
    pink noise would read it: each point of a curve stands for its surroundings, half way (on that
    scale) to its neighbours. For points evenly spaced in each band this is the mean that
    `dispersion.bands.band_means` takes of what is predicted. Readings are taken as they are.
    """
    centres = third_octave_centres(*band)
    levels = [_levels_in(one, centres) for one in measurements]
    return MeasuredBands(
        tuple(one.position for one in measurements),
        centres,
        np.array(levels).reshape(len(levels), len(centres)),
    )


def _levels_in(one: Measurement, centres: np.ndarray) -> np.ndarray:
    found = np.full(len(centres), np.nan)
    if one.kind == "bands":
        _, at, there = np.intersect1d(
            band_index(one.frequencies), band_index(centres), return_indices=True
        )
        found[there] = one.level_db[at]
    elif len(one.frequencies) >= LEAST_IN_BAND:
        found = _curve_in_bands(one.frequencies, one.level_db, centres)
    lower, _ = band_edges(centres)
    return np.where(lower >= one.gate_limit_hz * (1.0 - 1e-9), found, np.nan)


def _curve_in_bands(frequencies: np.ndarray, levels: np.ndarray, centres: np.ndarray) -> np.ndarray:
    x = np.log(frequencies)
    between = 0.5 * (x[1:] + x[:-1])
    edges = np.concatenate(([2.0 * x[0] - between[0]], between, [2.0 * x[-1] - between[-1]]))
    top = levels.max()
    power = 10.0 ** ((levels - top) / 10.0)
    total = np.concatenate(([0.0], np.cumsum(power * np.diff(edges))))
    lower, upper = np.log(band_edges(centres))
    mean = (np.interp(upper, edges, total) - np.interp(lower, edges, total)) / (upper - lower)
    points = np.searchsorted(x, upper - 1e-9) - np.searchsorted(x, lower - 1e-9)
    # Room for rounding where a curve begins or ends exactly with a band.
    covered = (edges[0] <= lower + 1e-6) & (edges[-1] >= upper - 1e-6)
    return np.where(covered & (points >= LEAST_IN_BAND), top + level_db(mean), np.nan)
