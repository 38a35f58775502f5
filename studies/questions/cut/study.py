"""What goes to the shed: all that the sheets state, computed once.

Measured on the example: 4 s for all of it, facets of the solids within 0.01 mm of the true curve.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from dispersion.ports import Port
from shapes.assembly import Assembly
from shapes.carcass import AirInside, Carcass, air_inside, carcass_of
from shapes.clashes import find_clashes
from shapes.columns import post_angles
from shapes.lengths import INCH
from shapes.making import Making
from shapes.templates import Coordinate, coordinates
from shapes.weights import PartMass, Stance, part_masses, stance
from studies.design import Design, DesignError, Mistake
from studies.questions.cut.ball_cut import BallCut, ball_cut
from studies.questions.cut.bill import Item, bill_of_materials, cautions_of

SPEAKERS = 2
"""Loudspeakers are mostly built in pairs: counts are given for one and for two."""
STEPS = {"mm": 5e-3, "in": INCH / 8}
"""Distance of the coordinates in the table of the profile, metres, by the unit of the design."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Cutting:
    """A design, ready for the shed (metres, radians).

    Attributes
    ----------
    design : Design
    assembly : Assembly
        Free of clashes.
    making : Making
        Materials, saw, fixing.
    carcass : Carcass
        The column with every thickness known.
    air : AirInside
        The room inside and what stands in it.
    port : Port or None
    items : tuple of Item
        Bill of materials for one speaker.
    masses : tuple of PartMass
    stance : Stance
        Mass, centre of gravity, tipping.
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
    carcass: Carcass
    air: AirInside
    port: Port | None
    items: tuple[Item, ...]
    masses: tuple[PartMass, ...]
    stance: Stance
    coordinates: tuple[Coordinate, ...]
    ball: BallCut | None
    post_angles: tuple[float, ...]
    papers: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def carcass_is_told(self) -> bool:
        """Whether the design says how the column is made, or asks about its air."""
        return self.assembly.column.wall is not None or self.port is not None

    @property
    def post_centres(self) -> tuple[tuple[float, float], ...]:
        """Middles of the posts seen from above, (x, y) from the axis; empty without posts."""
        posts = self.assembly.posts
        if posts is None:
            return ()
        radius = posts.circle_radius
        return tuple((radius * math.cos(a), radius * math.sin(a)) for a in self.post_angles)

    @property
    def post_angles_deg(self) -> tuple[float, ...]:
        """Azimuth of every post, degrees."""
        return tuple(map(math.degrees, self.post_angles))

    @property
    def post_stock(self) -> float:
        """Length of rod for the posts of one speaker, a saw cut for each; 0 without posts."""
        posts = self.assembly.posts
        return posts.count * (self.assembly.post_length + self.making.kerf) if posts else 0.0

    @property
    def flange(self) -> float:
        """Width of the driver's flange, from the opening, or else the cone, to the frame's edge."""
        driver = self.assembly.driver
        return driver.frame_radius - (driver.cutout_radius or driver.effective_radius)

    @property
    def frame_to_posts(self) -> float:
        """Width of the free ring between the driver's frame and the posts; infinite without."""
        posts = self.assembly.posts
        return math.inf if posts is None else posts.inner_radius - self.assembly.driver.frame_radius


def cutting(design: Design, papers: Sequence[str] = ("a4", "letter")) -> Cutting:
    """Work out everything that the sheets for the shed state.

    Parameters
    ----------
    design : Design
    papers : sequence of str
        Keys of `studies.answer.charts.paper.sizes.PAPERS`; with none only outlines and solids are
        made.

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
    carcass = carcass_of(assembly.column, making.column_wall)
    table = design.tables.port
    port = None if table is None else table.build(carcass.wall)
    reach = 0.0 if port is None else port.area * max(port.depth - carcass.wall, 0.0)
    masses = part_masses(assembly, making)
    stands = stance(masses, assembly, making)
    return Cutting(
        design=design,
        assembly=assembly,
        making=making,
        carcass=carcass,
        air=air_inside(carcass, assembly.driver.frame_radius, making, reach),
        port=port,
        items=bill_of_materials(assembly, making, carcass),
        masses=masses,
        stance=stands,
        coordinates=() if reflector is None else coordinates(reflector, STEPS[design.unit]),
        ball=None if design.ball is None else ball_cut(design.ball, making.kerf, making.sanding),
        post_angles=() if posts is None else post_angles(assembly.column, posts, assembly.plate),
        papers=tuple(papers),
        cautions=cautions_of(design, assembly, stands),
    )
