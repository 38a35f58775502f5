"""Candidates that differ in one size: their first frequencies, solved for some, read for others."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from dispersion.neighbours import LEAST_MEMBERS, Begun, read_between
from dispersion.problem import Problem
from dispersion.rational import Complex
from dispersion.response import Response, arrived_in, finer_in
from dispersion.settling import first_frequencies, window_and_points
from dispersion.windows import column_weights
from studies.solving.processes import Advance, Each, Solve

PARTS = 8
"""Pieces of work that the frequencies of a line are handed out in."""
READ_WITHIN = 0.005
"""Doubt of a response that is read between neighbours, over its size in the window: 0.04 dB."""


@dataclass(frozen=True)
class PlaceInLine:
    """Where a candidate stands among others that differ from it in one size.

    Attributes
    ----------
    line : hashable
        The same for all of them.
    size : float
        The size, metres.
    """

    line: Hashable
    size: float


@dataclass(frozen=True, eq=False)
class _Found:
    """The members of a line at one frequency, and which of them were solved."""

    responses: tuple[Response, ...]
    solved: np.ndarray


def begin_lines(
    problems: Mapping[PlaceInLine, Problem],
    window: tuple[float, float],
    each: Each,
) -> dict[PlaceInLine, Begun]:
    """Solve or read the first frequencies of every candidate of lines that are long enough.

    Parameters
    ----------
    problems : mapping of PlaceInLine to Problem
        The candidates, of one band, air and number of ways.
    window : (float, float)
        Elevations that count, degrees.
    each : callable
        See `studies.solving.processes.Each`; its solver is the wave solver, and it counts the
        candidates whenever one frequency of a line is done.

    Returns
    -------
    dict of PlaceInLine to Begun
        Without the candidates of lines shorter than `LEAST_MEMBERS`.

    Raises
    ------
    ValueError
        If the solver refuses one of them.
    """
    lines = [line for line in _lines(problems) if len(line) >= LEAST_MEMBERS]
    if not lines:
        return {}
    band = problems[lines[0][0]].frequencies
    frequencies = first_frequencies(float(band[0]), float(band[-1]))

    # The highest first, whose systems are the largest; all lines together, which share the column.
    parts = [frequencies[::-1][first::PARTS] for first in range(PARTS)]
    tasks = [(part, line) for part in parts if len(part) for line in lines]
    members = [[problems[at] for at in line] for _, line in tasks]
    sizes = [[at.size for at in line] for _, line in tasks]
    at_each = partial(_at_frequencies, window=window)
    found = each(at_each, sizes, members, [part for part, _ in tasks])
    of_line: dict[tuple[PlaceInLine, ...], dict[float, _Found]] = {line: {} for line in lines}
    for (part, line), solved in zip(tasks, found, strict=True):
        of_line[line] |= zip(part, solved, strict=True)
    return {
        at: _joined([of_line[line][frequency] for frequency in frequencies], place)
        for line in lines
        for place, at in enumerate(line)
    }


def _lines(places: Iterable[PlaceInLine]) -> list[tuple[PlaceInLine, ...]]:
    lines: dict[Hashable, list[PlaceInLine]] = {}
    for at in places:
        lines.setdefault(at.line, []).append(at)
    return [tuple(sorted(line, key=lambda at: at.size)) for line in lines.values()]


def _at_frequencies(
    solver: Solve,
    advance: Advance,
    sizes: Sequence[float],
    members: Sequence[Problem],
    frequencies: np.ndarray,
    *,
    window: tuple[float, float],
) -> list[_Found]:
    """The members of one line at each of some frequencies."""
    found = []
    for frequency in frequencies:
        here = [replace(member, frequencies=np.array([frequency])) for member in members]
        found.append(_at_one_frequency(sizes, here, window, solver))
        advance(len(members))
    return found


def _at_one_frequency(
    sizes: Sequence[float],
    members: Sequence[Problem],
    window: tuple[float, float],
    solver: Solve,
) -> _Found:
    solved: dict[int, Response] = {}

    def solve(place: int) -> Complex:
        solved[place] = solver(members[place])
        return _columns(solved[place])

    first = members[0]
    weights = np.tile(column_weights(window_and_points(first, window)), len(first.ways))
    wavenumber = 2.0 * np.pi * float(first.frequencies[0]) / first.air.speed
    between = read_between(np.array(sizes), wavenumber, solve, weights, within=READ_WITHIN)
    worst = np.abs([response.power_error_db for response in solved.values()]).max(axis=0)
    largest = np.max([response.unknowns for response in solved.values()], axis=0)
    pattern = next(iter(solved.values()))
    directions = len(first.elevations)

    def read(place: int) -> Response:
        columns = between.values[place].reshape(len(first.ways), 1, -1)
        return replace(
            pattern,
            problem=members[place],
            far_by_way=columns[:, :, :directions],
            near_by_way=columns[:, :, directions:],
            power_error_db=worst,
            unknowns=largest,
            arrived_by_way=None,
            finer=None,
        )

    responses = [solved[n] if n in solved else read(n) for n in range(len(members))]
    return _Found(tuple(responses), between.solved)


def _columns(response: Response) -> Complex:
    """(W (E + P),) pressure of every way at the directions and points of a single frequency."""
    return np.concatenate((response.far_of_each, response.near_by_way), axis=2).ravel()


def _joined(found: Sequence[_Found], place: int) -> Begun:
    """One member at all frequencies."""
    each = [one.responses[place] for one in found]
    frequencies = np.concatenate([one.problem.frequencies for one in each])
    response = replace(
        each[0],
        problem=replace(each[0].problem, frequencies=frequencies),
        far_by_way=np.concatenate([one.far_of_each for one in each], axis=1),
        near_by_way=np.concatenate([one.near_by_way for one in each], axis=1),
        power_error_db=np.concatenate([one.power_error_db for one in each], axis=1),
        unknowns=np.concatenate([one.unknowns for one in each]),
        arrived_by_way=arrived_in(each),
        finer=finer_in(each),
    )
    return Begun(response=response, read=sum(not one.solved[place] for one in found))
