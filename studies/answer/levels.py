"""Levels of solved candidates: by third-octave band, at single frequencies, by elevation."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from dispersion.coverage import Coverage
from shapes.lengths import across_room, in_own
from studies.answer.columns import CANDIDATE, band, number
from studies.answer.table import Table, TableColumn, Value
from studies.design import Design
from studies.solving.candidates import Row

Named = Sequence[tuple[str, Row]]
"""Candidates by name; those that were not solved are passed over."""

_BAND_COLUMNS = (
    number("window_level_db", "window\nlevel", "mean level in the window, dB re 0 dB", 1),
    number("evenness_db", "even-\nness", "rms of level across the window, dB", 1),
    number("di_ring_db", "DI re\nring", "directivity index re the horizontal ring, dB", 1),
    number("di_best_db", "DI re\nbest", "directivity index re the best direction, dB", 1),
    number("di_window_db", "DI re\nwindow", "directivity index re the window, dB", 1, shown=False),
    number(
        "sound_power_db",
        "sound\npower",
        "sound power, as the level it would give if it left evenly in all directions, dB re 0 dB",
        1,
    ),
    number("upward_leak_percent", "leak\n%", "share of the power above the window, per cent", 0),
    number(
        "floor_bounce_db",
        "floor\nbounce",
        "mean level at -20, -30 and -40 degrees (ANSI/CTA-2034-A), dB re 0 dB",
        1,
        shown=False,
    ),
    number(
        "ceiling_bounce_db",
        "ceil.\nbounce",
        "mean level at 40, 50 and 60 degrees (ANSI/CTA-2034-A), dB re 0 dB",
        1,
    ),
)
"""Each named after the measure in `Coverage` that it shows, the leak in per cent."""


def seat_columns(design: Design, what: str) -> tuple[TableColumn, ...]:
    """Return a column of levels for every seat of a design; `what` names the level."""
    return tuple(
        number(
            f"seat_{n}_level_db",
            seat.name,
            f"{what} at seat {n}, {seat.name} ({across_room(seat.r)} away, ears at"
            f" {in_own(seat.ear_height, 0)}, {seat.elevation_deg:.1f} degrees), dB re 0 dB at that"
            " distance",
            1,
        )
        for n, seat in enumerate(design.seats, start=1)
    )


def band_levels(
    design: Design,
    named: Named,
    name: str,
    title: str,
    scope: Literal["printed", "data", "bulk"] = "data",
) -> Table:
    """Tabulate every measure by third-octave band, and the levels at the seats, by candidate."""
    rows: list[tuple[Value, ...]] = []
    for candidate, row in named:
        if row.solved:
            measures = (_measure(row.coverage, column.key) for column in _BAND_COLUMNS)
            columns = (row.coverage.centres, *measures, *row.seat_levels_db.T)
            rows += [(candidate, *map(float, values)) for values in zip(*columns, strict=True)]
    columns = (CANDIDATE, band(), *_BAND_COLUMNS, *seat_columns(design, "band level"))
    return Table(name, title, columns, tuple(rows), scope=scope)


def _measure(found: Coverage, key: str) -> np.ndarray:
    """(B,) values of one of `_BAND_COLUMNS`."""
    return 100.0 * found.upward_leak if key == "upward_leak_percent" else getattr(found, key)


def curves(design: Design, named: Named, driver_alone_db: np.ndarray | None = None) -> Table:
    """Tabulate levels at every single frequency, in the window and at each seat, by candidate.

    `driver_alone_db` (F,) adds a column of what 0 dB is.
    """
    columns = [
        CANDIDATE,
        TableColumn("frequency_hz", "frequency", "frequency, Hz"),
        number("window_level_db", "window", "mean level in the window, dB re 0 dB"),
        *seat_columns(design, "level"),
    ]
    if driver_alone_db is not None:
        columns.append(
            number(
                "driver_alone_db",
                "0 dB is",
                "the driver alone, straight ahead in an endless wall, dB re constant acceleration"
                " (or the 0 dB of its measured curve); all other levels are re this",
            )
        )
    rows: list[tuple[Value, ...]] = []
    for candidate, row in named:
        if row.solved:
            levels = [row.response.problem.frequencies, row.window_curve_db, *row.seat_curves_db.T]
            levels += [] if driver_alone_db is None else [driver_alone_db]
            rows += [(candidate, *map(float, values)) for values in zip(*levels, strict=True)]
    return Table("curves", "Levels by frequency", tuple(columns), tuple(rows), scope="bulk")


def elevations(named: Named) -> Table:
    """Tabulate the band level in every elevation that was computed, by candidate."""
    rows = [
        (candidate, float(centre), float(angle), float(level))
        for candidate, row in named
        if row.solved
        for centre, levels in zip(row.coverage.centres, row.coverage.level_db, strict=True)
        for angle, level in zip(row.coverage.elevations, levels, strict=True)
    ]
    columns = (
        CANDIDATE,
        band(),
        number("elevation_deg", "elevation", "angle above horizontal, degrees", 1),
        number("level_db", "level", "band level in that direction, dB re 0 dB", 1),
    )
    return Table("elevations", "Levels by elevation", columns, tuple(rows), scope="bulk")
