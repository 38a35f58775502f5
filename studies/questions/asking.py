"""What each command asks: how it is found, told, drawn and made into files."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from studies.budget import (
    Work,
    carve_work,
    explore_work,
    gap_work,
    meter_work,
    tolerance_work,
    trim_work,
)
from studies.carve import carve_files
from studies.charts import slice_files
from studies.contest import contest
from studies.design import Design
from studies.explore import explore
from studies.finding import (
    find_carved,
    find_directivity,
    find_meter,
    find_overlay,
    find_posts,
    find_rays,
    find_seat,
    find_slices,
    find_tolerance,
    find_trust,
    solve,
)
from studies.fitted_file import fitted_files
from studies.formats.files import directivity_files
from studies.formats.wav import seat_files
from studies.gap import gap
from studies.overlay import Overlay
from studies.pages.explorer import explore_files
from studies.pictures import Pictures
from studies.pictures.carve import carve_pictures
from studies.pictures.contest import contest_pictures
from studies.pictures.directivity import directivity_pictures
from studies.pictures.gap import gap_pictures
from studies.pictures.meter import meter_pictures
from studies.pictures.overlay import overlay_pictures
from studies.pictures.paths import posts_pictures, rays_pictures, trust_pictures
from studies.pictures.proof import proof_pictures
from studies.pictures.seat import seat_pictures
from studies.pictures.section import cut_pictures, section_pictures
from studies.pictures.slices import slice_pictures
from studies.pictures.spread import spread_pictures
from studies.pictures.tolerance import tolerance_pictures
from studies.pictures.trim import trim_pictures
from studies.proof import prove
from studies.shed import cutting, cutting_files
from studies.shed.meter_files import meter_files
from studies.spread import spread
from studies.tables import Findings
from studies.tables.carve import carve_tables
from studies.tables.contest import contest_tables
from studies.tables.cut import cut_tables
from studies.tables.directivity import directivity_tables
from studies.tables.explore import explore_tables
from studies.tables.gap import gap_tables
from studies.tables.meter import meter_tables
from studies.tables.overlay import overlay_tables
from studies.tables.posts import posts_tables
from studies.tables.proof import proof_tables
from studies.tables.rays import rays_tables
from studies.tables.seat import seat_tables
from studies.tables.section import section_tables
from studies.tables.slices import slices_tables
from studies.tables.spread import spread_tables
from studies.tables.tolerance import tolerance_tables
from studies.tables.trim import trim_tables
from studies.tables.trust import trust_tables
from studies.trim import trim


def _no_work(design: Design, how: dict[str, Any]) -> Work:
    return ()


def _nothing(_: Any) -> dict[str, Any]:
    return {}


@dataclass(frozen=True)
class Question:
    """What a command does: find out something about a design, then words, pictures, files.

    `weigh` tells beforehand how many designs it will solve.
    """

    find: Callable[..., Any]
    tell: Callable[[Any], Findings]
    draw: Callable[[Any], Pictures]
    make: Callable[[Any], dict[str, bytes]] = _nothing
    weigh: Callable[[Design, dict[str, Any]], Work] = _no_work


def _as_it_is(design: Design) -> Design:
    return design


def overlay_files(found: Overlay) -> dict[str, bytes]:
    """Write the fitted design, where a fit was asked for."""
    return {} if found.fitted is None else fitted_files(found.fitted)


PROOF = Question(prove, proof_tables, proof_pictures)
"""Asked of the program itself, not of a design."""

QUESTIONS = {
    "section": Question(_as_it_is, section_tables, section_pictures),
    "spread": Question(functools.partial(solve, spread), spread_tables, spread_pictures),
    "trim": Question(functools.partial(solve, trim), trim_tables, trim_pictures, weigh=trim_work),
    "contest": Question(functools.partial(solve, contest), contest_tables, contest_pictures),
    "gap": Question(functools.partial(solve, gap), gap_tables, gap_pictures, weigh=gap_work),
    "explore": Question(
        functools.partial(solve, explore), explore_tables, _nothing, explore_files, explore_work
    ),
    "carve": Question(find_carved, carve_tables, carve_pictures, carve_files, carve_work),
    "seat": Question(find_seat, seat_tables, seat_pictures, seat_files),
    "slice": Question(find_slices, slices_tables, slice_pictures, slice_files),
    "cut": Question(cutting, cut_tables, cut_pictures, cutting_files),
    "meter": Question(find_meter, meter_tables, meter_pictures, meter_files, meter_work),
    "tolerance": Question(
        find_tolerance, tolerance_tables, tolerance_pictures, weigh=tolerance_work
    ),
    "overlay": Question(find_overlay, overlay_tables, overlay_pictures, overlay_files),
    "export": Question(
        find_directivity, directivity_tables, directivity_pictures, directivity_files
    ),
    "posts": Question(find_posts, posts_tables, posts_pictures),
    "rays": Question(find_rays, rays_tables, rays_pictures),
    "trust": Question(find_trust, trust_tables, trust_pictures),
}
