"""Why does the sound go where it goes? Rays for the energy, paths for the notches."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from dispersion.elevations import window_power
from dispersion.paths.edges import explain, sentence, solve_edges
from dispersion.paths.freeform import FreeForm
from dispersion.paths.rays import (
    RayPath,
    RayResult,
    count_rays,
    meaningful_above_hz,
    meridian_paths,
)
from dispersion.paths.scene import CENTRED, Mounting
from dispersion.problem import Problem
from studies.design import Design
from studies.solving.grid import problem_of

DRAWN_RAYS = 27
COUNTED_RAYS = 2**19
OCTAVES_HZ = (1000.0, 2000.0, 4000.0, 8000.0, 16000.0)
NOTCH_DEPTH_DB = 6.0
MOST_NOTCHES = 3
STEEP_DEG = -30.0
"""Sound that leaves below this elevation goes to the floor beside the column."""


@dataclass(frozen=True, eq=False)
class Notch:
    """A dip of the window's level by simple diffraction, with the paths that make it.

    Attributes
    ----------
    frequency : float
        Hz.
    depth_db : float
        Prominence of the dip in the curve of the window's level, dB.
    words : str
        The paths that make it, in words.
    """

    frequency: float
    depth_db: float
    words: str


@dataclass(frozen=True, eq=False)
class Zones:
    """Shares of the driver's energy by range of elevation, (F,) each.

    Attributes
    ----------
    above, window : array
        Above the window, and in it.
    low, steep : array
        Below the window down to `STEEP_DEG`, and below that.
    """

    above: np.ndarray
    window: np.ndarray
    low: np.ndarray
    steep: np.ndarray


@dataclass(frozen=True, eq=False, kw_only=True)
class RayStudy:
    """Rays through a design: answer of `roundcast rays`.

    Attributes
    ----------
    design : Design
    paths : tuple of RayPath
        In the plane through the axis, for the picture; none for a free form.
    result : RayResult
        Shares of the driver's energy at some octaves.
    meaningful_above_hz : float
        Frequency below which rays mean nothing, Hz.
    notches : tuple of Notch
        Deepest first.
    mounting : Mounting
        How far reflector and plate hang off the axis and askew.
    """

    design: Design
    paths: tuple[RayPath, ...]
    result: RayResult
    meaningful_above_hz: float
    notches: tuple[Notch, ...]
    mounting: Mounting = CENTRED

    @property
    def around_db(self) -> np.ndarray:
        """(F, A) level in the window by azimuth over its mean over all azimuths, dB."""
        share = self.result.by_azimuth
        return 10.0 * np.log10(np.maximum(share, 1e-12) / share.mean(axis=1, keepdims=True))

    @property
    def around_error_db(self) -> np.ndarray:
        """(F,) standard error of `around_db`: 10 / ln 10 times the median relative error, dB."""
        relative = self.result.azimuth_error / np.maximum(self.result.by_azimuth, 1e-12)
        return 10.0 / np.log(10.0) * np.median(relative, axis=1)

    @property
    def azimuths_deg(self) -> np.ndarray:
        """(A,) middles of the ranges of azimuth, degrees from the first post."""
        edges = self.result.azimuth_edges
        return 0.5 * (edges[1:] + edges[:-1])

    @property
    def zones(self) -> Zones:
        """Shares of the energy above the window, in it, and below."""
        (low, high), edges = self.design.window_deg, self.result.elevation_edges
        middles = 0.5 * (edges[1:] + edges[:-1])
        above, under = middles > high, middles < low

        def share(inside: np.ndarray) -> np.ndarray:
            return self.result.by_elevation[:, inside].sum(axis=1)

        return Zones(
            share(above),
            share(~(above | under)),
            share(under & (middles >= STEEP_DEG)),
            share(under & (middles < STEEP_DEG)),
        )


def ray_study(
    design: Design,
    rays: int = COUNTED_RAYS,
    workers: int | None = None,
    shift: float = 0.0,
    tilt: float = 0.0,
    free_form: FreeForm | None = None,
) -> RayStudy:
    """Trace rays through a design, and explain its notches.

    Reflectors off the centre or tilted are no bodies of revolution about the column's axis: the
    wave solver cannot take them, and only rays estimate their level by azimuth.

    Parameters
    ----------
    design : Design
    rays : int
        Rays that are counted.
    workers : int, optional
        Threads.
    shift : float
        Reflector and plate off the axis, towards the first post, metres.
    tilt : float
        Degrees; the side of the first post goes down.
    free_form : FreeForm, optional
        Takes the place of the reflector; it need not be round, so no ray is drawn in the section.

    Raises
    ------
    RayError, EdgesError
        If there are no rays, or the design is none that simple diffraction can treat.
    """
    assembly = design.assembly()
    problem = problem_of(design, assembly)
    top = problem.frequencies[-1]
    octaves = np.array([octave for octave in OCTAVES_HZ if octave <= top] or [top])
    mounting = Mounting(dx=shift, tilt=np.radians(tilt))
    counted = count_rays(
        replace(problem, frequencies=octaves),
        rays=rays,
        mounting=mounting,
        free_form=free_form,
        window_deg=design.window_deg,
        workers=workers,
    )
    return RayStudy(
        design=design,
        paths=meridian_paths(assembly, DRAWN_RAYS) if free_form is None else (),
        result=counted,
        meaningful_above_hz=meaningful_above_hz(assembly, design.air),
        notches=_notches(design, problem, workers) if free_form is None else (),
        mounting=mounting,
    )


def _notches(design: Design, problem: Problem, workers: int | None) -> tuple[Notch, ...]:
    from scipy.signal import find_peaks

    response = solve_edges(problem, workers=workers)
    level = 10.0 * np.log10(window_power(response.power, problem.elevations, design.window_deg))
    at, found = find_peaks(-level, prominence=NOTCH_DEPTH_DB)
    deepest = at[np.argsort(found["prominences"])[::-1][:MOST_NOTCHES]]
    depths = np.sort(found["prominences"])[::-1]
    middle = 0.5 * sum(design.window_deg)
    notches = []
    for index, depth in zip(deepest, depths, strict=False):
        frequency = float(problem.frequencies[index])
        shares = explain(problem, frequency, middle)
        notches.append(Notch(frequency, float(depth), sentence(shares, frequency)))
    return tuple(notches)
