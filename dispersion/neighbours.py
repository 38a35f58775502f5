"""Many designs that differ in one size: solve some of them, and read the others between.

At one frequency the response of a design moves smoothly with a size such as the height of a cap,
and has poles in it where a resonance passes: the same many-column rational fit that serves
frequency (`dispersion.rational`) serves the size. Several fits leave other members out of their
support; where they differ, a member is missing, and is solved.

The example's ball, 41 heights from 15 to 55 mm, at the 42 frequencies to begin with: 632 of 1722
solved where fits differ by 0.5 per cent at most, over the coaxial driver 591. What was read between
was off by 0.4 and 0.2 per cent of the response in the window (rms over frequencies of the worst
height), by 1.4 and 0.6 per cent at worst. Up to 2.2 kHz six or seven heights are enough, at 8.5 kHz
18, at 16 kHz 33: some 18 for each wavelength that the size spans, since sound passes the gap
several times. A cubic spline through every second height is off by 9 per cent at 6.8 kHz (median of
the heights between). Taking the phase of a common path off first, k times the size, changed the
number of solves by less than 3 per cent for either sign, and was left out. Hard walls throughout.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from dispersion.rational import Complex, Real, compressed, fit_compressed
from dispersion.response import Response

LEAST_MEMBERS = 7
"""Fewer designs than this are all solved."""
BEGIN, BEGIN_PER_RADIAN = 4.0, 1.5
"""Members solved to begin with: so many, and so many more for each radian of phase (k times the
range of the size)."""
FOLDS = 4
"""Fits, each with another quarter of the solved members left out of its support."""
MORE = 0.1
"""Share of the members solved so far that is added in a round."""
WEAK = 0.3
"""Misfits count against the response of the member itself, or this share of the rms of all."""

SolveMember = Callable[[int], Complex]
"""(number of a member) -> (K,) its complex pressure at one frequency, column by column."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Neighbours:
    """Responses of all members at one frequency.

    Attributes
    ----------
    values : (N, K) complex array
        Solved, or read between those that were.
    solved : (N,) bool array
    doubt : (N,) array
        Largest misfit between the fits over the response, rms over the columns that count; 0 where
        a member was solved.
    """

    values: Complex = field(repr=False)
    solved: np.ndarray
    doubt: Real


def read_between(
    sizes: Real, wavenumber: float, solve: SolveMember, columns: Real, *, within: float
) -> Neighbours:
    """Solve as many members as it takes to read all others between them.

    Parameters
    ----------
    sizes : (N,) array
        The size in which they differ, metres, ascending.
    wavenumber : float
        rad/m.
    solve : callable
        See `SolveMember`; called once for a member, not for all.
    columns : (K,) array
        Weight of each column in the choice of poles and in the doubt.
    within : float
        Doubt below which a member need not be solved, over its response.
    """
    count = len(sizes)
    span = wavenumber * (sizes[-1] - sizes[0])
    begin = min(count, max(LEAST_MEMBERS - 1, int(np.ceil(BEGIN + BEGIN_PER_RADIAN * span))))
    values = np.zeros((count, len(columns)), dtype=complex)
    solved, doubt = np.zeros(count, dtype=bool), np.full(count, np.inf)
    new = np.unique(np.round(np.linspace(0, count - 1, begin)).astype(int))
    while len(new):
        for member in new:
            values[member] = solve(int(member))
        solved[new] = True
        doubt = np.zeros(count)
        if not solved.all():
            values[~solved], doubt[~solved] = _read(sizes, values, solved, columns)
        new = _next(doubt, within, max(1, int(MORE * solved.sum())))
    return Neighbours(values=values, solved=solved, doubt=doubt)


def _read(sizes: Real, values: Complex, solved: np.ndarray, columns: Real) -> tuple[Complex, Real]:
    """Median of the fits at the members that are not solved, and their misfit about it."""
    here, known = sizes[solved], values[solved]
    few = compressed(known * columns)
    folds = [np.arange(1 + fold, len(here) - 1, FOLDS) for fold in range(FOLDS)]
    fits = [fit_compressed(here, known, few, fold, 0.0) for fold in folds if len(fold)]
    each = np.array([fit.at(sizes[~solved]) for fit in fits])
    middle = np.median(each.real, axis=0) + 1j * np.median(each.imag, axis=0)
    misfit = np.linalg.norm((each - middle) * columns, axis=2).max(axis=0)
    usual = WEAK * np.linalg.norm(known * columns) / np.sqrt(len(known))
    return middle, misfit / np.maximum(np.linalg.norm(middle * columns, axis=1), usual)


def _next(doubt: Real, within: float, most: int) -> np.ndarray:
    """Members to solve next: the most doubtful, no two beside each other."""
    left, new = np.where(doubt > within, doubt, 0.0), list[int]()
    while len(new) < most and left.any():
        new.append(int(np.argmax(left)))
        left[max(new[-1] - 1, 0) : new[-1] + 2] = 0.0
    return np.array(sorted(new), dtype=int)


@dataclass(frozen=True, eq=False, kw_only=True)
class Begun:
    """First frequencies of one design of a line.

    Attributes
    ----------
    response : Response
        Power errors and unknowns of what was read are the largest of the designs it was read from.
    read : int
        Frequencies that were read between neighbours.
    """

    response: Response
    read: int
