"""What to ask next: the order of the work, told after every answer."""

from __future__ import annotations

import shlex
from pathlib import Path

from studies.carving.carved_file import carved_name
from studies.design import Design

SPREAD = ("spread", "where the sound goes")
TRIM = ("trim", "how much of the ball to keep")
GAP = ("gap", "how wide the plate gap")
CONTEST = ("contest", "cone, dome or curve")
EXPLORE = ("explore", "two sizes at once, with sliders")
TOLERANCE = ("tolerance", "what a millimetre costs")
CUT = ("cut", "sheets and solids for the shed")
METER = ("meter", "what to measure, and what the meter should show")
RAYS = ("rays", "why it goes there")

Step = tuple[str, str]


def next_steps(command: str, design: Design) -> tuple[Step, ...]:
    """Commands that usually come next, each with what it tells; none where the work ends.

    Parameters
    ----------
    command : str
        What was just asked.
    design : Design
        Studies that it has no table for are left out.
    """
    choices = _choices(design)
    after: dict[str, tuple[Step, ...]] = {
        "section": (SPREAD, *choices),
        "spread": (*choices, RAYS),
        "rays": choices,
        "slice": choices,
        "posts": choices,
        "trust": choices,
        "gap": (*(step for step in choices if step != GAP), TOLERANCE),
        "trim": (METER, TOLERANCE, CUT),
        "contest": (TOLERANCE, CUT),
        "explore": (TOLERANCE, CUT),
        "tolerance": (CUT, METER),
        "cut": (METER,),
    }
    return after.get(command, ())


def _choices(design: Design) -> tuple[Step, ...]:
    asked = (
        (TRIM, design.tables.trim is not None),
        (GAP, design.tables.gap is not None),
        (CONTEST, len(design.entries) > 1),
    )
    return tuple(step for step, there in asked if there) or (EXPLORE,)


def told_next(command: str, design: Design, folder: Path) -> tuple[Step, ...]:
    """Whole command lines that usually come next, each with what it tells.

    Parameters
    ----------
    command : str
        What was just asked.
    design : Design
    folder : Path
        Where its files are.
    """
    if command == "carve":
        return ((_written("section", folder / carved_name(design)), "of the carved curve"),)
    if command == "meter":
        sheet = folder / "meter-to-fill.csv"
        return ((_written("overlay", design.path, sheet), "once its readings are filled in"),)
    steps = next_steps(command, design)
    return tuple((_written(name, design.path), tells) for name, tells in steps)


def _written(command: str, *files: Path) -> str:
    return shlex.join(("roundcast", command, *map(str, files)))
