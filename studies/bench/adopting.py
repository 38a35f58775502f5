"""What an answer chose, put into the design: sizes, read from the facts of its document."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shapes.lengths import in_own_exactly, written_in
from studies.bench.editing import EditError, with_value, without
from studies.design import Design

PLATE_GAP, KEEP, BALL = (
    ("plate_gap", "plate_gap_mm"),
    ("reflector.keep", "keep_mm"),
    "ball_diameter_mm",
)
CHOSEN = {"trim": (KEEP, PLATE_GAP), "gap": (PLATE_GAP,)}
"""By command: keys of the design that it chooses, and the facts that hold them."""
SAME_MM = 0.01
"""Diameters closer than this are one ball."""


def chooses(command: str) -> bool:
    """Whether the answer of a command is sizes that can be put into the design."""
    return command in CHOSEN


def with_answer(design: Design, command: str, facts: Mapping[str, Any]) -> str:
    """Return the text of a design with the sizes that an answer chose.

    Parameters
    ----------
    design : Design
        As it stands now.
    command : str
        One that `chooses`.
    facts : mapping
        Of the answer, by key; lengths in mm.

    Raises
    ------
    EditError
        If the answer is about another reflector than the design's, or holds no size.
    """
    sizes = {key: facts.get(fact) for key, fact in CHOSEN[command]}
    if not all(isinstance(size, int | float) for size in sizes.values()):
        raise EditError("the answer holds no size")
    text = design.text
    if KEEP[0] in sizes:
        _require_its_ball(design, facts.get(BALL))
        text = without(text, "reflector.cut_off")
    with written_in(design.unit):
        for key, size in sizes.items():
            text = with_value(text, key, in_own_exactly(float(size or 0.0) * 1e-3))
    return text


def _require_its_ball(design: Design, diameter: Any) -> None:
    ball = design.ball
    if ball is None:
        raise EditError("the answer is about a ball, and the design has none by now")
    if not isinstance(diameter, int | float) or abs(ball.diameter * 1e3 - diameter) > SAME_MM:
        raise EditError("the answer is about another ball: write its diameter in first")
