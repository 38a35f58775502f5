"""Why does the sound go where it goes? Rays for the energy, paths for the notches."""

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


@dataclass(frozen=True, eq=False)
class Notch:
    """A dip of the window level by simple diffraction, and which paths make it."""

    frequency: float
    depth_db: float
    words: str


@dataclass(frozen=True, eq=False)
class RayStudy:
    """Rays through a design.

    Attributes
    ----------
    design : Design
    paths : tuple of RayPath
        In the plane through the axis, for the picture; none for a free form.
    result : RayResult
        Shares of the driver's energy at some octaves.
    meaningful_above_hz : float
        Below it a ray picture means nothing.
    notches : tuple of Notch
        Deepest first.
    mounting : Mounting
        How reflector and plate hang, if not on the axis.
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
    wave solver cannot take them, so their level by azimuth is told by rays alone.

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
        design,
        meridian_paths(assembly, DRAWN_RAYS) if free_form is None else (),
        counted,
        meaningful_above_hz(assembly, design.air),
        _notches(design, problem, workers) if free_form is None else (),
        mounting,
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
