"""The sizes of a draft: those that were given, and a rule of thumb for every other.

Each rule is common practice, no source. What is guessed is a whole number of steps: 1 or 1/2 mm,
1/16 or 1/32 in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from shapes.footprints import Footprint, footprint_of_face
from shapes.lengths import INCH, in_both, in_own
from shapes.reflectors import keep_of_base
from studies.questions.draft.command import Brief

EFFECTIVE_SHARE = 0.8
"""Effective diameter over nominal diameter."""
CUTOUT_SHARE = 0.9
"""Hole in the baffle over nominal diameter."""
DEPTH_SHARE = 0.2
"""Cone depth over effective diameter."""
DUST_CAP_SHARE = 0.33
"""Dust cap over effective diameter."""
DOME_SHARE = 0.25
"""Height of the dust cap over its diameter."""
POD_SHARE, TWEETER_SHARE, TWEETER_DOME_SHARE = 0.3, 0.2, 0.2
"""Pod and dome of a tweeter over effective diameter; height of the dome over its diameter."""
PROUD_SHARE = 0.02
"""Frame above the baffle over nominal diameter."""
EXCURSION_SHARE = 0.03
"""Peak travel one way over nominal diameter."""
COLUMN_SHARE = 1.5
"""Column width over nominal diameter."""
BASE_SHARE = 1.5
"""Flat side of the cap over effective diameter."""
POST_SHARE = 0.045
"""Post diameter over nominal diameter."""
MARGIN = 0.005
"""Space left between a post and an edge, m."""
TIP_SPACE = 0.003
"""Space left between the tip and the moving driver, m."""
SMALLEST_KEEP = 0.005
MOST_CANDIDATES = 41


class DraftError(ValueError):
    """Numbers from which no design can be made; the message names the one that does not fit."""


@dataclass(frozen=True, kw_only=True)
class Usual:
    """Sizes that do not follow from the driver, and the steps of guesses, metres."""

    step: float
    half_step: float
    height: float
    board: float
    plate_edge: float
    socket: float
    sitting: float
    standing: float
    away: float


MILLIMETRES = Usual(
    step=1e-3,
    half_step=0.5e-3,
    height=0.9,
    board=15e-3,
    plate_edge=2e-3,
    socket=10e-3,
    sitting=1.05,
    standing=1.6,
    away=2.5,
)
INCHES = Usual(
    step=INCH / 16,
    half_step=INCH / 32,
    height=36 * INCH,
    board=0.625 * INCH,
    plate_edge=INCH / 16,
    socket=0.375 * INCH,
    sitting=42 * INCH,
    standing=63 * INCH,
    away=96 * INCH,
)


@dataclass(frozen=True)
class Sizes:
    """Every size of a draft, metres."""

    brief: Brief

    @property
    def usual(self) -> Usual:
        """Steps and usual sizes in the unit of the file."""
        return INCHES if self.brief.unit == "in" else MILLIMETRES

    @property
    def effective(self) -> float:
        """Of the part that moves."""
        return self.rounded(EFFECTIVE_SHARE * self.brief.driver)

    @property
    def cutout(self) -> float:
        """Hole in the baffle."""
        return self.rounded(CUTOUT_SHARE * self.brief.driver)

    @property
    def depth(self) -> float:
        """Of the cone."""
        return self.rounded(DEPTH_SHARE * self.effective)

    @property
    def dust_cap(self) -> float:
        """Diameter of the dust cap."""
        return self.rounded(DUST_CAP_SHARE * self.effective)

    @property
    def dust_dome(self) -> float:
        """Height of the dust cap."""
        return self.halves(DOME_SHARE * self.dust_cap)

    @property
    def pod(self) -> float:
        """Diameter of a tweeter's housing."""
        return self.rounded(POD_SHARE * self.effective)

    @property
    def dome(self) -> float:
        """Diameter of a tweeter's dome."""
        return max(self.rounded(TWEETER_SHARE * self.effective), 5e-3)

    @property
    def dome_height(self) -> float:
        """Height of a tweeter's dome."""
        return max(self.halves(TWEETER_DOME_SHARE * self.dome), self.usual.half_step)

    @property
    def proud(self) -> float:
        """Of the frame above the baffle, and of a tweeter's face."""
        return self.halves(PROUD_SHARE * self.brief.driver)

    @property
    def excursion(self) -> float:
        """Peak travel."""
        return self.halves(EXCURSION_SHARE * self.brief.driver)

    @property
    def post(self) -> float:
        """Diameter of a post."""
        guess = max(2e-3, self.rounded(POST_SHARE * self.brief.driver))
        return self.brief.post_diameter or guess

    @property
    def posts(self) -> int:
        """How many posts."""
        return self.brief.post_count or 3

    @property
    def needed(self) -> float:
        """Least width of the baffle: driver, posts, space round them."""
        return self.brief.driver + 2 * self.post + 4 * MARGIN

    @property
    def board(self) -> float:
        """Thickness of boards, baffle and plate."""
        return self.brief.board_thickness or self.usual.board

    @property
    def width(self) -> float:
        """Of the column, across the flats if it has sides."""
        brief = self.brief
        if brief.board_width is not None:
            return footprint_of_face(brief.board_width, brief.sides or 0).width
        if brief.column is not None:
            return brief.column
        around = self.cutout + 2 * self.board + 2 * MARGIN if brief.sides else 0.0
        if brief.baffle is not None:
            return max(min(brief.baffle, self.raised(COLUMN_SHARE * brief.driver)), around)
        step = self.usual.step * (5 if self.usual is MILLIMETRES else 4)
        return self.raised(max(COLUMN_SHARE * brief.driver, self.needed, around), step)

    @property
    def face(self) -> float:
        """Width of the baffle, and of the plate over it."""
        return self.width if self.brief.baffle is None else self.brief.baffle

    @property
    def plate(self) -> float:
        """Diameter of the top plate: as wide as the baffle, to a whole step."""
        return self.floored(self.face)

    @property
    def height(self) -> float:
        """Floor to baffle."""
        return self.usual.height if self.brief.height is None else self.brief.height

    @property
    def circle(self) -> float:
        """Diameter of the post circle."""
        return self.floored(self.face - 2 * MARGIN - self.post, self.usual.half_step)

    @property
    def tip_space(self) -> float:
        """Least height of the tip above the baffle."""
        dome = self.dome_height if self.brief.coaxial else 0.0
        return self.proud + max(self.excursion, dome) + TIP_SPACE

    @property
    def tallest_keep(self) -> float:
        """Half the ball, or what the gap or the posts leave space for."""
        widest = self.circle - self.post - MARGIN
        brief = self.brief
        return self.floored(min(_keep_of(brief.ball, widest), brief.gap - self.tip_space))

    @property
    def keep(self) -> float:
        """Of the ball."""
        wanted = _keep_of(self.brief.ball, BASE_SHARE * self.effective)
        return self.floored(min(wanted, self.tallest_keep))

    @property
    def first_keep(self) -> float:
        """Smallest keep to try."""
        return max(min(SMALLEST_KEEP, self.keep), self.floored(self.keep / 3))

    @property
    def keep_step(self) -> float:
        """From one keep to the next."""
        step = (self.tallest_keep - self.first_keep) / (MOST_CANDIDATES - 1)
        return max(self.usual.step, self.raised(step))

    @property
    def least_gap(self) -> float:
        """Smallest plate gap to try."""
        return self.raised(self.keep + self.tip_space)

    @property
    def most_gap(self) -> float:
        """Largest plate gap to try."""
        return self.raised(max(1.5 * self.brief.gap, self.least_gap + 0.02))

    @property
    def gap_step(self) -> float:
        """From one plate gap to the next."""
        return max(self.usual.step, self.raised((self.most_gap - self.least_gap) / 20))

    @property
    def cone(self) -> float:
        """Base of a 45 degree cone: as wide as what moves, or as tall as the gap leaves room."""
        return self.floored(min(self.effective, 2 * (self.brief.gap - self.tip_space)))

    def rounded(self, size: float) -> float:
        """Return the nearest whole step."""
        return round(size / self.usual.step) * self.usual.step

    def halves(self, size: float) -> float:
        """Return the nearest half step."""
        return round(size / self.usual.half_step) * self.usual.half_step

    def raised(self, size: float, step: float | None = None) -> float:
        """Return the next whole step above."""
        step = step or self.usual.step
        return math.ceil(size / step - 1e-6) * step

    def floored(self, size: float, step: float | None = None) -> float:
        """Return the next whole step below."""
        step = step or self.usual.step
        return math.floor(size / step + 1e-6) * step


def sizes_of(brief: Brief) -> Sizes:
    """Return the sizes to draft.

    Raises
    ------
    DraftError
        Naming the number that does not fit.
    """
    sizes = Sizes(brief)
    _require("driver", brief.driver, 0.03, 0.6)
    for name, width in (("baffle", brief.baffle), ("column width", brief.column)):
        if width is not None and (name == "baffle" or brief.baffle is None):
            _require_room(name, width, sizes)
    if brief.board_width is not None and brief.board_width < (brief.board_thickness or 0.0):
        raise DraftError(
            f"a board {in_both(brief.board_width)} wide and {in_both(brief.board_thickness or 0.0)}"
            " thick stands on edge: write the width first"
        )
    if brief.board_width is not None and brief.baffle is None:
        _require_room("column width", sizes.width, sizes)
    _require("column width", sizes.width, 0.03, 2.0)
    _require("column height", sizes.height, 0.05, 3.0)
    _require("ball", brief.ball, sizes.effective / 2, 20 * brief.driver)
    _require("gap", brief.gap, sizes.tip_space + SMALLEST_KEEP, 3 * brief.driver)
    return sizes


def covers(sizes: Sizes) -> bool:
    """Whether the baffle covers the column's corners."""
    column = Footprint(sizes.width, sizes.brief.sides or 0)
    return sizes.face / 2 >= column.outer_radius


def _require_room(name: str, width: float, sizes: Sizes) -> None:
    if width < sizes.needed:
        raise DraftError(
            f"{name} {in_both(width)} does not fit: a {in_own(sizes.brief.driver)} driver with"
            f" {in_own(sizes.post)} posts round it needs {in_both(sizes.raised(sizes.needed))} or"
            " more"
        )


def _require(name: str, size: float, least: float, most: float) -> None:
    if not least <= size <= most:
        meant = f", did you mean {in_own(size / 1e3)}?" if least <= size / 1e3 <= most else ""
        raise DraftError(
            f"{name} {in_both(size)} does not fit: {in_both(_above(least))} to {in_both(most)}"
            f" would; check the number and its unit{meant}"
        )


def _above(size: float) -> float:
    """Round up to whole millimetres, as limits are told."""
    return math.ceil(size * 1e3 - 1e-6) / 1e3


def _keep_of(ball: float, base: float) -> float:
    """Height of the cap with this flat side; half the ball where the ball is no wider."""
    return keep_of_base(ball, min(base, ball))
