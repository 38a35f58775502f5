"""Where the sound of one design goes: single numbers, every third octave, every seat."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from dispersion.bands import band_label
from shapes.lengths import across_room
from studies.answer import cautions, levels
from studies.answer.columns import (
    SCORE_CAPTION,
    SCORE_COLUMNS,
    band,
    formula,
    in_words,
    number,
    score_cells,
    text,
    window_in_words,
)
from studies.answer.evidence import balance_in_words, evidence_of
from studies.answer.resonances import resonance_tables, resonances_in_words
from studies.answer.table import Fact, Findings, Table
from studies.answer.voiced import filters_table
from studies.questions.spread.study import Spread
from studies.questions.spread.ways_tables import ways_facts, ways_in_words, ways_tables
from studies.solving.leaning import hung_in_words, left_out_in_words

POWER_CAPTION = (
    "shares of the driver's power that arrive far away or are taken by a part's walls; what walls"
    " take of sharp resonances is most uncertain"
)


def spread_tables(spread: Spread) -> Findings:
    """Put the coverage of one design into words and tables."""
    named = [("as designed", spread.row)]
    by_band = levels.band_levels(
        spread.design,
        named,
        "bands",
        "By third octave, dB re the driver's own on-axis curve",
        "printed",
    )
    return Findings(
        command="spread",
        design=spread.design,
        answer=tuple(_answer(spread)),
        facts=(
            *_facts(spread),
            *ways_facts(spread),
            *_facts_of_ceiling(spread),
            *_facts_of_posts(spread),
        ),
        tables=(
            by_band,
            *ways_tables(spread),
            *resonance_tables(spread.row.response.sharp_resonances),
            _score(spread),
            filters_table(spread.row, spread.design.target),
            *_where_it_goes(spread),
            *_around(spread),
            *_askew(spread),
            _upwards(levels.curves(spread.design, named, spread.driver_alone_db), spread),
            levels.elevations(named),
        ),
        evidence=evidence_of([spread.row], spread.row),
        cautions=(cautions.SWEEPS,),
    )


def _answer(spread: Spread) -> list[str]:
    found = spread.row.coverage
    window = window_in_words(found.window)
    lows = f"{band_label(found.band[0])} to {band_label(found.band[1])}"
    return [
        f"In the window of {window}, {lows}: {_loudness(found.mean_window_level_db)} on average,"
        f" tilted by {found.tilt_db_per_octave:+z.1f} dB per octave.",
        *_parts(spread),
        _treble(found.treble_limit_hz, found.centres[-1]),
        *ways_in_words(spread),
        *resonances_in_words(spread.row.response.sharp_resonances),
        *_off_the_ceiling(spread),
        *_round_the_column(spread),
        *_hung_askew(spread),
        f"Score {spread.row.score:.2f} dB.",
        formula(spread.design.target),
    ]


def _parts(spread: Spread) -> list[str]:
    card, target = spread.row.scorecard, spread.design.target
    coverage, steadiness, residue, boost = (term.measured for term in card.terms)
    start = in_words(max(target.judged_from, target.band[0]))
    return [
        f"From {start} up: coverage {coverage:.1f} dB (rms"
        f" across the window), steadiness {steadiness:.1f} dB (rms of what the room hears"
        f" otherwise), residue {residue:.1f} dB (left by a one-octave equaliser), boost"
        f" {boost:.1f} dB (its lift in the treble).",
        f"{100 * card.leak:.0f} per cent of the power leaves above the window"
        f" (wanted: {100 * card.leak_limit:.0f} at most).",
    ]


def _loudness(level_db: float) -> str:
    side = "below" if level_db < 0 else "above"
    return f"{abs(level_db):.1f} dB {side} the driver's own on-axis curve"


def _treble(limit_hz: float, top_hz: float) -> str:
    if math.isnan(limit_hz):
        return "Treble limit: not told, since the band holds nothing from 500 Hz to 2 kHz."
    if limit_hz >= top_hz * (1 - 1e-9):
        return f"Treble limit: {band_label(limit_hz)} or more, the highest band computed."
    return (
        f"Treble limit: {band_label(limit_hz)}, the highest band within 6 dB of the mean from"
        " 500 Hz to 2 kHz."
    )


def _facts(spread: Spread) -> tuple[Fact, ...]:
    found = spread.row.coverage
    return (
        Fact("window_low_deg", found.window[0], "lowest elevation of the window, degrees"),
        Fact("window_high_deg", found.window[1], "highest elevation of the window, degrees"),
        Fact("window_level_db", found.mean_window_level_db, "mean of the bands, dB re 0 dB"),
        Fact(
            "tilt_db_per_octave",
            found.tilt_db_per_octave,
            "straight line through the window levels, dB per octave",
        ),
        *(
            Fact(f"{term.name}_db", term.measured, "part of the score as measured, dB")
            for term in spread.row.scorecard.terms
        ),
        Fact(
            "upward_leak_percent",
            100 * spread.row.scorecard.leak,
            "power above the window, mean over the octaves, per cent",
        ),
        Fact(
            "treble_limit_hz",
            found.treble_limit_hz,
            "highest band within 6 dB of the mean from 500 Hz to 2 kHz, Hz; none if not told",
        ),
        Fact("score_db", spread.row.score, "score, dB; less is better"),
    )


def _score(spread: Spread) -> Table:
    return Table("score", "Score", SCORE_COLUMNS, (score_cells(spread.row),), SCORE_CAPTION)


def _off_the_ceiling(spread: Spread) -> list[str]:
    loss = spread.ceiling_loss_db
    if loss is None:
        return []
    seat = spread.design.seats[0].name
    side = "more" if loss < 0 else "less"
    return [
        f"The first bounce off a ceiling {across_room(spread.design.tables.room.ceiling)} high"
        f" leaves at {spread.ceiling_deg:.0f} degrees: {abs(loss):.1f} dB {side} than towards"
        f" {seat}, mean along the band."
    ]


def _round_the_column(spread: Spread) -> list[str]:
    most = spread.widest_swing
    if most is None:
        return []
    return [
        f"Round the column the posts make it swing by at most {most.swing_db:.1f} dB, in the"
        f" {band_label(most.centre_hz)} band ({_how(spread)})."
    ]


def _hung_askew(spread: Spread) -> list[str]:
    levels = spread.askew
    if levels is None:
        return left_out_in_words(spread.design)
    most = int(np.argmax(levels.swing_db))
    return [
        f"As it hangs, {hung_in_words(spread.design)} (solved with an axis for each part, no"
        " posts), the window level swings round the column by at most"
        f" {levels.swing_db[most]:.1f} dB, in the {band_label(levels.centres[most])} band;"
        f" {balance_in_words(levels.balance)}. All else here is as if it hung straight.",
    ]


def _askew(spread: Spread) -> tuple[Table, ...]:
    levels = spread.askew
    if levels is None:
        return ()
    columns = (
        band(),
        number("lowest_db", "lowest", "lowest window level round the column, dB re 0 dB", 1),
        number("mean_db", "mean", "level of the mean power round the column, dB re 0 dB", 1),
        number("highest_db", "highest", "highest window level round the column, dB re 0 dB", 1),
        number("swing_db", "swing", "lowest to highest, dB", 1),
        number("side_db", "side", "what a seat on the worst side gains or loses, dB", 1),
    )
    found = levels.level_db
    cells = (
        levels.centres,
        found.min(axis=1),
        levels.mean_db,
        found.max(axis=1),
        levels.swing_db,
        levels.side_db,
    )
    rows = tuple(tuple(map(float, row)) for row in zip(*cells, strict=True))
    return (Table("askew", "Round the column as it hangs askew, dB", columns, rows),)


def _how(spread: Spread) -> str:
    balance = None if spread.ripple is None else spread.ripple.balance
    if balance is None:
        return "an estimate: rods in the gap"
    return f"round posts, solved, {balance_in_words(balance)}"


def _facts_of_ceiling(spread: Spread) -> tuple[Fact, ...]:
    if spread.ceiling_deg is None:
        return ()
    return (
        Fact(
            "ceiling_deg",
            spread.ceiling_deg,
            "elevation at which the first bounce off the ceiling leaves towards seat 1, degrees",
        ),
        Fact("ceiling_mm", 1e3 * spread.design.tables.room.ceiling, "ceiling above the floor, mm"),
        Fact(
            "ceiling_loss_db",
            spread.ceiling_loss_db,
            "level towards seat 1 less that towards the ceiling's bounce, mean of the curves, dB",
        ),
    )


def _facts_of_posts(spread: Spread) -> tuple[Fact, ...]:
    most = spread.widest_swing
    if most is None:
        return ()
    meaning = f"largest swing round the column, {_how(spread)}, dB"
    return (Fact("post_ripple_db", most.swing_db, meaning),)


def _upwards(curves: Table, spread: Spread) -> Table:
    """Add the levels towards the ceiling's bounce and straight up to the curves."""
    wanted = {"straight_up_level_db": (spread.straight_up_curve_db, "straight up")}
    if (curve := spread.ceiling_curve_db) is not None:
        bounce = f"towards the first bounce off the ceiling, {spread.ceiling_deg:.1f} degrees"
        wanted = {"ceiling_level_db": (curve, bounce)} | wanted
    columns = tuple(
        number(key, key.removesuffix("_level_db"), f"level far away {where}, dB re 0 dB", 1)
        for key, (_, where) in wanted.items()
    )
    found = [levels for levels, _ in wanted.values()]
    rows = tuple((*row, *map(float, more)) for row, *more in zip(curves.rows, *found, strict=True))
    return replace(curves, columns=(*curves.columns, *columns), rows=rows)


def _where_it_goes(spread: Spread) -> tuple[Table, ...]:
    """Shares of the power, per cent: a line for each destination; then every band, in files."""
    found, centres = spread.where_it_goes, spread.row.coverage.centres
    if not found:
        return ()
    name = text("destination", "where it goes", "far away, or what takes it")
    columns = (
        name,
        number("mean_percent", "mean, %", "share of the power, mean over the bands, per cent", 2),
        number("most_percent", "most, %", "largest share in any band, per cent", 2),
        replace(band("in the band"), key="most_band_hz"),
    )
    rows = tuple(
        (
            one.name,
            100.0 * float(one.shares.mean()),
            100.0 * float(one.shares.max()),
            float(centres[one.shares.argmax()]),
        )
        for one in found
    )
    by_band = tuple(
        (float(centre), one.name, 100.0 * float(share))
        for one in found
        for centre, share in zip(centres, one.shares, strict=True)
    )
    share = number("share_percent", "share, %", "share of the power, per cent", 3)
    title = "Where the power of the driver goes"
    return (
        Table("power", title, columns, rows, POWER_CAPTION),
        Table(
            "power_by_band",
            "Power by part and third octave",
            (band(), name, share),
            by_band,
            scope="data",
        ),
    )


def _around(spread: Spread) -> tuple[Table, ...]:
    """Levels round the column by band, if there are posts: window level and ripple together."""
    around, found = spread.around_column, spread.row.coverage
    if around is None:
        return ()
    columns = (
        band(),
        number("lowest_db", "lowest", "lowest window level round the column, dB re 0 dB", 1),
        number("mean_db", "mean", "mean window level round the column, dB re 0 dB", 1),
        number("highest_db", "highest", "highest window level round the column, dB re 0 dB", 1),
        number("no_posts_db", "no posts", "window level without posts, dB re 0 dB", 1),
    )
    rows = zip(found.centres, *around, found.window_level_db, strict=True)
    cells = tuple(tuple(map(float, row)) for row in rows)
    title = f"Round the column, {_how(spread)}: window level by third octave"
    return (Table("azimuth", title, columns, cells, scope="data"),)
