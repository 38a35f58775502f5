"""What reaches the seats, in words and tables."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from dispersion.bands import band_label
from shapes.lengths import across_room, in_both
from studies.answer.columns import band, number, text
from studies.answer.evidence import Evidence, evidence_of_responses
from studies.answer.table import Fact, Findings, Table, TableColumn, Value
from studies.questions.seat.listener import EARLY_S, Arrival, Listener
from studies.questions.seat.loudness_tables import (
    loudness_facts,
    loudness_in_words,
    loudness_tables,
)
from studies.questions.seat.pair_tables import pair_facts, pair_in_words, pair_tables
from studies.questions.seat.study import SeatStudy
from studies.questions.seat.time_tables import time_tables
from studies.questions.seat.words import answer, posture

_LEVEL = "level: direct sound re 0 dB at 1 m, bounces re direct sound"
CAUTION = (
    "The WAV files are clicks at full level: turn the volume down before you play one, and protect"
    " your hearing."
)


def seat_tables(study: SeatStudy) -> Findings:
    """Put what reaches the seats into words and tables."""
    return Findings(
        command="seat",
        design=study.design,
        answer=(*answer(study), *pair_in_words(study), *loudness_in_words(study)),
        facts=(*_facts(study), *pair_facts(study), *loudness_facts(study)),
        tables=(
            _bounces(study),
            _early(study),
            _main_seat(study),
            _by_seat(study),
            _levels(study),
            *pair_tables(study),
            *loudness_tables(study),
            *time_tables(study),
            *_shadows(study),
            *_turned(study),
        ),
        evidence=_evidence(study),
        cautions=(CAUTION,),
    )


def _facts(study: SeatStudy) -> Iterator[Fact]:
    main = study.main
    yield Fact("near_wall_mm", 1e3 * study.seating.near_wall, "axis to the wall behind, mm")
    for arrival in main.bounces:
        key = arrival.path.surface.replace(" ", "_")
        yield Fact(
            f"{key}_delay_ms", arrival.path.delay_ms, f"{arrival.path.surface} behind direct, ms"
        )
        mean = main.mean_re_direct_db(arrival)
        yield Fact(f"{key}_level_db", mean, f"{arrival.path.surface} re direct, mean of bands, dB")
    yield Fact(
        "early_to_direct_db",
        main.early_mean_db,
        f"bounces within {EARLY_S * 1e3:.0f} ms over direct sound at seat 1, mean of bands, dB",
    )
    yield from _late(main)
    yield Fact("impulse_ms", main.impulse.length_ms, "length of each WAV file, ms")
    yield Fact(
        "impulse_least_ms", 1e3 * main.impulse.least_s, "least length of seat 1's WAV files, ms"
    )
    yield Fact(
        "solved_frequencies", len(study.curves.response.solved_frequencies), "solved for them"
    )
    yield Fact(
        "read_between_db",
        study.read_between_db,
        "worst error met of the curves between solved frequencies, dB re the pressure in the band",
    )
    yield Fact("by_pattern_rms_db", study.pattern_rms_db, "bounces by far-field pattern, rms, dB")
    yield Fact("by_pattern_worst_db", study.pattern_worst_db, "the same, largest, dB")


def _late(main: Listener) -> Iterator[Fact]:
    found = main.delays
    at = found.worst
    if at is None:
        return
    where = band_label(found.centres[at])
    yield Fact("late_ms", 1e3 * float(found.late_s[at]), f"direct sound's group delay, {where}, ms")
    yield Fact(
        "late_audible_ms", 1e3 * float(found.audible_s[at]), "what is just audible there, ms"
    )


def _shadows(study: SeatStudy) -> tuple[Table, ...]:
    """What the column makes of each bounce that passes it, by third octave."""
    columns, cells = [band()], [study.centres]
    for place, listener in enumerate(study.listeners, start=1):
        for surface, shadow in listener.shadows_db.items():
            key = f"seat_{place}_{surface.replace(' ', '_')}_db"
            meaning = f"{surface}, level at {listener.name} over that with no column there, dB"
            columns.append(number(key, f"{listener.name},\n{surface}", meaning, 1))
            cells.append(shadow)
    if len(columns) == 1:
        return ()
    rows = tuple(tuple(map(float, row)) for row in zip(*cells, strict=True))
    title = "What the column makes of bounces that pass it, dB"
    return (Table("shadows", title, tuple(columns), rows, scope="data"),)


def _turned(study: SeatStudy) -> tuple[Table, ...]:
    """Swing of the direct sound at each seat as the column is turned: posts, and [askew]."""
    posts = [(one.name, one.posts) for one in study.listeners if one.posts is not None]
    askew = [(one.name, one.askew) for one in study.listeners if one.askew is not None]
    swings = [(name, one.centres, one.peak_to_peak_db) for name, one in posts]
    leaning = [(name, one.centres, one.swing_db) for name, one in askew]
    return (
        *_swings("turned", "the posts change", swings),
        *_swings("turned_askew", "hanging askew changes", leaning),
    )


def _swings(
    key: str, what: str, found: list[tuple[str, np.ndarray, np.ndarray]]
) -> tuple[Table, ...]:
    """Table of names, centres and swings (B,), of each seat; none without seats."""
    if not found:
        return ()
    columns = [band()]
    for place, (name, _, _) in enumerate(found, start=1):
        meaning = f"swing of the direct sound at {name} as the column is turned, dB"
        columns.append(number(f"seat_{place}_swing_db", name, meaning, 1))
    cells = (found[0][1], *(swing for _, _, swing in found))
    rows = tuple(tuple(map(float, row)) for row in zip(*cells, strict=True))
    title = f"What {what} as the column is turned, lowest to highest, dB"
    return (Table(key, title, tuple(columns), rows, scope="data"),)


def _octave_columns(study: SeatStudy, what: str) -> tuple[TableColumn, ...]:
    return tuple(
        number(
            f"octave_{centre:.0f}_hz_db",
            band_label(centre).replace(" ", "\n"),
            f"{what}, {band_label(centre)} octave, dB",
            1,
        )
        for centre in study.octaves_hz
    )


def _bounces(study: SeatStudy) -> Table:
    columns = (
        text("seat", "seat", "name of the seat"),
        text("surface", "by way of", "surface of the bounce"),
        number("delay_ms", "delay\nms", "behind the direct sound, ms; 0 if direct"),
        *_directions(),
        TableColumn(
            "spot_m", "meets at", "level distance from the axis to where it is met, m", across_room
        ),
        number("level_db", "mean\ndB", f"{_LEVEL}, mean of the third octaves, dB", 1),
        *_octave_columns(study, _LEVEL),
    )
    rows = tuple(
        _arrival(study, listener, arrival)
        for listener in study.listeners
        for arrival in listener.arrivals
    )
    caption = (
        "direct: level re 0 dB at 1 m; bounces: re the direct sound, losses in surface and air"
        " included. leaves: elevation at the speaker. meets at: where a rug or an absorber would"
        " have to be, level distance from the column's axis"
    )
    title = "What arrives, in the order of arrival"
    return Table("bounces", title, columns, rows, caption, group_key="seat")


def _directions() -> tuple[TableColumn, ...]:
    from_where = "degrees anticlockwise from the room's length"
    return (
        number("path_m", "path", "whole length from the middle of the ring, m", shown=False),
        number("leaves_deg", "leaves\ndeg", "elevation at the speaker, degrees", 0),
        number("azimuth_deg", "from", f"azimuth at the ears, {from_where}", 0, shown=False),
        number("elevation_deg", "from", "elevation at the ears, degrees", 0, shown=False),
    )


def _arrival(study: SeatStudy, listener: Listener, arrival: Arrival) -> tuple[Value, ...]:
    path, is_direct = arrival.path, arrival is listener.direct
    octaves = study.by_octave_db(arrival.level_db)
    if not is_direct:
        direct = study.by_octave_db(listener.direct.level_db)
        octaves = [level - own for level, own in zip(octaves, direct, strict=True)]
    return (
        listener.name,
        path.surface,
        path.delay_ms,
        path.path_m,
        path.departure_elevation_deg,
        path.azimuth_deg,
        path.elevation_deg,
        None if is_direct else arrival.spot_m,
        float(np.mean(arrival.level_db)) if is_direct else listener.mean_re_direct_db(arrival),
        *octaves,
    )


def _early(study: SeatStudy) -> Table:
    columns = (
        text("seat", "seat", "name of the seat"),
        number("mean_db", "mean\ndB", "mean of the third octaves, dB", 1),
        *_octave_columns(study, "early bounces over direct sound"),
    )
    rows: tuple[tuple[Value, ...], ...] = tuple(
        (one.name, one.early_mean_db, *study.by_octave_db(one.early_to_direct_db))
        for one in study.listeners
    )
    title = f"Early bounces (within {EARLY_S * 1e3:.0f} ms) over direct sound, energy, by octave"
    return Table("early", title, columns, rows)


def _main_seat(study: SeatStudy) -> Table:
    main = study.main
    here, there = posture(main)
    columns = (
        band(),
        number("direct_db", f"direct\n{here}", f"direct sound {here}, dB re 0 dB at 1 m", 1),
        number("other_direct_db", f"direct\n{there}", f"the same {there}", 1),
        number("change_db", f"{there}\nless {here}", "their difference, dB", 1),
        number("early_db", "early re\ndirect", "early bounces over direct sound, dB", 1),
        number("other_early_db", f"the same\n{there}", f"the same {there}, dB", 1),
        number("summed_db", "all,\nby wave", "all of it wave by wave over direct sound, dB", 1),
        number("behind_db", "wall\nbehind", "what a wall close behind adds to direct sound, dB", 1),
        *_floor_columns(main),
    )
    values = (
        study.centres,
        main.direct.level_db,
        main.other_direct_db,
        main.ears_change_db,
        main.early_to_direct_db,
        main.other_early_to_direct_db,
        main.summed_db,
        main.behind_db,
        *_floor_values(main),
    )
    rows = tuple(tuple(map(float, row)) for row in zip(*values, strict=True))
    title = f"{main.name}, by third octave"
    caption = (
        "direct: dB re 0 dB at 1 m. early: energies of the bounces added. all, by wave: direct"
        " sound and bounces with their phases, over direct sound. wall behind: what a wall"
        f" {in_both(study.seating.near_wall)} behind the column's axis adds to the direct sound,"
        " wave by wave; 0 in the free room" + _floor_caption(main)
    )
    return Table("main_seat", title, columns, rows, caption)


def _floor_columns(listener: Listener) -> tuple[TableColumn, ...]:
    if listener.floor is None:
        return ()
    exact = "column on a rigid floor, exact, dB re 0 dB at 1 m"
    images = "direct sound and a rigid floor's bounce, wave by wave, dB re 0 dB at 1 m"
    return (
        number("floor_exact_db", "on the\nfloor", exact, 1),
        number("floor_images_db", "direct +\nimage", images, 1),
    )


def _floor_values(listener: Listener) -> tuple[np.ndarray, ...]:
    found = listener.floor
    return () if found is None else (found.exact_db, found.images_db)


def _floor_caption(listener: Listener) -> str:
    if listener.floor is None:
        return ""
    return (
        ". on the floor: solved with the column standing on a rigid floor; direct + image: the"
        " column in free air, and the bounce"
    )


def _by_seat(study: SeatStudy) -> Table:
    columns = (
        text("seat", "seat", "name of the seat"),
        band(),
        number("direct_db", "direct", "direct sound, dB re 0 dB at 1 m"),
        number("other_direct_db", "other", "direct sound at the other height of the ears, dB"),
        number("early_db", "early", "early bounces over direct sound, dB"),
        number("behind_db", "behind", "what a wall close behind adds to direct sound, dB"),
        *_floor_columns(study.main),
    )
    rows: list[tuple[Value, ...]] = []
    for one in study.listeners:
        values = (
            study.centres,
            one.direct.level_db,
            one.other_direct_db,
            one.early_to_direct_db,
            one.behind_db,
            *_floor_values(one),
        )
        rows += [(one.name, *map(float, row)) for row in zip(*values, strict=True)]
    return Table("seats", "Every seat by third octave", columns, tuple(rows), scope="data")


def _levels(study: SeatStudy) -> Table:
    columns = (
        text("seat", "seat", "name of the seat"),
        text("surface", "surface", "by way of which surface"),
        band(),
        number("level_db", "level", "band level of that path at the seat, dB re 0 dB at 1 m"),
    )
    rows = tuple(
        (one.name, arrival.path.surface, float(centre), float(level))
        for one in study.listeners
        for arrival in one.arrivals
        for centre, level in zip(study.centres, arrival.level_db, strict=True)
    )
    return Table("paths", "Every path by third octave", columns, rows, scope="bulk")


def _evidence(study: SeatStudy) -> Evidence:
    found = evidence_of_responses([study.curves.response], study.curves.response)
    kept = tuple(remark for remark in found.remarks if not remark.startswith("free field"))
    return replace(
        found,
        remarks=(*_read_between(study), *kept, *_LEFT_OUT),
        reference="the driver itself, flush in an endless wall, straight ahead, at 1 m",
    )


def _read_between(study: SeatStudy) -> tuple[str, ...]:
    response = study.curves.response
    by_spline: tuple[str, ...] = ()
    if response.settling is None:
        off = study.curves.worst_error
        too_few = "; too few: without --per-band they are chosen by need" if off > 0.1 else ""
        by_spline = (
            f"{len(response.solved_frequencies)} frequencies solved, a spline in between: leaving"
            f" every second out changes it by {100 * off:.1f} per cent of the pressure in the band"
            f" at most{too_few}",
        )
    return (
        *by_spline,
        "each bounce is the pressure that the solver finds at the seat's image, near field"
        f" included; the far-field pattern at each bounce's own angle gives the same within"
        f" {study.pattern_rms_db:.1f} dB (rms; {study.pattern_worst_db:.1f} dB at worst)",
    )


_LEFT_OUT = (
    "air absorption by ISO 9613-1 on every path; its delay is that of the speed of sound alone",
    "surfaces are plane, without end and without edges; what they send back keeps its phase and"
    " loses the energy that the file says; delays are those from the middle of the ring",
    "the column is solved in free air: of what a surface sends back it scatters again only what"
    " passes it on the way to the seat, once",
)
