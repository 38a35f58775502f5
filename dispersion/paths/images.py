"""Mirror points: every wave by way of baffle, plate and reflector, as geometrical acoustics has it.

Each way is rings of sources in the plane of the baffle, which doubles them (a tweeter's lie at the
base of its dome, and shine up and down). The rays from each ring are traced off the curved
reflector and the images in the plane pieces, up to a dozen bounces; each brings its path, the
divergence of its tube, a quarter turn for each caustic, and Fresnel's step at the edges where its
strip ends (`dispersion.paths.specular`).

Left out, and what that does:

- the shape of cone and dome, the frame, the column's foot, posts, losses. Above the frequency at
  which the cone's depth is a quarter of a wave the notches stand elsewhere;
- waves that an edge sends to another edge, or that bend round a smooth body. What an edge sends
  passes through what stands in its way. In the bass, where all surfaces are small, edges are most
  of the sound: only its level is about right there;
- rounded edges count as sharp, the baffle and plate as round ones of equal area.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from dispersion.elevations import mean_square
from dispersion.paths.fans import Real, SourceRings
from dispersion.paths.half_rings import pressure
from dispersion.paths.scene import Scene, numbered_rows, scene_of
from dispersion.paths.specular import Waves, waves_at
from dispersion.paths.tracing import GROUP_BITS
from dispersion.problem import Problem
from dispersion.reference import Reference, flat
from dispersion.response import Response
from dispersion.sources import Way
from dispersion.stopping import Threads, current_stop
from shapes.assembly import Assembly, DrivenWay
from shapes.lengths import in_mm
from shapes.meridian import Line, Piece, Point

Progress = Callable[[int], None]
Complex = NDArray[np.complex128]

FAR = 1e5
"""Far away, metres: paths from there differ from parallel ones by less than 1e-6 m."""
COLUMN, BAFFLE, PLATE, REFLECTOR = 1, 2, 3, 4
"""Numbers of surfaces in a ray's history; the reflector's pieces count on from the last."""


class ImageError(ValueError):
    """A reflector too low for mirror points; the message names the remedy."""


def solve_images(
    problem: Problem, workers: int | None = None, progress: Progress | None = None
) -> Response:
    """Mirror points and images; see the top of this file for what is left out.

    Parameters
    ----------
    problem : Problem
    workers : int, optional
        Threads; as many as there are processors when left out.
    progress : callable, optional
        Called with 1 for every frequency done.

    Returns
    -------
    Response
        Its power balance is no numerical error: it is the power far away over that of the same
        rings in an endless baffle. Its settings hold the share of the waves that pass a focus.

    Raises
    ------
    ImageError
        If the reflector reaches down to the sources.
    ValueError
        If the problem has a floor.
    """
    problem.require_free_air("images")
    assembly = problem.assembly
    k = 2.0 * np.pi * np.asarray(problem.frequencies, dtype=float) / problem.air.speed
    angles = np.radians(problem.elevations)
    far_away = FAR * np.column_stack((np.cos(angles), np.sin(angles)))
    heard = np.concatenate((far_away, problem.points.reshape(-1, 2)))
    scene, found, power, count, focused = plain_scene(assembly), [], [], 0, 0.0
    for built, way in zip(assembly.ways, problem.ways, strict=True):
        radii = _radii(float(k.max()) * built.effective_radius) * built.effective_radius
        strengths = _strengths(radii, built, way, problem)
        rings = SourceRings(scene, radii, _height(built, assembly), assembly.column.face.radius)
        waves = waves_at(rings, heard)
        sums = _summed(waves, len(heard), k, strengths, workers)
        found.append(sums if rings.z == 0.0 else 0.5 * sums)
        power.append(_power_db(found[-1][:, : angles.size], radii, k, strengths, problem))
        count += len(radii)
        focused = max(focused, waves.focused)
    if progress is not None:
        for _ in k:
            progress(1)
    both = np.array(found)
    return Response(
        problem=problem,
        reference=Reference(problem.ways, flat(len(problem.ways))),
        method="images",
        settings={"rings": float(count), "focused": focused},
        far_by_way=both[:, :, : angles.size],
        near_by_way=both[:, :, angles.size :],
        power_error_db=np.array(power),
        unknowns=np.full(k.size, count),
        account=f"mirror points, {count} rings of sources; no power balance holds for it",
    )


def plain_scene(assembly: Assembly) -> Scene:
    """Column with a flat face, reflector and plate, with sharp edges.

    Raises
    ------
    ImageError
        If the reflector reaches down to the sources.
    """
    gap, radius, foot = assembly.plate_gap, assembly.column.face.radius, -assembly.column.height
    column = _chain((0.0, foot), (radius, foot), (radius, 0.0))
    pieces: list[tuple[Piece, int]] = [(piece, COLUMN) for piece in column]
    pieces.append((Line((radius, 0.0), (0.0, 0.0), "baffle"), BAFFLE))
    inner, reflector = 0.0, assembly.reflector
    if reflector is not None:
        inner = reflector.base_radius
        _check_height(assembly)
        for number, piece in enumerate(reflector.profile.shifted(gap).pieces):
            pieces.append((piece, REFLECTOR + number % (2**GROUP_BITS - REFLECTOR)))
    if assembly.plate is not None:
        out, top = assembly.plate.radius, gap + assembly.plate.thickness
        plate = _chain((inner, gap), (out, gap), (out, top), (0.0, top))
        pieces += [(piece, PLATE) for piece in plate]
    elif reflector is not None:
        pieces.append((Line((inner, gap), (0.0, gap), "reflector base"), PLATE))
    return scene_of(numbered_rows(pieces))


def _chain(*places: Point) -> list[Line]:
    """Straight pieces from place to place."""
    return [Line(start, end, "plain") for start, end in pairwise(places)]


def _check_height(assembly: Assembly) -> None:
    lowest = float(assembly.upper_line[:, 1].min())
    highest = max(_height(built, assembly) for built in assembly.ways)
    if lowest <= highest:
        raise ImageError(
            f"mirror points let the sound start {in_mm(highest)} above the baffle's face, and the "
            f"reflector reaches down to {in_mm(lowest)}: use the wave solver, or a larger gap"
        )


def _height(built: DrivenWay, assembly: Assembly) -> float:
    if built.name == "tweeter" and assembly.tweeter is not None:
        return max(assembly.tweeter.face_height, 0.0)
    return 0.0


def _radii(ka: float) -> Real:
    """Radii of rings over that of the piston, at Gauss's points: enough for its pattern."""
    nodes, _ = np.polynomial.legendre.leggauss(_count(ka))
    return 0.5 * (1.0 + nodes)


def _count(ka: float) -> int:
    return 4 + math.ceil(0.5 * ka)


def _strengths(radii: Real, built: DrivenWay, way: Way, problem: Problem) -> Complex:
    """(F, R) share of each ring in the volume that the way moves."""
    _, weights = np.polynomial.legendre.leggauss(len(radii))
    area, radius, lets_go = weights * radii, built.effective_radius, way.lets_go
    if lets_go is None:
        moved = np.tile(area + 0j, (len(problem.frequencies), 1))
    else:
        moved = np.array(
            [area * lets_go.weight(radii, float(f), radius) for f in problem.frequencies],
            dtype=complex,
        )
    return moved / moved.sum(axis=1, keepdims=True)


def _summed(waves: Waves, places: int, k: Real, strengths: Complex, workers: int | None) -> Complex:
    """(F, P) all waves, a frequency at a time."""

    def some(at: NDArray[np.int64]) -> Complex:
        current_stop().check()
        return pressure(waves, places, k[at], strengths[at])

    with Threads(workers or os.cpu_count() or 1) as pool:
        return np.concatenate(list(pool.map(some, np.array_split(np.arange(k.size), k.size))))


def _power_db(far: Complex, radii: Real, k: Real, strengths: Complex, problem: Problem) -> Real:
    """(F,) power far away over that of the same rings in an endless baffle, dB."""
    from scipy.special import j0

    along = np.cos(np.radians(problem.elevations))
    baffled = np.einsum("fr,fre->fe", strengths, j0(k[:, None, None] * radii[:, None] * along))
    above = np.where(problem.elevations >= 0.0, np.abs(baffled) ** 2, 0.0)
    powers = (mean_square(each, problem.elevations) for each in (np.abs(far) ** 2, above))
    return 10.0 * np.log10(np.divide(*powers))
