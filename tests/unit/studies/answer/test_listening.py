"""What the listening panel is given: responses at the seats, in free air and in the room."""

import base64

import numpy as np
import pytest
from small import small_design

from dispersion.solvers import solve_waves
from studies.answer.listening import panel
from studies.answer.listening.panel import listening_data, listening_files
from studies.design import Design
from studies.questions.seat.study import seat
from studies.solving.candidates import Candidate, Row
from studies.solving.grid import run


@pytest.fixture(scope="module")
def design() -> Design:
    return small_design()


@pytest.fixture(scope="module")
def row(design: Design) -> Row:
    (found,) = run(design, [Candidate("as designed", design.assembly)], solve_waves, 12, "one")
    return found


def unpacked(packed: dict) -> np.ndarray:
    return np.frombuffer(base64.b64decode(packed["samples"]), "<i2") * packed["scale"] / 32767


def test_the_panel_holds_the_response_that_was_solved(row: Row, design: Design) -> None:
    """Its spectrum at a solved frequency is the level of the seat there."""
    data = listening_data(design, {"one": row, "not": Row("not", reason="does not fit")})
    assert [one["name"] for one in data["designs"]] == ["one"]
    samples = unpacked(data["designs"][0]["seats"][0]["free"])
    frequencies = row.response.problem.frequencies
    wave = np.exp(-2j * np.pi * np.outer(frequencies, np.arange(samples.size)) / data["rate"])
    found = 20.0 * np.log10(np.abs(wave @ samples))
    np.testing.assert_allclose(found, row.seat_curves_db[:, 0], atol=0.3)


def test_the_page_is_complete_small_and_holds_names_as_text(row: Row, design: Design) -> None:
    assert listening_files(design, {"one": row}) == {}
    rows = {"</script><b>one": row, **{f"design {n}": row for n in range(9)}}
    page = listening_files(design, rows)["listen.html"].decode("utf-8")
    assert len(page) < 4 * 2**20  # stated requirement
    assert "</script><b>one" not in page and "design 9" not in page
    assert page.count("<script") == 2 and "import {" not in page and " src=" not in page


def test_bounces_are_those_of_the_seat_that_was_solved(row: Row, design: Design) -> None:
    """By the far field and by the pressure at the images, within what `dispersion.room` states."""
    exact = seat(design, solve_waves, fineness=12)
    heard = listening_data(design, {"one": row})
    assert heard["surfaces"] == ["floor", "ceiling"]
    for place, listener in enumerate(exact.listeners):
        packed = heard["designs"][0]["seats"][place]
        free, room = unpacked(packed["free"]), unpacked(packed["room"])
        own = room.copy()
        own[: free.size] -= free
        found = 10.0 * np.log10(np.sum(own**2) / np.sum(free**2))
        direct = listener.impulse.direct.astype(float)
        bounced = listener.impulse.whole - direct
        meant = 10.0 * np.log10(np.sum(bounced**2) / np.sum(direct**2))
        assert found == pytest.approx(meant, abs=0.6)
        late = np.argmax(np.abs(bounced)) - np.argmax(np.abs(direct))
        assert np.argmax(np.abs(own)) - np.argmax(np.abs(free)) == pytest.approx(late, abs=2)


def test_many_seats_keep_the_page_small(
    row: Row, design: Design, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(panel, "MOST_BYTES", 40_000)
    data = listening_data(design, {f"design {n}": row for n in range(4)})
    assert 1 <= len(data["seats"]) < len(design.seats)
    assert all(len(one["seats"]) == len(data["seats"]) for one in data["designs"])
