"""The live answer as the page shows it: curves, map, terms of the score, and its doubt."""

from __future__ import annotations

import math

import numpy as np

from dispersion.checks import EQUAL_AREA_DB, believed_as_round
from studies.answer.charts.coverage import STEP_DB
from studies.answer.charts.style import level_limits
from studies.answer.outlines import Data, rounded
from studies.answer.page_axes import absolute_colours, frequency_axis_data, normalised_colours
from studies.answer.standing import behind
from studies.bench.live import Answer
from studies.solving.candidates import Row
from studies.solving.verdicts import compared

ELEVATION_STEP = 3
"""Every third elevation is shown: 1.5 degrees apart."""
LOUD_PERCENT = 99.5
"""A few beams of a few cells may be louder than the top of the colours."""
MOST_POINTS = 300
"""Of one curve: a screen has no more columns."""


def answer_view(answer: Answer) -> Data:
    """Return everything that the page draws of an answer, ready for JSON."""
    row, coverage = answer.row, answer.row.coverage
    stride = max(1, math.ceil(len(row.window_curve_db) / MOST_POINTS))
    curves = np.vstack((row.window_curve_db, row.seat_curves_db.T))[:, ::stride]
    high = STEP_DB * math.ceil(np.percentile(coverage.level_db, LOUD_PERCENT) / STEP_DB)
    return {
        "version": answer.version,
        "stage": answer.stage + _sides(row),
        "last": answer.last,
        "seconds": round(answer.seconds, 3),
        "title": answer.design.title,
        "frequency": frequency_axis_data(coverage.centres),
        "frequencies": rounded(row.response.problem.frequencies[::stride], 2),
        "curves": rounded(curves, 2),
        "names": ["window", *(seat.name for seat in answer.design.seats)],
        "levels": level_limits(curves),
        "window": list(coverage.window),
        "elevations": coverage.elevations[::ELEVATION_STEP].tolist(),
        "map": rounded(coverage.level_db[:, ::ELEVATION_STEP].T, 1),
        "own": rounded(coverage.window_level_db, 2),
        "absolute": absolute_colours(high),
        "normalised": normalised_colours(),
        "step": STEP_DB,
        **_scores(row),
    }


def _sides(row: Row) -> str:
    """How far flat sides may count as round, where there are any."""
    heard = believed_as_round(row.assembly, row.response.problem.air)
    if heard is None:
        return ""
    return f"; sides count as round, within {EQUAL_AREA_DB:g} dB in the window to {heard[1]:.0f} Hz"


def _scores(row: Row) -> Data:
    card = row.scorecard
    return {
        "score": rounded(row.score, 3),
        "terms": [
            {
                "name": term.name,
                "measured": rounded(term.measured, 2),
                "weight": term.weight,
                "cost": rounded(term.cost, 3),
            }
            for term in card.terms
        ],
        "leak": rounded(card.leak, 3),
        "leaks_too_much": card.leaks_too_much,
    }


def difference_in_words(now: Answer, pinned: Answer) -> str:
    """How the present design compares with the pinned one, by the rule of all verdicts."""
    one, other = now.design.tables, pinned.design.tables
    if (one.target, one.seats) != (other.target, other.seats):
        return "Target or seats are not those of the pinned design: scores cannot be compared."
    found = compared(pinned.row.score - now.row.score)
    if found.verdict == "no difference":
        return f"No difference to the pinned design ({abs(found.lead_db):.2f} dB)."
    if not found.told_apart:
        return f"Cannot be told apart from the pinned design ({abs(found.lead_db):.2f} dB)."
    if found.gains:
        return f"Better than the pinned design, which is {behind(found)}."
    return f"Not as good as the pinned design: {behind(found.turned())}."
