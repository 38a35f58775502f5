"""The explorer: one page on which two sliders walk over the map of two sizes.

Everything is computed and put into words here; the page's script only shows it. Levels travel
as whole hundredths of a decibel, 16 bits each.

Measured: 200 pairs take about two minutes on two cores; the page has 6.7 MB (plotly 4.8 MB of it),
first paint 0.05 to 0.4 s, a slider step 80 ms.
"""

from __future__ import annotations

import base64
import html
import math
import textwrap
from collections.abc import Sequence

import numpy as np
from markupsafe import Markup

from shapes.lengths import INCH, in_both, in_inches, own_unit, unbroken
from studies.answer.charts.coverage import STEP_DB
from studies.answer.charts.style import inch_marks, level_limits
from studies.answer.charts.sweeps import cell_edges
from studies.answer.outlines import Data, gaps_of, rounded
from studies.answer.page_axes import absolute_colours, frequency_axis_data, normalised_colours
from studies.answer.report.rendering import render
from studies.questions.explore.page_section import section_of
from studies.questions.explore.study import Explore, Knob
from studies.questions.explore.tables import explore_tables
from studies.questions.explore.words import near_best_in_words, verdict, what_to_build
from studies.solving.candidates import Row
from studies.solving.grid import BY_NEED_DOUBT_DB, COARSE_DOUBT_DB, FINE_PER_BAND

HUNDREDTHS = 100.0
ELEVATION_STEP = 3
"""Every third elevation is shown: 1.5 degrees apart."""
LOUD_PERCENT = 99.5
"""A few beams of a few cells may be louder than the top of the colours."""
NOTE_WIDTH = 64


def explore_files(found: Explore) -> dict[str, bytes]:
    """Return the explorer's page, ``explore.html``: complete in one file, without a network."""
    from plotly.offline import get_plotlyjs

    by_need = found.best_row.response.settling is not None
    page = render(
        "explorer.html.j2",
        "studies.questions.explore",
        findings=explore_tables(found),
        found=found,
        start=_cell(found, found.best),
        near_best=near_best_in_words(found),
        knobs=[
            _slider(knob, at)
            for knob, at in zip(found.knobs, found.steps_at(found.best), strict=True)
        ],
        seats=[seat.name for seat in found.design.seats],
        terms=_terms(found),
        data=explorer_data(found),
        by_need=by_need,
        doubt=BY_NEED_DOUBT_DB if by_need else COARSE_DOUBT_DB,
        plotly=Markup(get_plotlyjs()),
    )
    return {"explore.html": page.encode("utf-8")}


def explorer_data(found: Explore) -> Data:
    """Everything the page's script shows, ready for JSON."""
    solved, coverage = found.solved, found.best_row.coverage
    free = [found.rows[place] for place in found.contenders]
    return {
        "shape": found.region.shape,
        "best": found.best,
        "written": found.written,
        "knobs": [_knob(knob) for knob in found.knobs],
        "cells": [_cell(found, place) for place in range(len(found.rows))],
        "scores": {"low": rounded(free[0].score), "high": rounded(free[-1].score)},
        "region": _outline(found),
        "terms": [term.name for term in solved[0].scorecard.terms],
        "most_share": rounded(max(t.cost for row in free for t in row.scorecard.terms)),
        "seats": [seat.name for seat in found.design.seats],
        "window": list(coverage.window),
        "frequency": frequency_axis_data(coverage.centres),
        "elevations": coverage.elevations[::ELEVATION_STEP].tolist(),
        "maps": _packed([row.coverage.level_db[:, ::ELEVATION_STEP].T for row in solved]),
        "windows": _packed([row.coverage.window_level_db for row in solved]),
        "curves": _packed([_curves(row) for row in solved]),
        "frequencies": {str(n): rounded(f) for n, f in _frequencies(solved).items()},
        "levels": _level_ranges(solved),
        "section": section_of(found),
    }


def _slider(knob: Knob, at: int) -> Data:
    return {
        "name": knob.name,
        "last": len(knob.sizes) - 1,
        "at": at,
        "low": knob.in_words(knob.sizes[0]),
        "high": knob.in_words(knob.sizes[-1]),
        "words": knob.in_words(knob.sizes[at]),
    }


def _knob(knob: Knob) -> Data:
    per_unit = INCH if own_unit() == "in" else 1e-3
    sizes = np.degrees(knob.sizes) if knob.is_angle else np.array(knob.sizes) / per_unit
    edges = cell_edges(sizes)
    ruled = own_unit() == "in" and not knob.is_angle
    marks = inch_marks(*(1e3 * INCH * edges[[0, -1]])) if ruled else []
    return {
        "title": f"{knob.name}, {'degrees' if knob.is_angle else own_unit()}",
        "sizes": rounded(sizes),
        "edges": rounded(edges),
        "ticks": rounded(np.array(marks) * 1e-3 / INCH),
        "tick_names": [in_inches(1e-3 * mark).removesuffix(" in") for mark in marks],
        "words": [knob.in_words(size) for size in knob.sizes],
    }


def _cell(found: Explore, place: int) -> Data:
    """Words and numbers of one pair; its levels are packed apart, in the order of solved rows."""
    row = found.rows[place]
    cell: Data = {
        "solved": row.solved,
        "choked": row.solved and row.assembly.is_choked,
        "name": row.name,
        "verdict": verdict(found, place),
        "task": f"Not for building: {row.reason}.",
        "hover": _hover(found, place),
        **gaps_of(row.drawn),
    }
    if row.solved:
        shares = [term.cost for term in row.scorecard.terms]
        cell |= {
            "score": rounded(row.score),
            "shares": rounded(shares),
            "task": unbroken(what_to_build(row.assembly)),
            "per_band": min(row.per_band, FINE_PER_BAND),
            "fineness": _fineness(row),
        }
    return cell


def _hover(found: Explore, place: int) -> str:
    """Lines for the map's label: markup of its own is only the line break."""
    row = found.rows[place]
    size, plate_gap = found.sizes_at(place)
    lines = [f"{found.knob.name} {found.knob.in_words(size)}", f"plate gap {in_both(plate_gap)}"]
    lines.append(verdict(found, place))
    if row.reason:
        lines += textwrap.wrap(row.reason.split("; ")[0], NOTE_WIDTH)
    return "<br>".join(html.escape(line, quote=False) for line in lines)


def _outline(found: Explore) -> Data:
    """Outline of the near-best region: edges between a cell inside and one that is not."""
    xs, ys = (_knob(knob)["edges"] for knob in found.knobs)
    inside = np.pad(found.region, 1)
    x: list[float | None] = []
    y: list[float | None] = []
    for i, j in np.argwhere(inside[:-1, 1:-1] != inside[1:, 1:-1]):
        x += [xs[i], xs[i], None]
        y += [ys[j], ys[j + 1], None]
    for i, j in np.argwhere(inside[1:-1, :-1] != inside[1:-1, 1:]):
        x += [xs[i], xs[i + 1], None]
        y += [ys[j], ys[j], None]
    return {"x": x, "y": y}


def _terms(found: Explore) -> str:
    """The score's weights, as the chart of its parts needs them."""
    terms = found.best_row.scorecard.terms
    return ", ".join(f"{term.name} x {term.weight:g}" for term in terms)


def _frequencies(rows: Sequence[Row]) -> dict[int, np.ndarray]:
    """Frequencies of the curves, by their number in a third octave."""
    return {
        min(row.per_band, FINE_PER_BAND): row.response.problem.frequencies[_stride(row)]
        for row in rows
    }


def _stride(row: Row) -> slice:
    """No more than `FINE_PER_BAND` frequencies in a third octave are drawn."""
    return slice(None, None, math.ceil(row.per_band / FINE_PER_BAND))


def _curves(row: Row) -> np.ndarray:
    """(1 + seats, F) level in the window, then at each seat, dB."""
    return np.vstack((row.window_curve_db, row.seat_curves_db.T))[:, _stride(row)]


def _level_ranges(rows: Sequence[Row]) -> Data:
    """Ranges of the axes and colours, the same for every cell so that pictures compare."""
    every = np.concatenate([row.coverage.level_db.ravel() for row in rows])
    high = STEP_DB * math.ceil(np.percentile(every, LOUD_PERCENT) / STEP_DB)
    curves = np.concatenate([_curves(row).ravel() for row in rows])
    return {
        "curve": level_limits(curves),
        "step": STEP_DB,
        "absolute": absolute_colours(high),
        "normalised": normalised_colours(),
    }


def _packed(levels: Sequence[np.ndarray]) -> str:
    """Levels in dB, one after the other, as hundredths in 16 bits, base64."""
    joined = np.concatenate([np.ravel(level) for level in levels])
    return base64.b64encode(np.round(joined * HUNDREDTHS).astype("<i2").tobytes()).decode("ascii")


def _fineness(row: Row) -> str:
    settling = row.response.settling
    if settling is None:
        return f"solved at {row.per_band} in a third octave"
    return f"{row.solves} frequencies solved, chosen by need"
