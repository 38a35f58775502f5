"""Design: what a design file says, ready for the studies."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from dispersion.air import Air
from dispersion.sources import Way
from dispersion.walls import Absorber, Walls
from shapes.assembly import Assembly, Column
from shapes.lengths import in_own
from shapes.making import Making
from shapes.reflectors import Reflector, ball_cap
from shapes.weights import Stance, part_masses, stance
from studies.design.carcass_tables import (
    BaffleTable,
    ColumnTable,
    FootTable,
    PortTable,
    build_column,
)
from studies.design.errors import DesignError, Mistake
from studies.design.fit_table import FitSizeTable, KnownDriver
from studies.design.quantities import Between, unit_of_file
from studies.design.reflector_tables import BallTable, ReflectorTable
from studies.design.room_table import RoomTable
from studies.design.study_tables import (
    AskewTable,
    CarveTable,
    ContestTable,
    ExploreTable,
    GapTable,
    SeatTable,
    TargetTable,
    ToleranceTable,
    TrimTable,
    sizes_of,
)
from studies.design.tables import (
    AirTable,
    DesignTable,
    DriverTable,
    PlateTable,
    PostsTable,
    TweeterTable,
    Words,
)
from studies.design.walls_table import PIECES, WallsTable
from studies.design.workshop_tables import BuildTable, MeasuringTable

MOST_FITTED = 20
"""Sizes of one fit."""
MOST_SEATS, MOST_ENTRIES = 100, 100
"""In one file; each seat is a point in the room of every solve, each entry a solve."""
HEAD_ROOM_DEG = 3.0
"""How far a window that follows from the seats reaches beyond them, since heads move:
common practice, no source."""

STEPS_TO_TRY = {
    "mm": ("from = 15, to = 55, step = 1", "from = 40, to = 80, step = 2"),
    "in": ('from = "3/4 in", to = 2, step = "1/16 in"', 'from = 2, to = 4, step = "1/8 in"'),
}
"""Examples of keeps and of plate gaps to try, as a file would write them, by its unit."""


class DesignFile(DesignTable):
    """A whole design file, table by table."""

    title: Words = Field(description="One line that names the design.")
    unit: Literal["mm", "cm", "m", "in"] | None = Field(
        None, description="Unit of bare lengths; left out, every length needs its own."
    )
    plate_gap: Annotated[float, Between(1, 1000)] = Field(
        description="From the baffle's face to the underside of the top plate, which is where"
        " the reflector's flat side hangs; stands above the first table."
    )
    column: ColumnTable
    baffle: BaffleTable | None = None
    foot: FootTable | None = None
    port: PortTable | None = None
    driver: DriverTable
    tweeter: TweeterTable | None = None
    reflector: ReflectorTable = Field(
        description="What hangs above the driver: a ball cap, a cone, or a curve."
    )
    plate: PlateTable | None = None
    posts: PostsTable | None = None
    askew: AskewTable | None = None
    build: BuildTable = BuildTable()
    walls: WallsTable = WallsTable()
    air: AirTable = AirTable()
    room: RoomTable = RoomTable()
    seats: Annotated[tuple[SeatTable, ...], Field(strict=False, max_length=MOST_SEATS)] = ()
    target: TargetTable = TargetTable()
    trim: TrimTable | None = None
    gap: GapTable | None = None
    explore: ExploreTable | None = None
    tolerance: ToleranceTable = ToleranceTable()
    carve: CarveTable = CarveTable()
    measuring: MeasuringTable = MeasuringTable()
    contest: Annotated[tuple[ContestTable, ...], Field(strict=False, max_length=MOST_ENTRIES)] = ()
    fit: Annotated[tuple[FitSizeTable, ...], Field(strict=False, max_length=MOST_FITTED)] = Field(
        (), description="What `roundcast overlay --fit` found; written by it."
    )

    @model_validator(mode="after")
    def _tolerance_in_its_unit(self) -> Self:
        return self.model_copy(update={"tolerance": self.tolerance.as_on_a_rule(self.unit)})


@dataclass(frozen=True)
class Seat:
    """Where somebody listens, seen from the speaker.

    Attributes
    ----------
    name : str
    r, z : float
        Distance from the axis and height above the baffle's face, m.
    ear_height : float
        Height above the floor, m.
    elevation_deg : float
        Seen from the middle of the ring on the axis, degrees above horizontal.
    """

    name: str
    r: float
    z: float
    ear_height: float
    elevation_deg: float


@dataclass(frozen=True)
class ContestEntry:
    """One reflector of a contest.

    Attributes
    ----------
    name : str
    table : table of a reflector
        Its sizes as a file gives them.
    plate_gap : float
        At which it hangs, m.
    stays : bool
        Whether the file says so; else it may hang at a gap of its own.
    hold : str
        Which of its sizes stay, as ``hold`` of ``[[contest]]``.
    """

    name: str
    table: ReflectorTable
    plate_gap: float
    stays: bool = True
    hold: str = "sizes"

    @cached_property
    def reflector(self) -> Reflector | None:
        """Reflector of these sizes, None where there is none."""
        return self.table.build()


@dataclass(frozen=True, kw_only=True)
class Design:
    """A design file that was read and found free of mistakes.

    Attributes
    ----------
    path : Path
        The file as it was named.
    text : str
        Its exact text.
    tables : DesignFile
        What it says; lengths in metres.
    ways : tuple of Way
        What drives the driver and, if there is one, the coaxial tweeter.
    walls : Walls
        What the surfaces take of the sound.
    entries : tuple of ContestEntry
        The contest: the design as written first, then the entries of ``[[contest]]``.
    companions : tuple of (str, str)
        Name and SHA-256 of every other file that the design takes something from.
    allow_outside : bool
        Whether files that the design, or an index of measurements for it, names may lie outside
        of the folder of the file that names them.
    known : KnownDriver or None
        What a fit to measurements found of the driver; None where nobody measured.
    """

    path: Path
    text: str
    tables: DesignFile
    ways: tuple[Way, ...] = ()
    walls: Walls = Walls()
    entries: tuple[ContestEntry, ...] = ()
    companions: tuple[tuple[str, str], ...] = ()
    allow_outside: bool = False
    known: KnownDriver | None = None

    @property
    def title(self) -> str:
        """One line that names the design."""
        return self.tables.title

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the file's text and of every file it takes something from."""
        parts = (self.text, *(f"{name} {digest}" for name, digest in self.companions))
        return hashlib.sha256("\0".join(parts).encode()).hexdigest()

    def with_absorbers(self, absorbers: Mapping[str, Absorber]) -> Design:
        """Return the design with other absorbers on some pieces, by label; the rest as it is.

        The file's text and its assembly stay as they are.
        """
        covered = dict(self.walls.absorbers) | dict(absorbers)
        return replace(self, walls=replace(self.walls, absorbers=tuple(covered.items())))

    @property
    def cone_is_open(self) -> bool:
        """True if walls take something and nothing says how much the cone takes."""
        covered = {label for label, _ in self.walls.absorbers}
        return not self.walls.rigid and not covered & set(PIECES["cone"])

    def walls_on(self, assembly: Assembly) -> Walls:
        """Return what the surfaces of an assembly take: without absorbers on parts it lacks."""
        there = {part for body in assembly.bodies for part in body.parts}
        covered = tuple(pair for pair in self.walls.absorbers if pair[0] in there)
        return replace(self.walls, absorbers=covered)

    @property
    def unit(self) -> str:
        """Unit in which whoever wrote the file thinks, "mm" or "in": it stands first in print."""
        return unit_of_file(self.tables.unit, self.text)

    @property
    def air(self) -> Air:
        """Air in the room."""
        return self.tables.air.build()

    @property
    def column_height(self) -> float:
        """From the floor to the baffle's upper face, m."""
        return column_of(self.tables).height

    @property
    def making(self) -> Making:
        """How the parts are made: materials, walls, kerf."""
        baffle, foot = self.tables.baffle, self.tables.foot
        return self.tables.build.making(
            None if baffle is None else baffle.material, None if foot is None else foot.material
        )

    @property
    def post_tolerance(self) -> float:
        """How much posts of one speaker may differ in length, m: by no more than the plate gap may.

        And by no more than tilts the plate as far as the tolerance of tilt, on the post circle.
        """
        allowed, posts = self.tables.tolerance, self.assembly().posts
        tilted = math.inf if posts is None else 2 * posts.circle_radius * math.tan(allowed.tilt)
        return min(allowed.plate_gap, tilted)

    @property
    def stance(self) -> Stance:
        """How it stands on the floor: mass, centre of gravity, half of the base.

        Raises
        ------
        MakingError, SolidError
            If walls, reflector or spigot cannot be made.
        """
        assembly = self.assembly()
        return stance(part_masses(assembly, self.making), assembly, self.making)

    @property
    def target(self) -> TargetTable:
        """Window and band that count, and the weights of the score."""
        return self.tables.target

    @property
    def ball(self) -> BallTable | None:
        """The ball of the reflector with its measured diameters, None for other kinds."""
        given = self.tables.reflector
        return given if isinstance(given, BallTable) else None

    @cached_property
    def seats(self) -> tuple[Seat, ...]:
        """Every seat, its elevation seen from the ring of the design as written."""
        assembly = self.assembly()
        column, ring = assembly.column.height, assembly.height_of_ring
        return tuple(
            Seat(
                name=seat.name,
                r=seat.distance,
                z=seat.ear_height - column,
                ear_height=seat.ear_height,
                elevation_deg=math.degrees(math.atan2(seat.ear_height - ring, seat.distance)),
            )
            for seat in self.tables.seats
        )

    @property
    def window_deg(self) -> tuple[float, float]:
        """Lowest and highest elevation that counts, degrees seen from the ring.

        As written; otherwise from the lowest to the highest seat, widened by
        ``HEAD_ROOM_DEG`` either way and rounded outwards to whole degrees.
        """
        if self.target.window is not None:
            return self.target.window
        angles = [seat.elevation_deg for seat in self.seats]
        low = math.floor(min(angles) - HEAD_ROOM_DEG)
        return float(low), float(math.ceil(max(angles) + HEAD_ROOM_DEG))

    def reflector(self) -> Reflector | None:
        """Reflector as written, None where there is none."""
        return self.tables.reflector.build()

    def assembly(self) -> Assembly:
        """Everything that is built, in metres."""
        return self._assembly

    @cached_property
    def _assembly(self) -> Assembly:
        return assemble(self.tables)

    def trim_candidates(self) -> tuple[tuple[float, float], ...]:
        """Every ball diameter with every height to keep, m, balls in the file's order.

        Nothing is left out here, not even a height larger than a ball: a candidate that
        cannot be built is for the study to show with its reason.

        Raises
        ------
        DesignError
            If the file has no trim table.
        """
        trim = self.tables.trim
        if trim is None:
            raise self._asks_nothing("trim", f"keep = {{ {STEPS_TO_TRY[self.unit][0]} }}")
        balls = trim.balls_on_sale
        if balls is None:
            assert isinstance(self.tables.reflector, BallTable)
            balls = (self.tables.reflector.diameter,)
        keeps = sizes_of(trim.keep)
        return tuple((ball, keep) for ball in balls for keep in keeps)

    @property
    def moves_plate(self) -> bool:
        """True if trim may hang every cap at a gap of its own, out of ``[gap]``."""
        hold = None if self.tables.trim is None else self.tables.trim.hold
        return self.tables.gap is not None and hold in (None, "nothing")

    def trimmed(self, ball_diameter: float, keep: float) -> Assembly:
        """Return the assembly with another cap; what ``trim.hold`` says stays as it is.

        Where nothing is held, the plate stays where the file has it.

        Parameters
        ----------
        ball_diameter, keep : float
            Ball and height from apex to flat, m.

        Raises
        ------
        ValueError
            If no such cap can be cut.
        """
        cap = ball_cap(ball_diameter, keep)
        now, trim, present = self.assembly(), self.tables.trim, self.reflector()
        if trim is not None and trim.hold == "tip clearance" and present is not None:
            now = now.with_gap(now.plate_gap + cap.height - present.height)
            if not self.reaches(now.plate_gap):
                raise ValueError(
                    f"its posts would be {in_own(now.post_length)} long, and posts.longest says"
                    " that the rods at hand give less"
                )
        return now.with_reflector(cap)

    def gap_candidates(self) -> tuple[float, ...]:
        """Every plate gap to try, m, smallest first.

        Raises
        ------
        DesignError
            If the file has no gap table.
        """
        if self.tables.gap is None:
            raise self._asks_nothing("gap", STEPS_TO_TRY[self.unit][1])
        return tuple(gap for gap in self.tables.gap.sizes() if self.reaches(gap))

    def reaches(self, plate_gap: float) -> bool:
        """Return whether the rods at hand (`posts.longest`) are long enough for a gap, m."""
        posts = self.tables.posts
        return posts is None or plate_gap <= posts.widest_gap

    @property
    def gaps_out_of_reach(self) -> tuple[float, ...]:
        """Gaps of ``[gap]`` for which the rods at hand are too short, m, smallest first."""
        gap = self.tables.gap
        return () if gap is None else tuple(one for one in gap.sizes() if not self.reaches(one))

    def contest_entries(self) -> tuple[ContestEntry, ...]:
        """The design as written, then every entry of the contest.

        Raises
        ------
        DesignError
            If the file has no contest.
        """
        if len(self.entries) < 2:
            raise self._asks_nothing("contest", 'name = "cone", reflector = { kind = "cone", ... }')
        return self.entries

    def _asks_nothing(self, table: str, example: str) -> DesignError:
        heading = f"[[{table}]]" if table == "contest" else f"[{table}]"
        message = f"the file has no {heading} table, so there is nothing to try: add one, {example}"
        return DesignError(self.path, (Mistake(table, message),))


def column_of(tables: DesignFile) -> Column:
    """The column with its baffle and its foot, in metres."""
    return build_column(tables.column, tables.baffle, tables.foot, tables.build.column_wall)


def outer_radius_of(tables: DesignFile) -> float:
    """How far column, baffle and top plate reach from the axis, m."""
    column = column_of(tables).outer_radius
    return column if tables.plate is None else max(column, tables.plate.footprint.outer_radius)


def assemble(tables: DesignFile) -> Assembly:
    """Everything that a design file builds, in metres."""
    on_baffle, under_plate = tables.walls.felt_on_baffle, tables.walls.felt_under_plate
    return Assembly(
        column=column_of(tables),
        driver=tables.driver.build(),
        plate_gap=tables.plate_gap,
        reflector=tables.reflector.build(),
        plate=None if tables.plate is None else tables.plate.build(),
        posts=None if tables.posts is None else tables.posts.build(),
        tweeter=None if tables.tweeter is None else tables.tweeter.build(),
        felt_on_baffle=None if on_baffle is None else on_baffle.ring(),
        felt_under_plate=None if under_plate is None else under_plate.ring(),
    )
