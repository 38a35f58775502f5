"""The pressure in a slice: where it is loudest, what the ring lets out, waves against gaps."""

from __future__ import annotations

import numpy as np

from dispersion.checks import remarks_after
from shapes.lengths import in_both, in_own
from studies.answer.columns import in_words, length, mm, number, text
from studies.answer.evidence import Evidence
from studies.answer.resonances import resonance_tables, resonances_in_words
from studies.answer.table import Fact, Findings, Table, TableColumn, Value, joined
from studies.design.walls_table import walls_in_words
from studies.questions.slice.slices import HALF_WAVE, Slices

ZERO = (
    "In the slice 0 dB is the driver's own on-axis level at 1 m, wherever the point is, so levels"
    " rise towards the driver."
)
RINGS = (
    "share: of the pressure's energy in the air between driver and what hangs above, of the part"
    " that rings alone; in the cone: below the baffle's face"
)
LIMIT = "What is not round is not in the slice: posts, wires, a reflector off its centre."


def slices_tables(slices: Slices) -> Findings:
    """Put the pressure in a slice into words and tables."""
    return Findings(
        command="slice",
        design=slices.design,
        answer=tuple(_answer(slices)),
        facts=tuple(_facts(slices)),
        tables=(_places(slices), _waves(slices), *_resonances(slices)),
        evidence=_evidence(slices),
    )


def _answer(slices: Slices) -> list[str]:
    said = [_at_one(slices, number) for number in range(len(slices.frequencies))]
    rings = resonances_in_words(slices.resonances, [one.where for one in slices.places])
    return [*said, *rings, *_look_there(slices), ZERO, LIMIT]


def _look_there(slices: Slices) -> list[str]:
    """Say how to see the sharpest resonance, unless it is among what was asked for."""
    sharpest = max(slices.resonances, key=lambda one: one.q, default=None)
    if sharpest is None:
        return []
    if np.any(np.abs(slices.frequencies - sharpest.frequency) < sharpest.bandwidth):
        return []
    number = slices.resonances.index(sharpest) + 1
    return [f"To see the sharpest of them, ask --resonance {number}."]


def _at_one(slices: Slices, number: int) -> str:
    frequency = float(slices.frequencies[number])
    point = slices.loudest(number)
    side = "above" if point.height >= 0 else "below"
    where = "on the axis" if point.on_axis else f"{in_both(point.radius)} from the axis"
    return (
        f"{in_words(frequency)}: loudest {where},"
        f" {in_both(abs(point.height))} {side} the baffle, {point.level_db:+z.0f} dB;"
        f"{_drop(slices, number)}{_against_gaps(slices, number)}"
    )


def _drop(slices: Slices, number: int) -> str:
    if slices.drop_db is None:
        return " nothing hangs above, so there is no ring."
    drop = float(slices.drop_db[number])
    less = "lower" if drop >= 0 else "higher"
    return f" the ring's mouth is {abs(drop):.0f} dB {less} than the driver's."


def _against_gaps(slices: Slices, number: int) -> str:
    """Compare half a wave with the gaps: a larger gap can hold lobes."""
    if not slices.gaps:
        return ""
    wide = slices.wide_gaps(number)
    half = f"Half a wave is {in_both(HALF_WAVE * slices.wavelengths[number])}"
    if not wide:
        return f" {half}, longer than every gap: one wave runs outwards."
    verb = "is" if len(wide) == 1 else "are"
    return f" {half}: {joined(wide)} {verb} larger, so the sound can stand and split there."


def _facts(slices: Slices) -> list[Fact]:
    facts = [
        Fact("step_mm", mm(slices.step), "distance between neighbouring points of the slice, mm"),
        Fact(
            "points_per_wavelength",
            float(slices.points_per_wavelength.min()),
            "points of the slice to the shortest wave",
        ),
    ]
    for at, name in enumerate(slices.names):
        level = slices.loudest(at).level_db
        facts.append(Fact(f"loudest_{name}_db", level, f"loudest point at {name}, dB"))
    return facts


def _places(slices: Slices) -> Table:
    columns = (
        _FREQUENCY,
        number("loudest_db", "loudest\npoint", "highest level, dB re the driver at 1 m", 1),
        length(
            "loudest_radius_mm", "its radius", "of the loudest point, from the axis", short=True
        ),
        length("loudest_height_mm", "its height", "of that point, above the baffle", short=True),
        number("driver_mouth_db", "driver's\nmouth", "mean over the driver's area, dB", 1),
        number("ring_mouth_db", "ring's\nmouth", "mean over the height of the ring's mouth, dB", 1),
    )
    caption = "levels in dB re the driver's own on-axis level at 1 m"
    return Table("places", "Level inside", columns, tuple(_place_cells(slices)), caption)


def _place_cells(slices: Slices) -> list[tuple[Value, ...]]:
    cells: list[tuple[Value, ...]] = []
    for n, frequency in enumerate(slices.frequencies):
        point = slices.loudest(n)
        place = (point.level_db, mm(point.radius), mm(point.height))
        ring = None if slices.ring_mouth_db is None else float(slices.ring_mouth_db[n])
        cells.append((float(frequency), *place, float(slices.driver_mouth_db[n]), ring))
    return cells


def _resonances(slices: Slices) -> tuple[Table, ...]:
    if not slices.places:
        return resonance_tables(slices.resonances)
    more = (
        text("where", "sits mostly", "where most of its energy is"),
        number("share_percent", "share\n%", "of its energy below what hangs above, per cent", 0),
        length("radius_mm", "loudest at\nradius", "from the axis to its loudest point", short=True),
        length("height_mm", "height", "of that point above the baffle", short=True),
    )
    cells = [
        (one.where, 100.0 * one.share, mm(one.radius), mm(one.height)) for one in slices.places
    ]
    return resonance_tables(slices.resonances, more, cells, RINGS)


def _waves(slices: Slices) -> Table:
    gaps = slices.gaps_in_waves
    columns = [_FREQUENCY, length("wavelength_mm", "wavelength", "of the wave in air", short=True)]
    for name in gaps:
        key = f"{name.replace(' ', '_')}_in_waves"
        columns.append(number(key, f"{name},\nwaves", f"{name} over the wavelength"))
    values = zip(slices.frequencies, slices.wavelengths, *gaps.values(), strict=True)
    rows = [
        (float(frequency), mm(float(wavelength)), *map(float, shares))
        for frequency, wavelength, *shares in values
    ]
    caption = "up to 0.5 waves one wave runs outwards through a gap; above, lobes are possible"
    return Table("waves", "Waves against gaps", tuple(columns), tuple(rows), caption)


_FREQUENCY = TableColumn("frequency_hz", "frequency", "frequency, Hz", in_words)


def _evidence(slices: Slices) -> Evidence:
    response = slices.response
    return Evidence(
        method=response.method,
        solved=1,
        lowest_hz=float(slices.frequencies[0]),
        highest_hz=float(slices.frequencies[-1]),
        unknowns_lowest=int(response.unknowns[0]),
        unknowns_highest=int(response.unknowns[-1]),
        worst_power_error_db=response.worst_power_error_db,
        settings=response.settings,
        remarks=(
            *remarks_after(response),
            *walls_in_words(response.problem.walls),
            f"the slice has a point every {in_own(slices.step)},"
            f" {np.min(slices.points_per_wavelength):.0f} to the shortest wave",
        ),
        reference="the driver itself, flush in an endless wall, straight ahead, at 1 m",
    )
