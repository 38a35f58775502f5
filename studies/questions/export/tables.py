"""The directivity for other programs: what stands where, and values to check the reading with."""

from __future__ import annotations

import numpy as np

from dispersion.elevations import level_db
from studies.answer.columns import band, number
from studies.answer.evidence import evidence_of
from studies.answer.table import Fact, Findings, Table, TableColumn
from studies.questions.export.study import Directivity
from studies.questions.export.words import answer

CHECKED_HZ = (100.0, 1000.0, 10000.0)
CHECKED_DEG = (-30.0, 0.0, 30.0, 90.0)
"""Where values are printed for checking; the nearest ones in the file are taken."""

_FREQUENCY = TableColumn("frequency_hz", "frequency\nHz", "frequency, Hz", "{:.2f}".format)
_ELEVATION = number("elevation_deg", "elevation\ndeg", "angle above horizontal, degrees", 1)
_LEVEL = number("level_db", "level\ndB", "level of the far-field pressure, dB re 0 dB", 2)
_PHASE = number(
    "phase_deg", "phase\ndeg", "its phase for exp(+j 2 pi f t), re the middle of the baffle", 1
)


def directivity_tables(found: Directivity) -> Findings:
    """Put an exported directivity into words and tables."""
    return Findings(
        command="export",
        design=found.design,
        answer=tuple(answer(found)),
        facts=tuple(_facts(found)),
        tables=(_check_values(found), _pressures(found), _bands(found), _driver(found)),
        evidence=evidence_of([found.row], found.row),
    )


def _facts(found: Directivity) -> list[Fact]:
    air, directions = found.design.air, found.directions
    return [
        Fact("frequencies", found.frequencies.size, "number of frequencies"),
        Fact("elevations", directions.elevations.size, "number of elevations"),
        Fact("elevation_step_deg", directions.elevation_step, "between elevations, degrees"),
        Fact(
            "directions",
            directions.count if found.as_sofa else None,
            "number of directions in the SOFA file, each pole once; none without that file",
        ),
        Fact(
            "between_db",
            float(found.between_db.max()),
            "rms error of a straight line between the elevations, worst band, dB",
        ),
        Fact("density_kg_m3", air.density, "density of the air, kg/m3, for pascals"),
        Fact("speed_of_sound_m_s", air.speed, "speed of sound, m/s"),
    ]


def _check_values(found: Directivity) -> Table:
    columns = (
        _FREQUENCY,
        _ELEVATION,
        number("real", "real", "real part of the pressure, 1 is 0 dB", 5),
        number("imag", "imaginary", "its imaginary part", 5),
        _LEVEL,
        _PHASE,
    )
    rows = [
        (
            float(found.frequencies[f]),
            float(found.directions.elevations[e]),
            float(found.pressure[f, e].real),
            float(found.pressure[f, e].imag),
            float(found.levels_db[f, e]),
            float(found.phases_deg[f, e]),
        )
        for f in _nearest(np.log(found.frequencies), np.log(CHECKED_HZ))
        for e in _nearest(found.directions.elevations, np.array(CHECKED_DEG))
    ]
    title = "Values to check the reading with"
    return Table("check", title, columns, tuple(rows), "The same at every azimuth.")


def _nearest(values: np.ndarray, wanted: np.ndarray) -> list[int]:
    """Numbers of the values nearest to those wanted, each once, ascending."""
    return np.unique(np.abs(values[:, None] - wanted).argmin(axis=0)).tolist()


def _pressures(found: Directivity) -> Table:
    columns = (_FREQUENCY, _ELEVATION, _LEVEL, _PHASE)
    rows = _by_direction(found, found.frequencies, found.levels_db, found.phases_deg)
    title = "Level and phase by frequency and elevation"
    return Table("directivity", title, columns, rows, scope="bulk")


def _bands(found: Directivity) -> Table:
    level = number("level_db", "level", "third-octave band level in that direction, dB re 0 dB", 2)
    rows = _by_direction(found, found.band_centres, found.band_levels_db)
    title = "Third-octave band level by elevation"
    return Table("bands", title, (band(), _ELEVATION, level), rows, scope="bulk")


def _driver(found: Directivity) -> Table:
    alone = found.row.response.alone.conj()
    level = number("level_db", "level\ndB", "level of the driver alone, dB; see pascals", 2)
    values = (found.frequencies, level_db(np.abs(alone) ** 2), np.degrees(np.angle(alone)))
    rows = tuple(map(tuple, np.column_stack(values).tolist()))
    title = "The driver alone, flush in an endless baffle, straight ahead: what 0 dB is"
    return Table("driver", title, (_FREQUENCY, level, _PHASE), rows, scope="bulk")


def _by_direction(
    found: Directivity, frequencies: np.ndarray, *values: np.ndarray
) -> tuple[tuple[float, ...], ...]:
    """One row for each frequency and elevation, with one cell of each of the values (F, E)."""
    angles = found.directions.elevations
    cells = [
        np.repeat(frequencies, angles.size),
        np.tile(angles, frequencies.size),
        *(value.ravel() for value in values),
    ]
    return tuple(map(tuple, np.column_stack(cells).tolist()))
