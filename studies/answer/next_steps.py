"""Commands to run next, in the order of the work: printed after every answer."""

from __future__ import annotations

import shlex
from collections.abc import Callable
from pathlib import Path

from studies.design import Design

Step = tuple[str, str]
"""A command's name, or a whole command line, and the question that it answers."""

SPREAD = ("spread", "where the sound goes")
TRIM = ("trim", "how much of the ball to keep")
GAP = ("gap", "how wide the plate gap")
CONTEST = ("contest", "cone, dome or curve")
EXPLORE = ("explore", "two sizes at once, with sliders")
TOLERANCE = ("tolerance", "what it costs when a size is off")
CUT = ("cut", "sheets and solids for the shed")
METER = ("meter", "what to measure, and what the meter should show")
RAYS = ("rays", "why it goes there")


def choices(design: Design) -> tuple[Step, ...]:
    """Return the studies that choose something and that the design has a table for."""
    asked = (
        (TRIM, design.tables.trim is not None),
        (GAP, design.tables.gap is not None),
        (CONTEST, len(design.entries) > 1),
    )
    return tuple(step for step, there in asked if there) or (EXPLORE,)


def then(*steps: Step) -> Callable[[Design, Path], tuple[Step, ...]]:
    """Return a function (design, folder) -> steps that always gives these commands."""

    def next_steps(design: Design, folder: Path) -> tuple[Step, ...]:
        return asked_of(design, *steps)

    return next_steps


def then_choose(design: Design, folder: Path) -> tuple[Step, ...]:
    """Return the studies that choose something as command lines for a design."""
    return asked_of(design, *choices(design))


def asked_of(design: Design, *steps: Step) -> tuple[Step, ...]:
    """Write the commands out as command lines for a design, ready to be copied."""
    return tuple((command_line(name, design.path), answers) for name, answers in steps)


def command_line(command: str, *files: Path) -> str:
    """Write a command line out, with its files quoted where a shell needs it."""
    # One that begins like an option is none.
    names = (f"./{file}" if str(file).startswith("-") else str(file) for file in files)
    return shlex.join(("roundcast", command, *names))
