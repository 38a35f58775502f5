"""From the tables of a design file to the parts of an assembly and the ways that drive it."""

from __future__ import annotations

from typing import Literal

from dispersion.driver_curve import DriverCurve
from dispersion.sources import Crossover, LettingGo, Way
from shapes.assembly import Column, Driver, DustCap, Posts, TopPlate, Tweeter, Whizzer
from studies.design.tables import (
    ColumnTable,
    DriverTable,
    DustCapTable,
    LetsGoTable,
    PlateTable,
    PostsTable,
    TweeterTable,
    WayTable,
    WhizzerTable,
)


def build_column(table: ColumnTable) -> Column:
    """Column and baffle."""
    return Column(
        width=table.width,
        height=table.height,
        shape=table.shape,
        edge_radius=table.edge_radius,
    )


def build_driver(table: DriverTable) -> Driver:
    """Driver with whatever stands in the middle of its cone."""
    centre = _dust_cap(table.dust_cap) if table.dust_cap else _whizzer(table.whizzer)
    return Driver(
        effective_radius=table.effective_radius,
        frame_radius=table.frame_diameter / 2,
        cone_depth=table.cone_depth,
        centre=centre,
        proud=table.proud,
        recess=table.recess,
        excursion=table.excursion,
        cutout_radius=None if table.cutout_diameter is None else table.cutout_diameter / 2,
    )


def _dust_cap(table: DustCapTable) -> DustCap:
    return DustCap(radius=table.diameter / 2, height=table.height)


def _whizzer(table: WhizzerTable | None) -> Whizzer | None:
    if table is None:
        return None
    return Whizzer(
        radius=table.diameter / 2,
        height=table.height,
        neck_radius=table.neck_diameter / 2,
        cap=_dust_cap(table.dust_cap) if table.dust_cap else None,
    )


def build_tweeter(table: TweeterTable | None) -> Tweeter | None:
    """Coaxial second way, if there is one."""
    if table is None:
        return None
    return Tweeter(
        dome_radius=table.dome_diameter / 2,
        dome_height=table.dome_height,
        face_height=table.face_height,
        housing_radius=table.housing_diameter / 2,
    )


def build_plate(table: PlateTable | None) -> TopPlate | None:
    """Top plate, if there is one."""
    if table is None:
        return None
    return TopPlate(
        radius=table.diameter / 2, thickness=table.thickness, edge_radius=table.edge_radius
    )


def build_posts(table: PostsTable | None) -> Posts | None:
    """Posts, if there are any."""
    if table is None:
        return None
    return Posts(
        count=table.count,
        radius=table.diameter / 2,
        circle_radius=table.circle_diameter / 2,
        socket_plate=table.socket_plate,
        socket_baffle=table.socket_baffle,
    )


def build_driver_way(table: DriverTable, curve: DriverCurve | None) -> Way:
    """What drives the driver: low pass, level, polarity, measured curve, letting go."""
    return Way(
        name="driver",
        crossovers=_crossovers(table, "low"),
        level_db=table.level_db,
        polarity=_sign(table),
        curve=curve,
        lets_go=_letting_go(table.lets_go),
    )


def build_tweeter_way(table: TweeterTable, curve: DriverCurve | None) -> Way:
    """What drives the coaxial tweeter: high pass, level, polarity, measured curve."""
    return Way(
        name="tweeter",
        crossovers=_crossovers(table, "high"),
        level_db=table.level_db,
        polarity=_sign(table),
        curve=curve,
    )


def _letting_go(table: LetsGoTable | None) -> LettingGo | None:
    if table is None:
        return None
    return LettingGo(frequency=table.above, least_radius=table.down_to / 2)


def _crossovers(table: WayTable, side: Literal["low", "high"]) -> tuple[Crossover, ...]:
    if table.crossover is None:
        return ()
    given = table.crossover
    return (Crossover(given.kind, given.order, given.frequency, side),)


def _sign(table: WayTable) -> int:
    return 1 if table.polarity == "normal" else -1
