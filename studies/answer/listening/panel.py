"""What the listening panel is given: impulse responses, filters and words; and a page of it.

A response is that of the seat in free air, read from the curve that was solved, its travel time
taken off so that switching does not shift the sound. It is kept in 16 bits of its own scale.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
from markupsafe import Markup
from scipy.interpolate import CubicSpline

from dispersion.bands import band_edges
from dispersion.biquads import Biquad
from dispersion.impulse import RATE, BandLimits, bins, impulse, least_length
from studies.answer.report.rendering import render
from studies.design import Design
from studies.solving.candidates import Row
from studies.solving.voicing import Voicing, voice

Data = dict[str, Any]
FULL_SCALE = 32767
MOST_HEARD = 8
"""Designs in one panel."""
SCRIPTS = ("sounds.js", "listening.js")


def listening_data(design: Design, rows: Mapping[str, Row]) -> Data:
    """Return all that the panel needs, ready for JSON.

    Parameters
    ----------
    design : Design
        With a seat at least.
    rows : mapping of str to Row
        What is compared, by name; those not solved are left out.
    """
    solved = {name: row for name, row in rows.items() if row.solved}
    return {
        "title": design.title,
        "rate": RATE,
        "seats": [seat.name for seat in design.seats],
        "designs": [_heard(name, row, design) for name, row in list(solved.items())[:MOST_HEARD]],
    }


def listening_files(design: Design, rows: Mapping[str, Row]) -> dict[str, bytes]:
    """Return ``listen.html``, complete in one file; nothing where fewer than two can be heard."""
    data = listening_data(design, rows) if design.seats else {"designs": []}
    if len(data["designs"]) < 2:
        return {}
    page = render("listen.html.j2", "studies.answer.listening", data=data, script=_one_script())
    return {"listen.html": page.encode("utf-8")}


def script_of(name: str) -> bytes:
    """Return a file of the panel by its name."""
    return (resources.files("studies.answer.listening") / "templates" / name).read_bytes()


@cache
def _one_script() -> Markup:
    """Both modules as one, without their imports and exports."""
    whole = "\n".join(script_of(name).decode("utf-8") for name in SCRIPTS)
    return Markup(re.sub(r"^import .*\n|^export ", "", whole, flags=re.M))


def _heard(name: str, row: Row, design: Design) -> Data:
    voiced = voice(row, design.target)
    return {
        "name": name,
        "score": round(row.score, 2),
        "responses": [_response(row, seat) for seat in range(len(design.seats))],
        "filters": [filter_data(one) for one in voiced.filters],
    }


def filter_data(one: Biquad) -> Data:
    """Return a filter as the page's audio takes it."""
    return {
        "type": one.kind.replace(" ", ""),
        "frequency": one.frequency,
        "gain": one.gain_db,
        "q": one.q,
    }


def voicing_in_words(found: Voicing) -> list[str]:
    """Say what the filters do, and what stays as it is."""
    if not found.filters:
        return ["No filter is worth its trouble: the window level follows the wanted line."]
    mended, stays = _scores(found)
    said = [
        f"With these filters the score is {found.after.score:.2f} dB in place of"
        f" {found.before.score:.2f}: {mended}.",
        f"No filter changes {stays}: those are differences between directions.",
        f"The window level then lies {found.rms_after_db:.1f} dB (rms) about the wanted line, in"
        f" place of {found.rms_before_db:.1f}; the worst that is left is {found.worst_db:+.1f} dB"
        f" at {found.worst_hz:.0f} Hz.",
    ]
    lift = max(one.gain_db for one in found.filters)
    if lift > 3.0:
        said.append(
            f"A lift of {lift:.1f} dB takes {10 ** (lift / 10):.0f} times the power there:"
            " mind amplifier and tweeter."
        )
    return said


def _scores(found: Voicing) -> tuple[str, str]:
    mended = ", ".join(
        f"{name} {found.after.term(name).measured:.2f} for {found.before.term(name).measured:.2f}"
        for name in ("residue", "boost")
    )
    stays = " and ".join(
        f"{name} ({found.before.term(name).measured:.2f} dB)" for name in ("coverage", "steadiness")
    )
    return mended, stays


def _response(row: Row, seat: int) -> Data:
    """Impulse response at one seat: 16-bit samples in base64, and what full scale is."""
    lower, upper = band_edges(row.coverage.centres)
    limits = BandLimits(float(lower[0]), float(upper[-1]))
    samples = int(np.ceil(least_length(limits, 0.0) * RATE))
    solved = row.response.problem.frequencies
    curve = CubicSpline(np.log(solved), row.response.near[:, seat])
    wanted = np.log(np.clip(bins(samples), solved[0], solved[-1]))
    found, _ = impulse(curve(wanted), 0.0, limits, samples)
    scale = float(np.abs(found).max()) or 1.0
    whole = np.round(found / scale * FULL_SCALE).astype("<i2")
    return {"samples": base64.b64encode(whole.tobytes()).decode("ascii"), "scale": round(scale, 6)}
