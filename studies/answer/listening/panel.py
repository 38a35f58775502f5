"""What the listening panel is given: impulse responses and filters; and a page of it.

Responses are kept in 16 bits of their own scale.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Mapping, Sequence
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
from markupsafe import Markup

from dispersion.biquads import Biquad
from dispersion.impulse import RATE
from studies.answer.listening.responses import bounces_at, direct_at, response_of
from studies.answer.report.rendering import render
from studies.design import Design
from studies.solving.candidates import Row
from studies.solving.seating import Seating, seating_that_fits
from studies.solving.voicing import voice

Data = dict[str, Any]
FULL_SCALE = 32767
MOST_HEARD = 8
"""Designs in one panel."""
MOST_BYTES = 3 * 2**20
"""Of all responses in base64; seats that would need more are left out, but for the first."""
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
    heard = [(name, row) for name, row in rows.items() if row.solved][:MOST_HEARD]
    every = [row for _, row in heard]
    in_room = bool(every) and all(row.images is not None for row in every)
    seating = seating_that_fits(design, every[0].assembly) if in_room else None
    at_seats = _heard(every, seating, design)
    return {
        "title": design.title,
        "rate": RATE,
        "seats": [seat.name for seat in design.seats[: len(at_seats)]],
        "surfaces": [] if seating is None else [plane.name for plane in seating.room.planes],
        "designs": [
            {
                "name": name,
                "score": round(row.score, 2),
                "filters": [filter_data(one) for one in voice(row, design.target).filters],
                "seats": [at_seat[number] for at_seat in at_seats],
            }
            for number, (name, row) in enumerate(heard)
        ],
    }


def _heard(rows: Sequence[Row], seating: Seating | None, design: Design) -> list[list[Data]]:
    """Responses of every row seat by seat, as many seats as `MOST_BYTES` hold."""
    found: list[list[Data]] = []
    taken = 0
    for seat in range(len(design.seats)):
        here = [_heard_at(row, seat, seating, design) for row in rows]
        taken += sum(len(one["samples"]) for responses in here for one in responses.values())
        if found and taken > MOST_BYTES:
            break
        found.append(here)
    return found


def _heard_at(row: Row, seat: int, seating: Seating | None, design: Design) -> dict[str, Data]:
    """Response at one seat in free air, and with the first bounces where the room is known."""
    direct = direct_at(row, seat)
    found = {"free": _packed(response_of(row, [direct]))}
    if seating is not None:
        bounces = bounces_at(row, seat, seating, design.air)
        found["room"] = _packed(response_of(row, [direct, *bounces]))
    return found


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


def filter_data(one: Biquad) -> Data:
    """Return a filter as the page's audio takes it."""
    return {
        "type": one.kind.replace(" ", ""),
        "frequency": one.frequency,
        "gain": one.gain_db,
        "q": one.q,
    }


def _packed(response: np.ndarray) -> Data:
    """An impulse response as 16-bit samples in base64, and what full scale is."""
    scale = float(np.abs(response).max()) or 1.0
    whole = np.round(response / scale * FULL_SCALE).astype("<i2")
    return {"samples": base64.b64encode(whole.tobytes()).decode("ascii"), "scale": round(scale, 6)}
