"""How loud it can be before the cone has no travel left: words, numbers and a table."""

from __future__ import annotations

from collections.abc import Iterator

from dispersion.bands import band_label
from shapes.lengths import in_both
from studies.answer.columns import band, number
from studies.answer.table import Fact, Table
from studies.questions.seat.loudness import Loudness
from studies.questions.seat.study import SeatStudy

LEAST_LOSS_DB = 0.1
"""Below this nothing is said of what the air takes."""
BY_TRAVEL = "level by travel: so whatever drives the cone."
BY_POWER = (
    " power: above the resonance of driver and box, below which 1 W gives less level and less"
    " travel."
)
NOT_KNOWN = (
    " Not known: box and port (a port plays too, and spares the cone near its tuning), what the"
    " voice coil stands in heat, {limit}and how much the cone distorts before its travel ends"
)


def loudness_in_words(study: SeatStudy) -> tuple[str, ...]:
    """Say how loud it can be in the lowest band, what takes it there, and what is not known."""
    found = study.loudness
    if found is None:
        return ()
    lowest, most = band_label(found.centres[0]), found.most_db[0, 0]
    said = (
        f"How loud: a sine of {most:.0f} dB (re 20 uPa, direct sound at {study.main.name}) at"
        f" {lowest} uses up the travel of {in_both(found.excursion)} either way{_by_power(found)};"
        " every octave higher allows 12 dB more, but for what column and reflector change."
    )
    return (" ".join([said, *_heavier(found), "Box, port, heat and distortion are not known."]),)


def _by_power(found: Loudness) -> str:
    power = found.power_w
    if power is None or found.one_watt_db is None:
        return ""
    return f", for which {power[0]:.3g} W do (1 W: {found.one_watt_db[0, 0]:.0f} dB there)"


def _heavier(found: Loudness) -> Iterator[str]:
    load = found.load
    if load is None:
        return
    moves = (
        f"The cone moves {1e3 * load.mass:.2g} g of air here, {1e3 * load.flush:.2g} g in a wall:"
        f" with {1e3 * (load.moving_mass + load.flush):.3g} g published that"
    )
    if abs(load.loss_db) < LEAST_LOSS_DB:
        yield f"{moves} changes next to nothing."
    else:
        yield (
            f"{moves} makes {-load.loss_db:+z.1f} dB for the same power, and the driver's resonance"
            f" {100.0 * (load.resonance_share - 1.0):+z.0f} per cent."
        )


def loudness_facts(study: SeatStudy) -> Iterator[Fact]:
    """Numbers of the lowest band, and the air load, for scripts."""
    found = study.loudness
    if found is None:
        return
    where = f"seat 1, {band_label(found.centres[0])}"
    yield Fact("most_db", float(found.most_db[0, 0]), f"sine at full travel, {where}, dB re 20 uPa")
    if found.power_w is not None:
        yield Fact("most_w", float(found.power_w[0]), f"power that takes it there, {where}, W")
    if found.load is not None:
        yield Fact("air_load_g", 1e3 * found.load.mass, "air that moves with the cone, g")
        yield Fact(
            "air_load_loss_db", found.load.loss_db, "level lost by it for the same power, dB"
        )
        share = found.load.resonance_share
        yield Fact("resonance_share", share, "the driver's resonance over that in a wall")


def loudness_tables(study: SeatStudy) -> tuple[Table, ...]:
    """Tabulate by third octave what level uses up the travel, and what power that takes."""
    found = study.loudness
    if found is None:
        return ()
    columns = [
        band(),
        number("alone_db", "in a wall,\n1 m", "small source that moves as much, 1 m, dB", 1),
    ]
    cells = [found.centres, found.alone_db]
    for place, (one, most) in enumerate(zip(study.listeners, found.most_db, strict=True), start=1):
        heading, meaning = f"seat {place}", f"most at {one.name}, direct, dB re 20 uPa"
        columns.append(number(f"seat_{place}_db", heading, meaning, 1))
        cells.append(most)
    if found.power_w is not None and found.one_watt_db is not None:
        columns.append(number("one_watt_db", "1 W,\nseat 1", "level at seat 1 for 1 W, dB", 1))
        columns.append(number("power_w", "takes\nW", "power that takes the cone to its end, W", 1))
        cells += [found.one_watt_db[0], found.power_w]
    rows = tuple(tuple(map(float, row)) for row in zip(*cells, strict=True))
    title = f"Loudest sine by travel, {in_both(found.excursion)} either way, dB re 20 uPa"
    limit = "the tweeter's own limit, " if study.design.tables.tweeter else ""
    power = "" if found.power_w is None else BY_POWER
    caption = BY_TRAVEL + power + NOT_KNOWN.format(limit=limit)
    return (Table("loudest", title, tuple(columns), rows, caption),)
