"""What hung over the driver while it was measured: by the file, nothing, or another height of cap.

Readings over the bare column and under the cap before its first cut belong to one driver. Taken
with all knobs left alone they are one set of readings: what driver and amplifier have in common in
both drops out.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from shapes.assembly import Assembly
from shapes.clashes import find_clashes
from shapes.lengths import LengthError, in_own, in_own_exactly, parse_length
from shapes.reflectors import ball_cap
from studies.design import Design

NOTHING, KEEP = "nothing", "keep"
GRAMMAR = f'"{NOTHING}", "{KEEP} 55 mm", or left empty for what the design file says'
_KEEP = re.compile(rf"{KEEP}\s+(.+)", re.IGNORECASE)


class HungError(ValueError):
    """What is said to have hung there cannot have; the message holds the remedy."""


@dataclass(frozen=True)
class Hung:
    """What hung over the driver, counted from what a design says.

    Attributes
    ----------
    nothing : bool
        True over the bare column: neither reflector nor plate nor posts.
    taller : float
        How much more of the ball was kept than the design says, m.
    """

    nothing: bool = False
    taller: float = 0.0

    def of(self, assembly: Assembly) -> Assembly:
        """Return an assembly as it was measured; ValueError if it has no cap of that height."""
        if self.nothing:
            return assembly.without_upper()
        cap = assembly.reflector
        if cap is None or not self.taller:
            return assembly
        ball, keep = (cap.fact(name) for name in ("ball diameter", "keep"))
        return assembly.with_reflector(ball_cap(ball, keep + self.taller))

    def in_words(self, design: Design) -> str:
        """Name it: "nothing", "keep 55.0 mm", "what the file says"."""
        if self.nothing:
            return NOTHING
        if design.ball is None or not self.taller:
            return "what the file says"
        return f"{KEEP} {in_own(design.ball.kept + self.taller)}"


AS_WRITTEN = Hung()


def keep_hung(keep: float) -> str:
    """Write a height of cap, m, as `read_hung` reads it."""
    return f"{KEEP} {in_own_exactly(keep)}"


def read_hung(text: str, design: Design) -> tuple[Hung, str]:
    """Read what hung over the driver, and name it for the positions under it.

    Parameters
    ----------
    text : str
        `GRAMMAR`.
    design : Design
        What was built.

    Returns
    -------
    Hung
    str
        "nothing hung", "keep 55.0 mm"; empty where the design file says it.

    Raises
    ------
    HungError
        If the text says neither, or the design can have no such cap.
    """
    said = text.strip().lower()
    if not said:
        return AS_WRITTEN, ""
    if said == NOTHING:
        return Hung(nothing=True), "nothing hung"
    found = _KEEP.fullmatch(said)
    if found is None:
        raise HungError(f"hung = {text[:40]!r} is unknown: write {GRAMMAR}")
    if design.ball is None:
        raise HungError(
            f"hung = {text[:40]!r}, but the reflector of {design.path.name} is no ball: leave it"
            f' empty, or write "{NOTHING}" over the bare column'
        )
    try:
        keep = parse_length(found.group(1).replace(",", "."))
    except LengthError as error:
        raise HungError(f"hung = {text[:40]!r}: {error}") from None
    hung = Hung(taller=round(keep - design.ball.kept, 6))
    try:
        clashes = find_clashes(hung.of(design.assembly()))
    except ValueError as error:
        raise HungError(f"hung: {KEEP} {in_own(keep)}: {error}") from None
    if clashes:
        raise HungError(
            f"hung: {KEEP} {in_own(keep)} does not fit under the plate of {design.path.name}:"
            f" {clashes[0].message}: correct the keep, or plate_gap in the design"
        )
    return hung, f"{KEEP} {in_own(keep)}"
