"""Geometry of loudspeakers that radiate all round: no sound in here.

Conventions
-----------
- SI inside: metres, radians. Units appear only in `shapes.lengths` and in text for people.
- z counts upwards, z = 0 is the baffle's upper face; r is the distance from the axis.
- A solid is the body of revolution of a `Meridian`, walked from its lower axis point outwards to
  its upper axis point, with the air on the right. The normal (t_z, -t_r) points into the air.
- A meridian is never sorted: profiles may double back.
- Values do not change; verbs return new ones (``assembly.with_gap(0.06)``).
- Three gaps: plate gap, rim gap, tip clearance (see `shapes.assembly`).
- A cap's `keep` runs from the apex to the flat; its cut-off is the ball's diameter less `keep`.
"""

from shapes.assembly import (
    Assembly,
    AssemblyError,
    DrivenWay,
    Driver,
    DustCap,
    FeltRing,
    Nearest,
    Posts,
    TopPlate,
    Tweeter,
    Whizzer,
)
from shapes.clashes import Clash, find_clashes
from shapes.clearances import Clearance, list_clearances
from shapes.columns import Baffle, Column, Foot
from shapes.footprints import Footprint
from shapes.lengths import (
    LengthError,
    in_both,
    in_degrees,
    in_inches,
    in_mm,
    parse_angle,
    parse_area,
    parse_frequency,
    parse_length,
)
from shapes.meridian import Arc, Conic, Curve, Line, Meridian, MeridianError, Piece
from shapes.reflectors import (
    Reflector,
    ReflectorError,
    WorkshopFact,
    ball_cap,
    base_of_cap,
    cone,
    conic_section,
    flared,
    keep_of_base,
    turned,
)

__all__ = [
    "Arc",
    "Assembly",
    "AssemblyError",
    "Baffle",
    "Clash",
    "Clearance",
    "Column",
    "Conic",
    "Curve",
    "DrivenWay",
    "Driver",
    "DustCap",
    "FeltRing",
    "Foot",
    "Footprint",
    "WorkshopFact",
    "LengthError",
    "Line",
    "Meridian",
    "MeridianError",
    "Nearest",
    "Piece",
    "Posts",
    "Reflector",
    "ReflectorError",
    "TopPlate",
    "Tweeter",
    "Whizzer",
    "ball_cap",
    "base_of_cap",
    "cone",
    "conic_section",
    "find_clashes",
    "flared",
    "in_both",
    "in_degrees",
    "in_inches",
    "in_mm",
    "keep_of_base",
    "list_clearances",
    "parse_angle",
    "parse_area",
    "parse_frequency",
    "parse_length",
    "turned",
]
