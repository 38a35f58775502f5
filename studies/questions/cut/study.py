"""What goes to the shed: all that the sheets state, computed once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shapes.assembly import Assembly
from shapes.clashes import find_clashes
from shapes.making import Making
from shapes.parts import post_angles
from shapes.templates import Coordinate, coordinates
from shapes.weights import PartMass, Stance, part_masses, stance
from studies.design import Design, DesignError, Mistake
from studies.questions.cut.ball_cut import BallCut, ball_cut
from studies.questions.cut.bill import Item, bill_of_materials, cautions_of, steadiness

SIDES = {"square": 4, "hexagonal": 6}
STEP = 5e-3
"""Distance of the coordinates in the table of the profile, metres."""


@dataclass(frozen=True, eq=False)
class Cutting:
    """A design, ready for the shed (metres, radians).

    Attributes
    ----------
    design : Design
    assembly : Assembly
        Free of clashes.
    making : Making
        Materials, saw, fixing.
    items : tuple of Item
        Bill of materials for one speaker.
    masses : tuple of PartMass
    stance : Stance
        Mass, centre of gravity, tipping.
    steadiness : str
        The same in words.
    coordinates : tuple of Coordinate
        Of the reflector's profile; empty without one.
    ball : BallCut or None
        How the ball is cut; None for other reflectors.
    post_angles : tuple of float
        Azimuth of every post, counter-clockwise seen from above; empty without posts.
    papers : tuple of str
        Names of the paper that the sheets are drawn for.
    cautions : tuple of str
        Those that belong to these materials and tools.
    """

    design: Design
    assembly: Assembly
    making: Making
    items: tuple[Item, ...]
    masses: tuple[PartMass, ...]
    stance: Stance
    steadiness: str
    coordinates: tuple[Coordinate, ...]
    ball: BallCut | None
    post_angles: tuple[float, ...]
    papers: tuple[str, ...]
    cautions: tuple[str, ...]


def cutting(design: Design, papers: Sequence[str] = ("a4", "letter")) -> Cutting:
    """Work out everything that the sheets for the shed state.

    Parameters
    ----------
    design : Design
    papers : sequence of str
        Keys of `studies.answer.paper.paper.PAPERS`; with none only outlines and solids are made.

    Returns
    -------
    Cutting

    Raises
    ------
    DesignError
        If the parts do not fit, with one line for each clash.
    """
    assembly, making = design.assembly(), design.making
    clashes = find_clashes(assembly)
    if clashes:
        mistakes = (Mistake(c.part, f"{c.message}: {c.remedy}") for c in clashes)
        raise DesignError(design.path, mistakes)
    reflector, posts = assembly.reflector, assembly.posts
    masses = part_masses(assembly, making)
    stands = stance(masses, assembly, making)
    return Cutting(
        design=design,
        assembly=assembly,
        making=making,
        items=bill_of_materials(assembly, making),
        masses=masses,
        stance=stands,
        steadiness=steadiness(stands),
        coordinates=() if reflector is None else coordinates(reflector, STEP),
        ball=None if design.ball is None else ball_cut(design.ball, making.kerf, making.sanding),
        post_angles=() if posts is None else post_angles(assembly.column, posts),
        papers=tuple(papers),
        cautions=cautions_of(assembly, making, stands),
    )
