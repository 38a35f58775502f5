"""What nobody knows of the driver, one thing at a time: the ranges of the ensemble, end to end.

The same list by which `trim`, `gap`, `contest` and `meter` judge (`studies.solving.members`), or
two standard deviations either way of what a fit left of it. No workshop holds any of it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial

from shapes.assembly import Assembly
from shapes.parts import DustCap
from studies.design import Design
from studies.design.fit_table import (
    CAP_HEIGHT,
    CONE_DEPTH,
    CONE_LOSS,
    EFFECTIVE_DIAMETER,
    SHRINK_FREQUENCY,
)
from studies.design.moves import PER_CENT, Leeway, Unit
from studies.questions.tolerance.sensitivity import Sensitivity
from studies.solving.candidates import Candidate, Row
from studies.solving.grid import Fineness, Progress, Solver, run
from studies.solving.members import (
    ADMITTANCE,
    CAP,
    DEPTH,
    DIAMETER,
    LETS_GO_HZ,
    WAVE_SPEED,
    Build,
    Motion,
    surely_found,
    ways_of,
    with_cone,
)

STAGE = "what nobody knows of the driver"
OCTAVE = Unit("octave", 1.0, "octaves", 1.0)
HUNDRED_M_S = Unit("100 m/s", 100.0, "m/s", 1.0)
AS_WRITTEN = Build(diameter=1.0, depth=1.0, cap=1.0, admittance=0.0, gap=0.0, keep=0.0)


@dataclass(frozen=True)
class _Unknown:
    """Something nobody knows, with the design at either end of what it may be."""

    leeway: Leeway
    minus: tuple[Design, Assembly]
    plus: tuple[Design, Assembly]


def unknowns_of(
    design: Design,
    nominal: Row,
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None = None,
) -> tuple[Sensitivity, ...]:
    """Move everything that nobody knows of the driver alone, to either end of what it may be.

    Parameters
    ----------
    design : Design
    nominal : Row
        As written.
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    fineness : int or ByNeed
    progress : callable, optional
        Called with (stage, done, total) solves of one frequency.

    Returns
    -------
    tuple of Sensitivity
        The most costly first; none for quick methods, which know no cone.
    """
    if nominal.response.method != "waves":
        return ()
    asked = [*_sizes(design, nominal.assembly), *_losses(design, nominal.assembly)]
    asked += _motions(design, nominal.assembly)
    begin = {nominal.assembly: nominal.response.solved_frequencies}

    def solve(end: tuple[Design, Assembly]) -> Row:
        there, assembly = end
        started = {assembly: begin[nominal.assembly]}
        candidate = Candidate("", partial(_itself, assembly))
        (row,) = run(
            there, [candidate], solver, fineness, STAGE, progress,
            settle_seats=True, started=started,
        )  # fmt: skip
        return row

    found = [Sensitivity(one.leeway, nominal, solve(one.minus), solve(one.plus)) for one in asked]
    return tuple(sorted(found, key=lambda one: (-round(one.cost_db, 2), -one.curve_rms_db)))


def _sizes(design: Design, assembly: Assembly) -> Iterator[_Unknown]:
    """Diameter, depth and dust cap: shares of what is written."""
    driver = assembly.driver
    sizes = [(EFFECTIVE_DIAMETER, "diameter", 2.0 * driver.effective_radius, DIAMETER)]
    if driver.cone_depth:
        sizes.append((CONE_DEPTH, "depth", driver.cone_depth, DEPTH))
    if isinstance(driver.centre, DustCap):
        sizes.append((CAP_HEIGHT, "cap", driver.centre.height, CAP))
    for name, field, written, share in sizes:
        ends = (1.0 - share, 1.0 + share)
        if design.known is not None and name in surely_found(design):
            low, high = design.known.range_of(name)
            ends = (low / written, high / written)
        yield _share(design, assembly, name, field, ends)


def _share(
    design: Design, assembly: Assembly, name: str, field: str, ends: tuple[float, float]
) -> _Unknown:
    minus, plus = (
        replace(assembly, driver=replace(AS_WRITTEN, **{field: end}).driver(assembly.driver))
        for end in ends
    )
    leeway = Leeway(name, PER_CENT, 1.0 - ends[0], ends[1] - 1.0)
    return _Unknown(leeway, (design, minus), (design, plus))


def _losses(design: Design, assembly: Assembly) -> Iterator[_Unknown]:
    """What the cone takes; nothing where the file says it."""
    known = design.known
    low, high = 0.0, ADMITTANCE
    if known is not None and CONE_LOSS in surely_found(design):
        low, high = known.range_of(CONE_LOSS)
    minus, plus = (
        with_cone(design, replace(AS_WRITTEN, admittance=max(end, 0.0))) for end in (low, high)
    )
    if plus is not design:
        leeway = Leeway("cone's loss", PER_CENT, 0.0, high)
        yield _Unknown(leeway, (minus, assembly), (plus, assembly))


def _motions(design: Design, assembly: Assembly) -> Iterator[_Unknown]:
    """Where the cone lets go, or how fast its motion runs outwards."""
    known, written = design.known, design.tables.driver.lets_go_hz
    low, high = LETS_GO_HZ
    surely = SHRINK_FREQUENCY in surely_found(design)
    if known is not None and surely:
        low, high = known.range_of(SHRINK_FREQUENCY)

    def moving(lets_go: float | None, wave: float | None) -> tuple[Design, Assembly]:
        warm = design.air.temperature_c
        motion = Motion(lets_go_hz=lets_go, wave_speed=wave, temperature=warm)
        return replace(design, ways=ways_of(design, motion)), assembly

    down, up = max(math.log2(written / low), 0.0), max(math.log2(high / written), 0.0)
    rigid = high if surely else math.inf
    leeway = Leeway("where the cone lets go", OCTAVE, down, up)
    yield _Unknown(leeway, moving(low, None), moving(rigid, None))
    if not surely:
        slow, fast = WAVE_SPEED
        leeway = Leeway("wave in the cone", HUNDRED_M_S, 0.5 * (fast - slow), 0.5 * (fast - slow))
        yield _Unknown(leeway, moving(None, slow), moving(None, fast))


def _itself(assembly: Assembly) -> Assembly:
    return assembly
