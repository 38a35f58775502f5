"""A first design file from the few numbers a newcomer has.

Everything that is not known yet is guessed by a rule of thumb. Each rule is common practice,
no source; the file says so beside each guess, so that it can be measured and put right.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path
from string import Template

from shapes.lengths import in_both, in_mm
from shapes.reflectors import keep_of_base
from studies.answer.exports import write_text
from studies.design import DesignError, parse_design

EFFECTIVE_SHARE = 0.8
"""Effective diameter over nominal diameter: common practice, no source."""
CUTOUT_SHARE = 0.9
"""Hole in the baffle over nominal diameter: common practice, no source."""
DEPTH_SHARE = 0.2
"""Cone depth over effective diameter: common practice, no source."""
DUST_CAP_SHARE = 0.33
"""Dust cap over effective diameter: common practice, no source."""
DOME_SHARE = 0.25
"""Height of the dust cap over its diameter: common practice, no source."""
PROUD_SHARE = 0.02
"""Frame above the baffle over nominal diameter: common practice, no source."""
EXCURSION_SHARE = 0.03
"""Peak travel one way over nominal diameter: common practice, no source."""
COLUMN_SHARE = 1.5
"""Column width over nominal diameter: common practice, no source."""
BASE_SHARE = 1.5
"""Flat side of the cap over effective diameter: common practice, no source."""
POST_SHARE = 0.045
"""Post diameter over nominal diameter: common practice, no source."""
COLUMN_HEIGHT = 0.9
"""Column that brings the ring near seated ears, m: common practice, no source."""
MARGIN = 0.005
"""Space left between a post and an edge, m: common practice, no source."""
TIP_SPACE = 0.003
"""Space left between the tip and the moving driver, m: common practice, no source."""
SMALLEST_KEEP = 0.005
MOST_CANDIDATES = 41


class DraftError(ValueError):
    """Numbers from which no design can be made; the message names the one that does not fit."""


@dataclass(frozen=True, kw_only=True)
class _Sizes:
    """Every size of a draft, m, all to whole or half millimetres where guessed."""

    driver: float
    ball: float
    gap: float
    width: float
    height: float
    post: float

    @property
    def effective(self) -> float:
        return _rounded(EFFECTIVE_SHARE * self.driver)

    @property
    def dust_cap(self) -> float:
        return _rounded(DUST_CAP_SHARE * self.effective)

    @property
    def proud(self) -> float:
        return _rounded(PROUD_SHARE * self.driver, 0.5e-3)

    @property
    def excursion(self) -> float:
        return _rounded(EXCURSION_SHARE * self.driver, 0.5e-3)

    @property
    def circle(self) -> float:
        return self.width - 2 * MARGIN - self.post

    @property
    def tip_space(self) -> float:
        """Least height of the tip above the baffle."""
        return self.proud + self.excursion + TIP_SPACE

    @property
    def tallest_keep(self) -> float:
        """Half the ball, or what the gap or the posts leave space for."""
        widest = self.circle - self.post - MARGIN
        return _floored(min(_keep_of(self.ball, widest), self.gap - self.tip_space))

    @property
    def keep(self) -> float:
        return _floored(min(_keep_of(self.ball, BASE_SHARE * self.effective), self.tallest_keep))


def draft_design(
    driver_diameter: float,
    ball_diameter: float,
    plate_gap: float,
    *,
    column_width: float | None = None,
    column_height: float | None = None,
    title: str | None = None,
) -> str:
    """Write a complete, commented design file for a plain driver under a ball cap.

    Parameters
    ----------
    driver_diameter : float
        Nominal diameter of the driver, taken as that of its frame, m.
    ball_diameter : float
        Ball to cut, m.
    plate_gap : float
        Baffle to underside of the top plate, m.
    column_width : float, optional
        Outside width, m; left out, wide enough for the driver and the posts.
    column_height : float, optional
        Floor to baffle, m; left out, `COLUMN_HEIGHT`.
    title : str, optional
        One line that names the design.

    Returns
    -------
    str
        Text of the file: it loads, and it is free of clashes.

    Raises
    ------
    DraftError
        Naming the number that does not fit.
    """
    height = COLUMN_HEIGHT if column_height is None else column_height
    sizes = _sizes(driver_diameter, ball_diameter, plate_gap, column_width, height)
    name = title or f"Draft: {sizes.driver * 1e3:g} mm driver, {sizes.ball * 1e3:g} mm ball"
    text = _TEMPLATE.substitute(_entries(sizes, name))
    try:
        parse_design(text, "draft.toml")
    except DesignError as error:
        raise DraftError(f"these numbers do not make a design:\n{error}") from error
    return text


def write_draft(path: Path, text: str, *, overwrite: bool) -> None:
    """Write a draft to a file: all of it or nothing.

    Raises
    ------
    DraftError
        If the file exists already and is not to be overwritten.
    ExportError
        If it cannot be written.
    """
    if path.exists() and not overwrite:
        raise DraftError(f"{path} exists already: name another file, or move that one away")
    write_text(path, text)


def _sizes(driver: float, ball: float, gap: float, width: float | None, height: float) -> _Sizes:
    """Return the sizes to draft; DraftError names the number that does not fit."""
    _require("driver", driver, 0.03, 0.6)
    post = max(2e-3, _rounded(POST_SHARE * driver))
    needed = driver + 2 * post + 4 * MARGIN
    if width is None:
        width = _raised(max(COLUMN_SHARE * driver, needed), 5e-3)
    if width < needed:
        raise DraftError(
            f"column width {in_both(width)} does not fit: a {in_mm(driver)} driver with"
            f" {in_mm(post)} posts round it needs {in_both(_raised(needed))} or more"
        )
    _require("column width", width, 0.03, 2.0)
    _require("column height", height, 0.05, 3.0)
    sizes = _Sizes(driver=driver, ball=ball, gap=gap, width=width, height=height, post=post)
    _require("ball", ball, sizes.effective / 2, 20 * driver)
    _require("gap", gap, sizes.tip_space + SMALLEST_KEEP, 3 * driver)
    return sizes


def _require(name: str, size: float, least: float, most: float) -> None:
    if not least <= size <= most:
        meant = f", did you mean {in_mm(size / 1e3)}?" if least <= size / 1e3 <= most else ""
        raise DraftError(
            f"{name} {in_both(size)} does not fit: {in_both(_raised(least))} to {in_both(most)}"
            f" would; check the number and its unit{meant}"
        )


def _keep_of(ball: float, base: float) -> float:
    """Height of the cap with this flat side; half the ball where the ball is no wider."""
    return keep_of_base(ball, min(base, ball))


def _rounded(size: float, step: float = 1e-3) -> float:
    return round(size / step) * step


def _raised(size: float, step: float = 1e-3) -> float:
    return math.ceil(size / step - 1e-6) * step


def _floored(size: float, step: float = 1e-3) -> float:
    return math.floor(size / step + 1e-6) * step


def _entries(sizes: _Sizes, title: str) -> dict[str, str]:
    """What the template leaves open; lengths in mm."""
    keep, tallest = sizes.keep, sizes.tallest_keep
    first = max(min(SMALLEST_KEEP, keep), _floored(keep / 3))
    least_gap = _raised(keep + sizes.tip_space)
    most_gap = _raised(max(1.5 * sizes.gap, least_gap + 0.02))
    lengths = {
        "driver": sizes.driver,
        "ball": sizes.ball,
        "gap": sizes.gap,
        "width": sizes.width,
        "height": sizes.height,
        "effective": sizes.effective,
        "cutout": _rounded(CUTOUT_SHARE * sizes.driver),
        "depth": _rounded(DEPTH_SHARE * sizes.effective),
        "dust_cap": sizes.dust_cap,
        "dome": _rounded(DOME_SHARE * sizes.dust_cap, 0.5e-3),
        "proud": sizes.proud,
        "excursion": sizes.excursion,
        "post": sizes.post,
        "circle": sizes.circle,
        "keep": keep,
        "cone": _floored(min(sizes.effective, 2 * (sizes.gap - sizes.tip_space))),
        "first": first,
        "last": tallest,
        "step": max(1e-3, _raised((tallest - first) / (MOST_CANDIDATES - 1))),
        "least_gap": least_gap,
        "most_gap": most_gap,
        "gap_step": max(1e-3, _raised((most_gap - least_gap) / 20)),
    }
    # A title in JSON is one in TOML too, quotes and all.
    return {"title": json.dumps(title, ensure_ascii=False)} | {
        k: f"{v * 1e3:.6g}" for k, v in lengths.items()
    }


_TEMPLATE = Template("""\
# A first draft. Only the driver's nominal diameter, the ball and the plate gap were given.
# "guess" marks a rule of thumb (common practice, no source): measure it and put it right.

title = $title
unit = "mm"        # of every length without a unit: mm, cm, m or in
plate_gap = $gap     # baffle face to underside of the top plate, where the cap's flat side hangs

[column]
shape = "round"    # or "square", "hexagonal"
width = $width        # guess: 1.5 x the driver, or room for driver and posts
height = $height       # floor to baffle; brings the ring near the ears of people who sit
edge_radius = 0    # rounding of the baffle's outer edge

[driver]
effective_diameter = $effective  # guess: 0.8 x nominal; measure cone plus half the surround
frame_diameter = $driver      # as given
cutout_diameter = $cutout     # guess: 0.9 x nominal
cone_depth = $depth           # guess: 0.2 x effective; from the cone's rim to its neck
dust_cap = { diameter = $dust_cap, height = $dome }  # guess: 0.33 x effective, dome 0.25 x its own
proud = $proud              # guess: 0.02 x nominal; frame or gasket above the baffle
recess = 0               # cone rim below the baffle
excursion = $excursion            # guess: 0.03 x nominal; peak travel, one way
# lets_go = { above = "3 kHz", down_to = $dust_cap }  # a cone that lets go in the treble
# curve = "my_driver.txt"  # measured curve: Hz, dB, optional phase

[reflector]
kind = "ball"
ball_diameter = $ball   # measure it three ways, [180.2, 179.6, 180.0], and the mean is taken
keep = $keep            # guess: flat side 1.5 x effective, if ball, gap and posts leave room

[plate]
diameter = $width       # guess: as wide as the column
thickness = 15
edge_radius = 2

[posts]
count = 3
diameter = $post          # guess: 0.045 x nominal
circle_diameter = $circle # guess: 5 mm inside the column's edge
socket_plate = 10
socket_baffle = 10

# [walls]           # what surfaces take of the sound; left out, hard with the air's own friction
# reflector = "bare foam"  # or painted wood, bare plywood, sealed foam, cork, carpet, felt 5 mm
# plate = "painted wood"   # suggested values: common practice, no source
# cone = { admittance = 0.03 }                   # above lets_go only; 0.006 to 0.05 are possible
# felt_on_baffle = { material = "felt 5 mm" }    # a ring from the frame to the edge
# losses = "none"          # no losses at all: sharper peaks than any meter shows

[air]
temperature = 20   # degrees Celsius
humidity = 50      # per cent

[[seats]]
name = "sofa"
ear_height = "1.05 m"  # guess: 1.0 to 1.1 m for people who sit
distance = "2.5 m"     # from the speaker's axis

[[seats]]
name = "standing"
ear_height = "1.6 m"   # guess
distance = "2.5 m"

[target]
# window = [0, 20]     # elevations that count, degrees; left out, it follows from the seats
band = ["100 Hz", "16 kHz"]
wanted_tilt = 0        # dB per octave
near_best_db = 0.3     # candidates this close to the best count as equally good

[trim]
keep = { from = $first, to = $last, step = $step }  # up to what ball, gap and posts leave room for
# balls_on_sale = [100, 120, 150, 180, 200]
hold = "plate gap"     # or "tip clearance"

[gap]
from = $least_gap
to = $most_gap
step = $gap_step

[[contest]]
name = "45 degree cone"
reflector = { kind = "cone", base_diameter = $cone, half_angle = 45 }  # guess: as wide as the
# moving part, or as tall as the gap leaves room for

[[contest]]
name = "bare top plate"
reflector = { kind = "none" }
""")
