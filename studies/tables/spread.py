"""Where the sound of one design goes: single numbers, every third octave, every seat."""

from __future__ import annotations

import math

from dispersion.bands import band_label
from studies.spread import Spread
from studies.tables import cautions, levels
from studies.tables.columns import (
    SCORE_CAPTION,
    SCORE_COLUMNS,
    formula,
    score_cells,
    window_in_words,
)
from studies.tables.evidence import evidence_of
from studies.tables.table import Fact, Findings, Table


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
        "spread",
        spread.design,
        tuple(_answer(spread)),
        _facts(spread),
        (
            by_band,
            _score(spread),
            levels.curves(spread.design, named, spread.bare_driver_db),
            levels.elevations(named),
        ),
        evidence_of([spread.row], spread.row),
        (cautions.SWEEPS,),
    )


def _answer(spread: Spread) -> list[str]:
    found = spread.row.coverage
    window = window_in_words(found.window)
    lows = f"{band_label(found.band[0])} to {band_label(found.band[1])}"
    return [
        f"In the window of {window}, {lows}: {_loudness(found.mean_window_level_db)} on average,"
        f" uneven by {found.mean_evenness_db:.1f} dB (rms) across it.",
        f"Along the band it tilts by {found.tilt_db_per_octave:+.1f} dB per octave, with"
        f" {found.ripple_db:.1f} dB (rms) of ripple about that line.",
        f"{100 * found.mean_leak:.0f} per cent of the power leaves above the window, mean over the"
        " bands.",
        _treble(found.treble_limit_hz, found.centres[-1]),
        f"Score {spread.row.score:.2f} dB.",
        formula(spread.design.target),
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
        Fact("evenness_db", found.mean_evenness_db, "mean of the bands, dB"),
        Fact(
            "tilt_db_per_octave",
            found.tilt_db_per_octave,
            "straight line through the window levels, dB per octave",
        ),
        Fact("ripple_db", found.ripple_db, "rms of the window levels about that line, dB"),
        Fact(
            "upward_leak_percent",
            100 * found.mean_leak,
            "power above the window, mean of the bands, per cent",
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
