"""Two columns and a listener off the middle seat: words, numbers and a table."""

from __future__ import annotations

import math
from collections.abc import Iterator

from shapes.lengths import across_room
from studies.answer.columns import number
from studies.answer.table import Fact, Table, TableColumn
from studies.questions.seat.pair import ALONE_S
from studies.questions.seat.study import SeatStudy

CAPTION = (
    "seen from the middle between the columns: distance and angle off the direction of the middle"
    " seat. earlier, louder: the nearer column against the farther one, direct sound, mean of the"
    " third octaves and the least and most of them; up to some 1 ms one source is heard between"
    " the columns, beyond that the nearer column (Blauert, Spatial Hearing [from memory])"
)


def pair_in_words(study: SeatStudy) -> tuple[str, ...]:
    """Say how wide the place is in which both columns make one source."""
    found = study.pair
    if found is None:
        return ()
    worst = max(
        (one for one in found.listeners if one.distance == found.distance),
        key=lambda one: one.arrival_s,
    )
    name = study.main.name
    aside = (
        f"{across_room(found.aside)} aside of it the nearer one comes {1e3 * ALONE_S:.0f} ms first,"
        " and all seems to come from there"
        if math.isfinite(found.aside)
        else f"nowhere the nearer one comes {1e3 * ALONE_S:.0f} ms first"
    )
    return (
        f"Two columns {across_room(found.apart)} apart, {name} as far from both: {aside} (some"
        f" {1e3 * ALONE_S:.0f} ms, Blauert [from memory]). {worst.azimuth_deg:.0f} degrees off the"
        f" middle, as far away, it comes {1e3 * worst.arrival_s:.1f} ms first and"
        f" {worst.level_db:.1f} dB louder ({worst.least_db:.1f} to {worst.most_db:.1f} dB by third"
        " octave). Columns that play alike all round cannot be turned to make up for it.",
    )


def pair_facts(study: SeatStudy) -> Iterator[Fact]:
    """Return where the middle ends, for scripts."""
    found = study.pair
    if found is not None:
        yield Fact("apart_m", found.apart, "between the axes of both columns, m")
        aside = found.aside if math.isfinite(found.aside) else None
        yield Fact("aside_m", aside, "aside of the middle seat arrivals differ by 1 ms, m")


def pair_tables(study: SeatStudy) -> tuple[Table, ...]:
    """Tabulate arrival and level differences by distance and azimuth."""
    found = study.pair
    if found is None:
        return ()
    columns = (
        TableColumn("distance_m", "distance", "from the middle between both, m", across_room),
        number("azimuth_deg", "off the\nmiddle, deg", "azimuth off the middle seat, degrees", 0),
        number("earlier_ms", "earlier\nms", "nearer column before the farther one, ms"),
        number("louder_db", "louder\ndB", "nearer column over the farther one, mean, dB", 1),
        number("least_db", "least\ndB", "the third octave where it is least, dB", 1),
        number("most_db", "most\ndB", "the third octave where it is most, dB", 1),
    )
    rows = tuple(
        (
            one.distance,
            one.azimuth_deg,
            1e3 * one.arrival_s,
            one.level_db,
            one.least_db,
            one.most_db,
        )
        for one in found.listeners
    )
    title = f"Two columns {across_room(found.apart)} apart: off the middle seat"
    return (Table("pair", title, columns, rows, CAPTION),)
