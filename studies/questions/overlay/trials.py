"""Levels of the model at the sizes a fit tries: each solved once, Jacobian by differences.

Where something else hung over the driver at some positions, once for each that hung: a height of
cap that was measured before a cut is off by as much as the keep that is written.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
from numpy.typing import ArrayLike

from dispersion.response import Response
from studies.design import Design, DesignError, parse_design
from studies.design.parameters import Parameter, parameter_text
from studies.measured.positions import MeasuredBands
from studies.solving.grid import Fineness, Progress, Solver, counted
from studies.solving.levels_of_members import in_the_room
from studies.solving.posted import given_to
from studies.solving.predicting import predicted_at, solves_at, why_not

MOST_EVALUATIONS = 100
"""Most solves of the whole band in one fit."""
FITTING = "fitting sizes"
STEP = 0.25
"""Prior widths of a difference quotient: half a millimetre of plate gap. Levels change by far more
than by another mesh (0.01 dB), and the step is far less than a wavelength."""


class Trials:
    """Levels of a design with some of its sizes changed, counted in prior widths.

    Every trial is the text of a design, parsed: so the text written in the end is what was solved.

    Parameters
    ----------
    design : Design
    parameters : sequence of Parameter
    measured : MeasuredBands
        Positions and bands that are predicted, each under what hung there.
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    fineness : int or ByNeed
        Frequencies in a third-octave band, or as many as it takes: begun at those that the first
        trial took, so that differences are of like errors.
    progress : callable, optional
        Called with (stage, done, total) solves of one frequency.

    Attributes
    ----------
    evaluations : int
        Solves of the whole band so far; where only the cone moves otherwise, one for all.
    """

    def __init__(
        self,
        design: Design,
        parameters: Sequence[Parameter],
        measured: MeasuredBands,
        solver: Solver,
        fineness: Fineness,
        progress: Progress | None = None,
    ) -> None:
        self.design, self.parameters, self.measured = design, tuple(parameters), measured
        self.evaluations = 0
        band = (float(measured.centres[0]), float(measured.centres[-1]))
        self._total = MOST_EVALUATIONS * solves_at(measured.positions, band, fineness)
        advance = counted(progress, FITTING, self._total)
        self._solver = solver
        self._predict = partial(predicted_at, fineness=fineness, advance=advance, band=band)
        self._progress = progress
        self._known: dict[tuple[float, ...], np.ndarray | None] = {}
        self._responses: dict[tuple[float, ...], Response] = {}
        self._begin: np.ndarray | None = None

    @property
    def bounds(self) -> tuple[np.ndarray, np.ndarray]:
        """Lowest and highest prior widths to try, (K,) each."""
        low, high = zip(*(parameter.bounds for parameter in self.parameters), strict=True)
        return np.array(low), np.array(high)

    def values(self, widths: ArrayLike) -> tuple[float, ...]:
        """Return the sizes, SI, rounded to what the text of a design holds."""
        pairs = zip(self.parameters, np.asarray(widths, dtype=float), strict=True)
        return tuple(parameter.at(float(width)) for parameter, width in pairs)

    def text(self, widths: ArrayLike) -> str:
        """Return the text of the design with these sizes."""
        return parameter_text(self.design, self.parameters, self.values(widths))

    def levels(self, widths: ArrayLike) -> np.ndarray | None:
        """(P, B) levels at these sizes, dB re 0 dB at 1 m; None if they cannot be built."""
        values = self.values(widths)
        if values not in self._known:
            self.evaluations += 1
            self._known[values] = self._solved(values, self._solver)
        return self._known[values]

    def levels_along(self, widths: np.ndarray, at: int, places: np.ndarray) -> np.ndarray:
        """(N, P, B) levels at these sizes with one of them, a frequency, at each of N values.

        Only motions of the cone differ: solved by waves they cost little more than one, and count
        as one evaluation. nan if they cannot be built.
        """
        tried = np.tile(widths, (len(places), 1))
        tried[:, at] = places
        every = [self.values(one) for one in tried]
        self.evaluations += any(values not in self._known for values in every)
        for n, values in enumerate(every):
            if values not in self._known:
                self._known[values] = self._solved(values, self._with_motions(every[n + 1 :]))
        unknown = np.full(self.measured.level_db.shape, np.nan)
        found = (self._known[values] for values in every)
        return np.array([unknown if levels is None else levels for levels in found])

    def built(self, widths: ArrayLike) -> np.ndarray:
        """(P, B) levels at sizes known to be buildable, dB; ValueError if they are not."""
        levels = self.levels(widths)
        if levels is None:
            raise ValueError("these sizes cannot be built: ask `levels` first")
        return levels

    def response(self, widths: ArrayLike) -> Response:
        """Return the solve behind `levels`, which must have been asked first."""
        return self._responses[self.values(widths)]

    def jacobian(self, widths: np.ndarray, *, both_sides: bool = False) -> np.ndarray:
        """(K, P, B) derivative of the levels by each size, dB for one prior width.

        One-sided differences, away from a bound and from what cannot be built; central ones if
        `both_sides` is set and both can be built. 0 where neither can.
        """
        return np.array(
            [self._derivative(widths, at, both_sides=both_sides) for at in range(len(widths))]
        )

    def finish(self) -> None:
        """Report the progress as complete: nothing more is solved."""
        if self._progress is not None:
            self._progress(FITTING, self._total, self._total)

    def _derivative(self, widths: np.ndarray, at: int, *, both_sides: bool) -> np.ndarray:
        low, high = self.bounds
        ends: list[tuple[float, np.ndarray]] = []
        for step in (STEP, -STEP):
            moved = np.array(widths, dtype=float)
            moved[at] = np.clip(moved[at] + step, low[at], high[at])
            way = moved[at] - widths[at]
            levels = self.levels(moved) if abs(way) >= 0.5 * STEP else None
            if levels is not None:
                ends.append((way, levels))
            if ends and not both_sides:
                break
        if not ends:
            return np.zeros(self.measured.level_db.shape)
        if len(ends) == 1:
            ends.append((0.0, self.built(widths)))
        (here, above), (there, below) = ends
        return (above - below) / (here - there)

    def _built(self, values: tuple[float, ...]) -> Design | None:
        text = parameter_text(self.design, self.parameters, values)
        try:
            return in_the_room(parse_design(text, self.design.path))
        except DesignError:
            return None

    def _with_motions(self, others: Sequence[tuple[float, ...]]) -> Solver:
        """Return the solver; that of waves finds the motions of others on the way."""
        designs = [] if given_to(self._solver) is None else map(self._built, others)
        ways = [design.ways for design in designs if design is not None]
        return partial(self._solver, also=ways) if ways else self._solver

    def _solved(self, values: tuple[float, ...], solver: Solver) -> np.ndarray | None:
        design = self._built(values)
        if design is None:
            return None
        assembly = design.assembly()
        if why_not(assembly, self.measured.positions):
            return None
        predicted = self._predict(
            design, assembly, self.measured.positions, solver, begin=self._begin
        )
        if self._begin is None:
            self._begin = predicted.begin
        self._responses[values] = predicted.response
        return predicted.level_db
