"""Image sources of the design's own plane pieces: baffle and underside of the top plate.

Each way is a point on the axis that shoots along straight rays, with the pattern of a flat piston
or of none; `dispersion.paths.mirrors` says which images answer.

Left out, and what that does:

- the reflector, the posts, and the shape of cone and dome: what is computed is the design with a
  bare top plate (with nothing above the baffle where there is no plate), driven in the plane of
  the baffle;
- whatever bends round an edge: every shadow is empty and every boundary a step, so a direction
  has one path, two, or none. Edges count as sharp, and the baffle as the round one of equal area.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import numpy as np

from dispersion.paths.mirrors import (
    DEFAULT_BOUNCES,
    Array,
    ImageError,
    Mirrors,
    Paths,
    paths_to,
    paths_towards,
    piston_pattern,
)
from dispersion.problem import Problem
from dispersion.reference import Reference, flat
from dispersion.response import Response
from dispersion.sources import Way
from shapes.assembly import Assembly, DrivenWay

Progress = Callable[[int], None]


def solve_images(
    problem: Problem,
    bounces: int = DEFAULT_BOUNCES,
    source: Literal["piston", "point"] = "piston",
    workers: int | None = None,
    progress: Progress | None = None,
) -> Response:
    """Image sources of baffle and top plate; see the top of this file for what is left out.

    The driver's source lies in the middle of the baffle, where baffle and driver are one plane
    and the image doubles it above and leaves nothing of it below. The tweeter's lies on the base
    of its dome, or on the baffle where that is lower; it keeps its pattern up and down alike, so
    its own pod, which doubles a dome's high treble, is missed.

    Parameters
    ----------
    problem : Problem
    bounces : int
        Largest number of bounces.
    source : {"piston", "point"}
        Pattern of each way: a flat piston of its radiating radius, or the same all round.
    workers : int, optional
        Taken for the sake of one signature; the sum takes milliseconds in one thread.
    progress : callable, optional
        Called with 1 for every frequency.

    Returns
    -------
    Response
        Its power error is the share of the launched energy still between the discs after the
        last bounce, in decibels; nothing is solved, so there are no unknowns.

    Raises
    ------
    ImageError
        If there is no such source.
    ValueError
        If the problem has a floor.
    """
    problem.require_free_air("images")
    if source not in ("piston", "point"):
        raise ImageError(f"source {source!r}: piston or point")
    mirrors = Mirrors.of(problem.assembly)
    k = 2.0 * np.pi * np.asarray(problem.frequencies, dtype=float) / problem.air.speed
    far, near, error = [], [], []
    for built, way in zip(problem.assembly.ways, problem.ways, strict=True):
        z = _source_height(built, problem.assembly)
        radii = _radii(built, way, problem) if source == "piston" else np.zeros(k.size)
        towards = paths_towards(mirrors, problem.elevations, z, bounces)
        far.append(towards.pressure(k, radii))
        near.append(paths_to(mirrors, problem.points, z, bounces).pressure(k, radii))
        error.append(_energy_left_db(towards, problem.elevations, k * radii))
    if progress is not None:
        for _ in k:
            progress(1)
    settings = {"bounces": float(bounces), "piston": float(source == "piston")}
    unknowns = np.zeros(k.size, dtype=int)
    return Response(
        problem=problem,
        reference=Reference(problem.ways, flat(len(problem.ways))),
        method="images",
        settings=settings,
        far_by_way=np.array(far),
        near_by_way=np.array(near),
        power_error_db=np.array(error),
        unknowns=unknowns,
        account=f"baffle and bare plate only, {bounces} bounces; the reflector is left out",
    )


def _source_height(built: DrivenWay, assembly: Assembly) -> float:
    if built.name == "tweeter" and assembly.tweeter is not None:
        return max(assembly.tweeter.face_height, 0.0)
    return 0.0


def _radii(built: DrivenWay, way: Way, problem: Problem) -> Array:
    """(F,) radiating radius; a cone that lets go counts as the smaller piston it becomes."""
    radius = built.effective_radius
    if way.lets_go is None:
        return np.full(len(problem.frequencies), radius)
    return np.array([way.lets_go.radius(float(f), radius) for f in problem.frequencies])


def _energy_left_db(towards: Paths, elevations: Array, ka: Array) -> Array:
    """(F,) energy that has got away over energy launched, dB, path by path without phase.

    A path leaves as steeply as it started, so up and down together each angle must appear twice.
    """
    paths = towards.seen.sum(axis=0)
    above = np.asarray(elevations) > 0.0
    got_away = ((paths + paths[::-1]) / 2.0)[above]
    cosine = np.cos(np.radians(np.asarray(elevations)[above]))
    launched = cosine * piston_pattern(ka[:, None] * cosine) ** 2
    return 10.0 * np.log10(launched @ got_away / launched.sum(axis=1))
