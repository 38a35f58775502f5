"""The directivity of one design, ready to be handed to other programs.

Inside, roundcast counts time as exp(-i omega t). What leaves it counts as everybody's discrete
Fourier transform does, exp(+j omega t), so that a later sound has a falling phase: the pressure
here is the complex conjugate of the response's.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from dispersion.bands import study_frequencies
from dispersion.elevations import level_db
from dispersion.problem import ELEVATION_STEP_DEG, elevation_grid
from dispersion.ripple import Balance
from studies.design import Design
from studies.solving.askew_changes import pressure_change
from studies.solving.candidates import Candidate, NotSolvedError, Row
from studies.solving.grid import (
    FINE_PER_BAND,
    ByNeed,
    Fineness,
    Progress,
    Solver,
    problem_of,
    read_per_band,
    run,
)
from studies.solving.leaning import as_hung
from studies.solving.posted import are_solved, solve_posts

STAGE = "directivity"
MOST_VALUES = 2**24
"""Complex values of one file, frequencies times directions: 256 MiB."""
STRONG_DB = 20.0
"""How far below the strongest direction of its band a level still counts in `between_db`."""


class DirectivityError(ValueError):
    """Directions that cannot be exported; the message names the option and the remedy."""


@dataclass(frozen=True)
class Directions:
    """Directions of an exported file: elevations from pole to pole, azimuths right round.

    Attributes
    ----------
    elevation_step, azimuth_step : float
        Degrees. Elevations are those of the solve, or every so many of them, the horizon and both
        poles among them.

    Raises
    ------
    DirectivityError
        If the steps do not go into the circle, or are finer than the solve.
    """

    elevation_step: float = 2.5
    azimuth_step: float = 10.0

    def __post_init__(self) -> None:
        """Refuse steps that miss the horizon or the poles, do not close, or were not solved."""
        if not _goes_into(self.elevation_step, 90.0) or not _goes_into(
            ELEVATION_STEP_DEG, self.elevation_step
        ):
            raise DirectivityError(
                f"--elevation-step {self.elevation_step:g}: take a multiple of"
                f" {ELEVATION_STEP_DEG:g} degrees that goes into 90 without rest, such as 1, 2.5,"
                " 5 or 10"
            )
        if not _goes_into(self.azimuth_step, 360.0):
            raise DirectivityError(
                f"--azimuth-step {self.azimuth_step:g}: take a step that goes into 360 degrees"
                " without rest, such as 5, 10 or 30"
            )

    @property
    def every(self) -> int:
        """How many steps of the solve make one of these."""
        return round(self.elevation_step / ELEVATION_STEP_DEG)

    @property
    def elevations(self) -> np.ndarray:
        """(E,) degrees, from straight down to straight up."""
        return elevation_grid()[:: self.every]

    @property
    def azimuths(self) -> np.ndarray:
        """(A,) degrees from the first post, anticlockwise seen from above."""
        return np.arange(round(360.0 / self.azimuth_step)) * self.azimuth_step

    @property
    def count(self) -> int:
        """Number of directions, R: rings of azimuths, and each pole once."""
        return (self.elevations.size - 2) * self.azimuths.size + 2

    def each(self) -> tuple[np.ndarray, np.ndarray]:
        """Elevation (by its number) and azimuth (degrees) of every direction, (R,) each.

        Ring by ring from straight down to straight up; a pole has one direction, at azimuth 0.
        """
        rings = np.arange(1, self.elevations.size - 1)
        numbers = np.repeat(rings, self.azimuths.size)
        around = np.tile(self.azimuths, rings.size)
        return np.concatenate(([0], numbers, [rings.size + 1])), np.concatenate(
            ([0.0], around, [0.0])
        )


def _goes_into(step: float, whole: float) -> bool:
    times = whole / step if step > 0.0 else 0.0
    return times >= 1.0 and abs(times - round(times)) < 1e-9 * times


@dataclass(frozen=True, eq=False, kw_only=True)
class Directivity:
    """The far field of a design as it is handed on.

    Attributes
    ----------
    design : Design
    row : Row
        The design solved and scored.
    directions : Directions
    pressure : (F, E) complex array
        Far-field pressure at the frequencies of the solve and the elevations of `directions`, over
        that of the driver alone, straight ahead in an endless baffle, all ways together; for
        exp(+j omega t), the delay of the distance taken out. Without posts.
    around : (F, E, A) complex array or None
        The same with posts at the azimuths of `directions`, where they were solved, and as [askew]
        says that it hangs: what either changes by itself.
    posted, askew : bool
        Whether that holds posts; whether it hangs askew.
    balances : tuple of Balance
        Of what was solved for that.
    as_sofa : bool
        Write the SOFA file as well.
    author, licence : str
        What that file says of who made it and what others may do with it.
    """

    design: Design
    row: Row
    directions: Directions
    pressure: np.ndarray = field(repr=False)
    around: np.ndarray | None = field(default=None, repr=False)
    posted: bool = False
    askew: bool = False
    balances: tuple[Balance, ...] = ()
    as_sofa: bool = True
    author: str = ""
    licence: str = ""

    @property
    def frequencies(self) -> np.ndarray:
        """(F,) Hz."""
        return self.row.response.problem.frequencies

    def in_directions(self) -> np.ndarray:
        """Pressure in every direction of the file, (F, R), see `Directions.each`."""
        numbers, azimuths = self.directions.each()
        if self.around is None:
            return self.pressure[:, numbers]
        steps = np.round(azimuths / self.directions.azimuth_step).astype(int)
        return self.around[:, numbers, steps]

    @property
    def levels_db(self) -> np.ndarray:
        """(F, E) level of the pressure, dB."""
        return level_db(np.abs(self.pressure) ** 2)

    @property
    def phases_deg(self) -> np.ndarray:
        """(F, E) phase of the pressure, above -180 to 180 degrees."""
        return np.degrees(np.angle(self.pressure))

    @property
    def band_centres(self) -> np.ndarray:
        """(B,) exact centres of the third-octave bands, Hz."""
        return self.row.coverage.centres

    @property
    def band_levels_db(self) -> np.ndarray:
        """(B, E) band levels, dB."""
        return self.row.coverage.level_db[:, :: self.directions.every]

    @cached_property
    def between_db(self) -> np.ndarray:
        """(B,) rms error of a straight line between the exported elevations, dB.

        Taken of the band levels in dB at all solved elevations whose level is within `STRONG_DB`
        of the strongest direction of its band.
        """
        solved = self.row.coverage.level_db
        elevations = self.row.coverage.elevations
        kept = self.directions.elevations
        lines = np.array(
            [np.interp(elevations, kept, levels) for levels in solved[:, :: self.directions.every]]
        )
        strong = solved >= solved.max(axis=1, keepdims=True) - STRONG_DB
        return np.sqrt(np.mean((lines - solved) ** 2, axis=1, where=strong))


def directivity(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    fineness: Fineness = FINE_PER_BAND,
    *,
    directions: Directions | None = None,
    as_sofa: bool = True,
    author: str = "",
    licence: str = "",
) -> Directivity:
    """Solve a design as it is written, and take its far field at some directions.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    fineness : int or ByNeed
        Frequencies in a third-octave band, four or more, or as many as it takes.
    directions : Directions, optional
    as_sofa, author, licence
        See `Directivity`.

    Raises
    ------
    DirectivityError
        If the SOFA file would become too large; found before anything is solved.
    NotSolvedError
        If the design cannot be solved; the message says why.
    """
    wanted = directions or Directions()
    assembly = design.assembly()
    # Only the SOFA file has azimuths.
    posted = as_sofa and are_solved(design, assembly, solver)
    askew = as_sofa and as_hung(design, assembly, solver) is not None
    if isinstance(fineness, ByNeed) and (posted or askew):
        fineness = FINE_PER_BAND  # every frequency of the file is then one that is solved
    if as_sofa:
        _require_size(wanted, len(study_frequencies(*design.target.band, read_per_band(fineness))))
    candidates = [Candidate("as designed", design.assembly)]
    (row,) = run(design, candidates, solver, fineness, STAGE, progress, keep_far=True)
    if not row.solved:
        raise NotSolvedError(row.reason)
    pressure = row.response.far[:, :: wanted.every].conj()
    around, balances = _around(design, row, solver, progress, wanted) if as_sofa else (None, ())
    return Directivity(
        design=design,
        row=row,
        directions=wanted,
        pressure=pressure,
        around=around,
        posted=posted,
        askew=askew,
        balances=balances,
        as_sofa=as_sofa,
        author=author,
        licence=licence,
    )


def _around(
    design: Design, row: Row, solver: Solver, progress: Progress | None, wanted: Directions
) -> tuple[np.ndarray | None, tuple[Balance, ...]]:
    """Pressure at every elevation and azimuth, and how well power balances; None where round."""
    problem = problem_of(design, row.assembly)
    problem = replace(
        problem,
        elevations=wanted.elevations,
        frequencies=row.response.problem.frequencies,
        points=problem.points[:0],
    )
    bare, around = row.response.far[:, :: wanted.every, None], None
    balances: tuple[Balance, ...] = ()
    if are_solved(design, row.assembly, solver):
        posts = solve_posts(design, problem, solver, progress)
        around = posts.with_posts(row.assembly.standing_posts, wanted.azimuths)
        balances += (posts.balance,)
    leaning = pressure_change(design, problem, wanted.azimuths, solver, progress)
    if leaning is not None:
        around = (bare if around is None else around) + leaning.values
        balances += (leaning.balance,)
    return None if around is None else around.conj(), balances


def _require_size(directions: Directions, frequencies: int) -> None:
    values = directions.count * frequencies
    if values > MOST_VALUES:
        raise DirectivityError(
            f"{directions.count} directions at {frequencies} frequencies are {values / 1e6:.0f}"
            f" million values, more than {MOST_VALUES / 1e6:.0f} million: take a larger"
            " --azimuth-step (without posts the pattern is the same all round) or --elevation-step,"
            " or fewer"
            " frequencies with --per-band"
        )
