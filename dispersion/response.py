"""Response: what a solver found, with the problem and the settings that made it.

0 dB is the driver itself: cone, dust cap, frame and ways with their crossovers, flush in an endless
rigid baffle, straight ahead, far away, at the same distance (`dispersion.reference`). A curve
therefore reads as what column and reflector do to the driver's own on-axis curve, and says so of
the phase as well. A band value is the mean of |p|^2 over the band, over that of the driver alone:
what pink noise reads of both.

Methods that take the driver for a flat piston or a point have that, flush, as 0 dB.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from dispersion.bands import band_edges, band_means
from dispersion.problem import Problem
from dispersion.rational import Resonance
from dispersion.reference import Reference

SHARP_Q = 25.0
"""Poles with a lower Q are interference of a few paths, broader than a tenth of a third octave."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Settling:
    """How the frequencies of a response were chosen by need, and what came of it.

    Attributes
    ----------
    frequencies : (S,) array
        What was solved, Hz, ascending; all else is read from a fit through them.
    read : int
        How many of them were not solved for this design, but read between designs that differ
        from it in one size (`dispersion.neighbours`).
    within_db : float
        Doubt at which a band value has settled, dB.
    doubt_db : (B,) array
        Largest doubt of a band value that was to settle, by third-octave band, dB: one standard
        deviation as a rule.
    near_power : (B, P) array
        Band means of |p|^2 at the problem's points, all ways together.
    resonances : tuple of Resonance
        Poles near the real axis on which every fit agrees, ascending.
    foretold : (N,) array
        Errors of the fit at single frequencies, one in each third octave, solved to try it where
        that was asked for: over the rms value in the band, largest of the directions or points.
    """

    frequencies: np.ndarray = field(repr=False)
    within_db: float
    doubt_db: np.ndarray = field(repr=False)
    near_power: np.ndarray = field(repr=False)
    resonances: tuple[Resonance, ...]
    read: int = 0
    foretold: np.ndarray = field(default_factory=lambda: np.zeros(0), repr=False)

    @property
    def settled(self) -> np.ndarray:
        """(B,) bool: bands of which every wanted value has settled."""
        return self.doubt_db <= self.within_db


@dataclass(frozen=True, eq=False, kw_only=True)
class Response:
    """Complex pressure of one problem.

    Attributes
    ----------
    problem : Problem
    reference : Reference
        What 0 dB is.
    method : str
        Name of the solver in `dispersion.solvers.SOLVERS`.
    settings : mapping
        Settings of the solver by name, for the record.
    far_by_way : (W, F, E) complex array or None
        Far field of each way alone over rho A / (2 pi), A being the volume acceleration of its
        surface; phase referred to the middle of the baffle. None where it was let go
        (`without_far`).
    near_by_way : (W, F, P) complex array
        The same at the problem's points, over rho A / (2 pi r) at that point's distance from the
        middle of the baffle.
    power_error_db : (W, F) array
        Far-field power over power through the driven surface less what walls take; 0 when energy is
        kept. See
        `waves.balance_db` for what counts where next to none leaves.
    unknowns : (F,) array
        Size of the system solved at each frequency.
    arrived_by_way : (S, L, W, W) complex array or None
        Power at each of the problem's destinations by solved frequency, see `fields.Fields`. None
        where it is not known: by other methods, or read between other sizes.
    finer : (S,) array or None
        How many times finer the mesh was than asked for at each solved frequency: more than 1 where
        power did not balance. None where there is no mesh, or read between other sizes.
    account : str
        How a method without a power balance vouches for itself, in words; else empty.
    settling : Settling or None
        None where the problem's own frequencies were solved. Otherwise fields at the problem's
        frequencies are read from a fit, and power errors and unknowns, (W, S) and (S,), belong to
        the frequencies that were solved.
    """

    problem: Problem
    reference: Reference
    method: str
    settings: Mapping[str, float]
    far_by_way: np.ndarray | None = field(repr=False)
    near_by_way: np.ndarray = field(repr=False)
    power_error_db: np.ndarray = field(repr=False)
    unknowns: np.ndarray = field(repr=False)
    arrived_by_way: np.ndarray | None = field(default=None, repr=False)
    finer: np.ndarray | None = field(default=None, repr=False)
    account: str = ""
    settling: Settling | None = field(default=None, repr=False)

    @cached_property
    def transfer(self) -> np.ndarray:
        """(W, F) what crossover, level and driver curve make of each way, re the driver alone."""
        return self.reference.transfer(self.problem.frequencies)

    @cached_property
    def alone(self) -> np.ndarray:
        """(F,) the driver alone, what 0 dB is, over rho A / (2 pi); its curve where it has one."""
        return self.reference.alone(self.problem.frequencies)

    def band_means(self, power: np.ndarray) -> np.ndarray:
        """(B, ...) band values of |p|^2 re 0 dB at the problem's frequencies, (F, ...)."""
        return band_means(self.problem.frequencies, power, np.abs(self.alone) ** 2)[1]

    def without_far(self) -> Response:
        """Return all but the far field, which is nearly all of the memory."""
        return replace(self, far_by_way=None)

    @property
    def solved_frequencies(self) -> np.ndarray:
        """(S,) frequencies that were solved, Hz, ascending."""
        return self.problem.frequencies if self.settling is None else self.settling.frequencies

    @property
    def sharp_resonances(self) -> tuple[Resonance, ...]:
        """Resonances of `SHARP_Q` or more, ascending; none where frequencies lay on a grid."""
        found = () if self.settling is None else self.settling.resonances
        return tuple(one for one in found if one.q >= SHARP_Q)

    @property
    def far_of_each(self) -> np.ndarray:
        """(W, F, E) far field of each way; ValueError if it was let go."""
        if self.far_by_way is None:
            raise ValueError("the far field of this response was let go: solve it again")
        return self.far_by_way

    @cached_property
    def far(self) -> np.ndarray:
        """(F, E) far field of all ways together re 0 dB."""
        return np.einsum("wf,wfe->fe", self.transfer, self.far_of_each)

    @cached_property
    def near(self) -> np.ndarray:
        """(F, P) pressure at the problem's points re 0 dB there, all ways together."""
        return np.einsum("wf,wfp->fp", self.transfer, self.near_by_way)

    @property
    def power(self) -> np.ndarray:
        """(F, E) squared magnitude of the far field."""
        return np.abs(self.far) ** 2

    def shares_of_power(self, centres: np.ndarray) -> np.ndarray | None:
        """Share of the power that arrives at each destination, all ways together.

        Parameters
        ----------
        centres : (B,) array
            Exact centres of third-octave bands, Hz.

        Returns
        -------
        (B, L) array or None
            Of the problem's destinations, each band adding up to 1; power is linear in the
            logarithm of frequency between those solved. None where it is not known.
        """
        if self.arrived_by_way is None:
            return None
        f = self.solved_frequencies
        drive = self.reference.drive(f)
        each = np.einsum("wf,flwv,vf->fl", drive, self.arrived_by_way, drive.conj()).real
        edges = zip(*band_edges(centres), strict=True)
        means = np.array([_mean_between(f, each, low, high) for low, high in edges])
        return means / means.sum(axis=1, keepdims=True)

    @property
    def worst_power_error_db(self) -> float:
        """Largest imbalance of power, in dB, over ways and frequencies; inf if any is no number."""
        return float(np.nan_to_num(np.abs(self.power_error_db), nan=np.inf).max())


def arrived_in(
    responses: Sequence[Response], order: np.ndarray | slice = slice(None)
) -> np.ndarray | None:
    """Return `arrived_by_way` of several responses to one problem; None if one has none."""
    each = [one.arrived_by_way for one in responses if one.arrived_by_way is not None]
    return np.concatenate(each)[order] if len(each) == len(responses) else None


def finer_in(responses: Sequence[Response], order: np.ndarray | slice = slice(None)) -> np.ndarray:
    """Return `finer` of several responses to one problem, 1 where it is not known."""
    return np.concatenate(
        [np.ones(len(one.unknowns)) if one.finer is None else one.finer for one in responses]
    )[order]


def _mean_between(f: np.ndarray, values: np.ndarray, low: float, high: float) -> np.ndarray:
    """Mean of values (S, L) at frequencies over the logarithm of frequency from low to high."""
    inside = f[(f > low) & (f < high)]
    at = np.log(np.concatenate(([low], inside, [high])))
    along = np.array([np.interp(at, np.log(f), column) for column in values.T])
    return np.trapezoid(along, at, axis=1) / (at[-1] - at[0])
