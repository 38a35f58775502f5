"""Does a ring of felt pay, where, and how wide?

The best ring in each place, and the design without, are asked of every driver and build that the
file may stand for (`studies.solving.ensemble`): felt pays only where these bear it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np

from dispersion.absorbers import PorousLayer
from dispersion.bands import octaves_of
from shapes.assembly import Assembly, FeltRing
from shapes.lengths import INCH, in_own
from shapes.parts import FeltBand
from studies.design import Design, DesignError, Mistake
from studies.design.walls_table import FELT_PIECES, FELT_RESISTIVITY
from studies.solving.candidates import Candidate, Row, winner_of
from studies.solving.ensemble import Judged, judge, say_so_far
from studies.solving.grid import (
    COARSE_PER_BAND,
    Fineness,
    Progress,
    Solver,
    leaders_fineness,
    run,
    score_doubt_db,
    solve_again,
)
from studies.solving.ranking import to_rank
from studies.solving.target import NO_DIFFERENCE_DB
from studies.solving.verdicts import Lead, compared

NO_FELT, ON_BAFFLE, UNDER_PLATE, BOTH = "none", "baffle", "plate", "both"
PLACES = (ON_BAFFLE, UNDER_PLATE, BOTH)
IN_WORDS = {
    ON_BAFFLE: "on the baffle",
    UNDER_PLATE: "under the plate",
    BOTH: "on baffle and plate",
}
SHARES = (1.0 / 3.0, 2.0 / 3.0, 1.0)
"""Widths that are tried: shares of the free flat, from frame or reflector outwards."""
THICKNESSES = {"mm": (5e-3, 10e-3), "in": (3 / 16 * INCH, 3 / 8 * INCH)}
"""That shops sell, m, by the unit of the design: common practice, no source."""
LEAST_WIDTH = 5e-3
"""Narrower rings are not worth cutting, m."""


@dataclass(frozen=True, eq=False)
class FeltChoice:
    """One way to lay felt as a candidate.

    Attributes
    ----------
    place : str
        `NO_FELT` or one of `PLACES`.
    share : float
        Of the free flat that is covered, 0 to 1.
    thickness : float
        m; 0 without felt.
    row : Row
        Its geometry, solution and score.
    """

    place: str
    share: float
    thickness: float
    row: Row

    @property
    def widths(self) -> tuple[float, float]:
        """Width of the ring on the baffle and of that under the plate, m; 0 where there is none."""
        built = self.row.drawn
        rings = (None, None) if built is None else (built.baffle_felt, built.plate_felt)
        on_baffle, under_plate = (0.0 if ring is None else ring.width for ring in rings)
        return on_baffle, under_plate

    @property
    def width(self) -> float:
        """Of both rings together, m."""
        return sum(self.widths)

    @property
    def amount(self) -> float:
        """Volume of felt, m3: what there is to buy, cut and glue."""
        rings = (self.row.assembly.baffle_felt, self.row.assembly.plate_felt)
        return sum(ring.area * ring.thickness for ring in rings if ring is not None)


@dataclass(frozen=True)
class OctaveLoss:
    """What felt takes from an octave (centre in Hz): of the window's level, of the power, dB."""

    centre: float
    window_db: float
    power_db: float


@dataclass(frozen=True, eq=False)
class FeltStudy:
    """Whether felt pays, with everything that was compared.

    Attributes
    ----------
    design : Design
    choices : tuple of FeltChoice
        Without felt first; solved or not.
    flow_resistivity : float
        Of the felt, Pa s/m2.
    judged : Judged or None
        The best in each place and none, in every driver and build; None if not asked.
    """

    design: Design
    choices: tuple[FeltChoice, ...]
    flow_resistivity: float
    judged: Judged | None = None

    @property
    def bare(self) -> FeltChoice:
        """The design without felt."""
        return self.choices[0]

    @property
    def solved(self) -> tuple[FeltChoice, ...]:
        """Every choice that was solved: those solved most finely first, lowest score first."""
        there = (choice for choice in self.choices if choice.row.solved)
        return tuple(sorted(there, key=lambda choice: (-choice.row.per_band, choice.row.score)))

    @cached_property
    def best(self) -> FeltChoice:
        """The lowest score of all, felt or none; NotSolvedError if none was solved."""
        winner = winner_of([choice.row for choice in self.choices])
        return next(choice for choice in self.choices if choice.row is winner)

    @property
    def best_felt(self) -> FeltChoice | None:
        """The felt of least regret, or lowest score; None if no felt could be laid."""
        judged, felts = self.judged, [one for one in self.solved if one.place != NO_FELT]
        if judged is not None:
            known = [one for one in felts if judged.knows(one.row)]
            return min(known, key=lambda one: judged.regret_of(one.row), default=None)
        return next(iter(felts), None)

    def gain(self, choice: FeltChoice) -> Lead:
        """Compare a felt with none: in every driver and build if both were judged."""
        judged, bare = self.judged, self.bare.row
        if judged is not None and judged.knows(choice.row):
            return judged.compare(choice.row, bare)
        return compared(bare.score - choice.row.score)

    @property
    def gain_db(self) -> float:
        """What the best felt gains over none, dB; below zero if felt only costs."""
        felt = self.best_felt
        return -math.inf if felt is None else self.gain(felt).lead_db

    @property
    def pays(self) -> bool:
        """True if felt gains, probably at least."""
        felt = self.best_felt
        return felt is not None and self.gain(felt).gains

    @property
    def chosen(self) -> FeltChoice:
        """What is recommended: the best felt where it pays, else none."""
        felt = self.best_felt
        return felt if felt is not None and self.pays else self.bare

    @property
    def least(self) -> FeltChoice | None:
        """The least felt that is near-best and better than none; None where felt does not pay."""
        felt = self.best_felt
        if felt is None or not self.pays:
            return None
        near_best = felt.row.score + self.design.target.near_best_db
        better = self.bare.row.score - NO_DIFFERENCE_DB
        limit = max(felt.row.score, min(near_best, better))
        good = [c for c in self.solved if c.place != NO_FELT and c.row.score <= limit]
        finest = [choice for choice in good if choice.row.per_band == felt.row.per_band]
        return min(finest, key=lambda choice: choice.amount)

    def best_in(self, place: str) -> FeltChoice | None:
        """Return the lowest score in one place; None if no felt could be laid there."""
        return next((choice for choice in self.solved if choice.place == place), None)

    @property
    def best_of_each(self) -> tuple[FeltChoice, ...]:
        """Without felt, then the best in each place where felt could be laid."""
        found = (self.best_in(place) for place in PLACES)
        return (self.bare, *(choice for choice in found if choice is not None))

    def window_change_db(self, choice: FeltChoice) -> np.ndarray:
        """(B,) window level with felt less that without, by third octave, dB."""
        return choice.row.coverage.window_level_db - self.bare.row.coverage.window_level_db

    def power_change_db(self, choice: FeltChoice) -> np.ndarray:
        """(B,) sound power with felt less that without, by third octave, dB."""
        return choice.row.coverage.sound_power_db - self.bare.row.coverage.sound_power_db

    def lost_by_octave(self, choice: FeltChoice) -> tuple[OctaveLoss, ...]:
        """What felt takes from each octave: of the mean power of its third octaves in the band."""
        after, before = choice.row.coverage, self.bare.row.coverage
        return tuple(
            OctaveLoss(
                centre,
                _mean_db(before.window_level_db[own]) - _mean_db(after.window_level_db[own]),
                _mean_db(before.sound_power_db[own]) - _mean_db(after.sound_power_db[own]),
            )
            for centre, own in octaves_of(before.centres)
        )

    def mean_lost_db(self, choice: FeltChoice) -> float:
        """Mean window level lost, over the band, dB."""
        before, after = (c.row.coverage.mean_window_level_db for c in (self.bare, choice))
        return float(before - after)


def felt(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    fineness: Fineness = COARSE_PER_BAND,
    *,
    ensemble: bool = False,
) -> FeltStudy:
    """Solve the design without felt and with felt in each place, width and thickness.

    Where the design has felt already, its resistivity is taken; the leaders are solved again more
    finely.

    Parameters
    ----------
    design : Design
    solver : callable
        The wave solver: other methods know no felt.
    progress : callable, optional
        Called with (stage, done, total).
    fineness : int or ByNeed
        Frequencies in a third-octave band, four or more, or as many as it takes.
    ensemble : bool
        Ask every driver and build that the file may stand for.

    Raises
    ------
    DesignError
        If losses are switched off, or the design without felt cannot be solved.
    """
    if design.walls.rigid:
        message = 'losses = "none" switches felt off too: leave it out'
        raise DesignError(design.path, (Mistake("walls.losses", message),))
    # The rings of the example: scores as with the whole column within 0.05 dB (0.15 one of 19), in
    # 0.38 of the processor time (one run each, beside other work).
    solver = to_rank(solver, fineness)
    resistivity = _resistivity(design)
    bare = design.assembly().with_felt(None, None)
    alone = [Candidate("no felt", lambda: bare)]
    none = run(design, alone, solver, fineness, "no felt", progress)
    if not none[0].solved:
        message = f"the design without felt cannot be solved: {none[0].reason}"
        raise DesignError(design.path, (Mistake("", message),))
    choices = [FeltChoice(NO_FELT, 0.0, 0.0, none[0])]
    for thickness in THICKNESSES[design.unit]:
        asked = [(place, share) for place in PLACES for share in SHARES]
        candidates = [_candidate(bare, place, share, thickness) for place, share in asked]
        walled, stage = _walled(design, thickness, resistivity), f"felt {in_own(thickness)}"
        rows = run(walled, candidates, solver, fineness, stage, progress)
        choices += [
            FeltChoice(place, share, thickness, row)
            for (place, share), row in zip(asked, rows, strict=True)
        ]
    settled = _settled(design, choices, solver, fineness, progress, resistivity)
    found = FeltStudy(design, settled, resistivity)
    return replace(found, judged=_judged(found, solver, fineness, progress)) if ensemble else found


def _judged(
    found: FeltStudy, solver: Solver, fineness: Fineness, progress: Progress | None
) -> Judged | None:
    """The best in each place and none, in every driver and build, each with its own felt."""
    say_so_far(progress, found.best.row)
    judged: Judged | None = None
    for thickness in dict.fromkeys(one.thickness for one in found.best_of_each):
        walled = found.design
        if thickness:
            walled = _walled(walled, thickness, found.flow_resistivity)
        rows = [one.row for one in found.best_of_each if one.thickness == thickness]
        some = judge(walled, rows, solver, fineness, progress)
        judged = some if judged is None else judged.joined(some)
    return judged


def _settled(
    design: Design,
    choices: Sequence[FeltChoice],
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None,
    resistivity: float,
) -> tuple[FeltChoice, ...]:
    """Leaders, the best in each place and the design without felt, solved again more finely."""
    first = FeltStudy(design, tuple(choices), resistivity)
    limit = first.best.row.score + design.target.near_best_db + score_doubt_db(fineness)
    named = {id(choice) for choice in first.best_of_each}
    again: dict[int, FeltChoice] = {}
    for thickness in (0.0, *THICKNESSES[design.unit]):
        leaders = [
            choice
            for choice in choices
            if choice.thickness == thickness and (choice.row.score <= limit or id(choice) in named)
        ]
        walled = _walled(design, thickness, resistivity) if thickness else design
        fine = leaders_fineness(fineness)
        rows = solve_again(walled, [choice.row for choice in leaders], solver, fine, progress)
        again |= {id(c): replace(c, row=row) for c, row in zip(leaders, rows, strict=True)}
    return tuple(again.get(id(choice), choice) for choice in choices)


def _resistivity(design: Design) -> float:
    """Of the felt that the design has, else the usual, Pa s/m2."""
    covered = dict(design.walls.absorbers)
    for label in FELT_PIECES.values():
        if isinstance(layer := covered.get(label), PorousLayer):
            return layer.flow_resistivity
    return FELT_RESISTIVITY


def _walled(design: Design, thickness: float, resistivity: float) -> Design:
    """The design with felt of one thickness wherever felt is laid."""
    layer = PorousLayer(thickness, resistivity)
    return design.with_absorbers(dict.fromkeys(FELT_PIECES.values(), layer))


def _candidate(bare: Assembly, place: str, share: float, thickness: float) -> Candidate:
    name = f"{in_own(thickness)} felt {IN_WORDS[place]}, {round(100 * share)} % of the flat"
    return Candidate(name, partial(laid, bare, place, share, thickness))


def laid(bare: Assembly, place: str, share: float, thickness: float) -> Assembly:
    """Return the assembly with felt over a share of the free flat, from its inner edge outwards.

    Parameters
    ----------
    bare : Assembly
        Without felt.
    place : str
        One of `PLACES`.
    share : float
        Of the free flat, 0 to 1.
    thickness : float
        m.

    Raises
    ------
    ValueError
        If there is no room for a ring worth cutting.
    """
    whole = FeltRing(thickness)
    felted = bare.with_felt(
        whole if place in (ON_BAFFLE, BOTH) else None,
        whole if place in (UNDER_PLATE, BOTH) else None,
    )
    return bare.with_felt(
        _narrowed(felted.felt_on_baffle, felted.baffle_felt, share),
        _narrowed(felted.felt_under_plate, felted.plate_felt, share),
    )


def _narrowed(asked: FeltRing | None, free: FeltBand | None, share: float) -> FeltRing | None:
    """A share of a ring that covers the free flat, to whole millimetres; None if none is asked."""
    if asked is None:
        return None
    room = 0.0 if free is None else free.width
    width = room if share == 1.0 else round(room * share, 3)
    if free is None or width < LEAST_WIDTH:
        raise ValueError(f"{in_own(room)} of free flat leave no room for such a ring")
    return FeltRing(asked.thickness, outer_radius=free.inner + width)


def _mean_db(levels: np.ndarray) -> float:
    return float(10.0 * np.log10(np.mean(10.0 ** (levels / 10.0))))
