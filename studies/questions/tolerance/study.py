"""What does a millimetre cost? Every size moved a little, alone and all at once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from dispersion.paths.rays import meaningful_above_hz
from studies.design import Design
from studies.design.moves import FIVE_KELVIN, dimensions_of
from studies.questions.tolerance.askew import Askew, hung_askew, solved_askew
from studies.questions.tolerance.batch import Batch
from studies.questions.tolerance.sensitivity import Sensitivity, one_at_a_time
from studies.questions.tolerance.speakers import drawn_batch
from studies.questions.tolerance.unknowns import unknowns_of
from studies.solving.candidates import Row
from studies.solving.ensemble import judge
from studies.solving.grid import FINE_PER_BAND, Fineness, Progress, Solver
from studies.solving.ranking import to_rank
from studies.solving.target import NO_DIFFERENCE_DB
from studies.solving.verdicts import Lead, Verdict

SAMPLES, MOST_SAMPLES, SEED = 32, 4096, 5
MOST_JUDGED = 3
"""Sizes of the workshop that are asked of every driver and build, the most costly: each takes as
long as moving a dozen."""


class SampleError(ValueError):
    """The number of speakers of a batch is not a power of two from 2 to `MOST_SAMPLES`."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Tolerance:
    """What small errors of every size do to a design: answer of `roundcast tolerance`.

    Attributes
    ----------
    design : Design
    nominal : Row
        The design as written.
    sizes : tuple of Sensitivity
        Each size moved alone: what cannot be built first, then the most costly.
    askew : tuple of Askew
        Off-centre and tilt, by rays or solved; empty where rays mean nothing, or nothing hangs.
    meaningful_above_hz : float
        Below this frequency rays mean nothing.
    batch : Batch
        All sizes off at once; without off-centre, tilt and what nobody knows of the driver.
    unknowns : tuple of Sensitivity
        What nobody knows of the driver, each moved alone; the most costly first.
    leads : mapping of str to Lead
        Of the sizes of the workshop that cost most, by name: the design as written against the
        worse end, over the drivers and builds that the file may stand for.
    """

    design: Design
    nominal: Row
    sizes: tuple[Sensitivity, ...]
    askew: tuple[Askew, ...]
    meaningful_above_hz: float
    batch: Batch
    unknowns: tuple[Sensitivity, ...] = ()
    leads: Mapping[str, Lead] = field(default_factory=dict)

    @property
    def worst_lead(self) -> Lead | None:
        """That of the most costly size; None where it was not asked."""
        return self.leads.get(self.worst.dimension.name)

    def verdict_of(self, size: Sensitivity) -> Verdict | Literal["turned round", "not asked"]:
        """Whether a size costs anything; turned round where it pays in most other drivers."""
        if size.cost_db < NO_DIFFERENCE_DB and not size.reason:
            return "no difference"
        lead = self.leads.get(size.dimension.name)
        if lead is None:
            return "not asked"
        return "turned round" if lead.turned().gains else lead.verdict

    @property
    def ears(self) -> str:
        """Where the curve is heard: the first seat, else the mean of the window."""
        return self.design.seats[0].name if self.design.seats else "mean of the window"

    @property
    def built(self) -> tuple[Sensitivity, ...]:
        """The sizes that a workshop holds, in their order; all of them if it holds none."""
        return held_by_workshop(self.sizes)

    @property
    def worst(self) -> Sensitivity:
        """The size to watch first in the workshop."""
        return worst_of(self.sizes)

    @property
    def loudest(self) -> Sensitivity:
        """The size of the workshop that moves the curve most, by the rms over its bands."""
        return max(self.built, key=lambda size: size.curve_rms_db)

    @property
    def weather(self) -> Sensitivity | None:
        """What no workshop holds, where it costs more than any size; None if nothing does."""
        first = self.sizes[0]
        return None if first in self.built else first

    @property
    def harmless(self) -> tuple[Sensitivity, ...]:
        """Sizes whose error neither score nor level meter shows."""
        return tuple(size for size in self.sizes if not size.matters)

    @property
    def as_costly(self) -> tuple[Sensitivity, ...]:
        """Sizes that matter and cost as much as the worst within `NO_DIFFERENCE_DB`."""
        if not self.worst.matters:
            return ()
        most = self.worst.cost_db
        others = (size for size in self.built[1:] if size.matters)
        return tuple(size for size in others if most - size.cost_db < NO_DIFFERENCE_DB)


def tolerance(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    fineness: Fineness = FINE_PER_BAND,
    samples: int = SAMPLES,
    seed: int = SEED,
    *,
    askew_solved: bool = False,
) -> Tolerance:
    """Move every size within its tolerance, alone and all at once.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    fineness : int or ByNeed
        Frequencies in a third-octave band, four or more; by need, the speakers of the batch are
        read where the sizes moved one at a time allow it.
    samples : int
        Speakers of the batch, a power of two.
    seed : int
        Of the Sobol sequence's scramble; the same seed gives the same speakers.
    askew_solved : bool
        Solve off-centre and tilt in place of the estimate by rays.

    Raises
    ------
    SampleError
        If `samples` is no power of two.
    ValueError
        If the design as written cannot be solved.
    """
    _check_samples(samples)
    heard = _heard_at_first_seat(design)
    compare = to_rank(solver, fineness) if _hears_the_window(design) else solver
    sizes = one_at_a_time(heard, dimensions_of(design.tables), compare, fineness, progress)
    nominal = sizes[0].nominal
    unknowns = unknowns_of(heard, nominal, compare, fineness, progress)
    ranked = tuple(sorted(sizes, key=_rank))
    return Tolerance(
        design=design,
        nominal=nominal,
        sizes=ranked,
        askew=solved_askew(design, solver, progress) if askew_solved else hung_askew(design),
        meaningful_above_hz=meaningful_above_hz(nominal.assembly, design.air),
        batch=drawn_batch(heard, sizes, compare, fineness, _drawn(sizes, samples, seed), progress),
        unknowns=unknowns,
        leads=_judged(design, ranked, compare, fineness, progress),
    )


def _hears_the_window(design: Design) -> bool:
    """Whether what ranks designs, for the window alone, tells what the first seat hears too.

    The example's sizes, a millimetre off: changes of score as with the whole column within 0.03 dB,
    those of the curve at the seat within 0.02 dB (rms), in 0.51 of the processor time
    (one run each, beside other work).
    """
    low, high = design.window_deg
    return not design.seats or low <= design.seats[0].elevation_deg <= high


def held_by_workshop(sizes: Sequence[Sensitivity]) -> tuple[Sensitivity, ...]:
    """Return the sizes that a workshop holds, in their order; all of them if it holds none."""
    held = tuple(size for size in sizes if size.dimension.unit is not FIVE_KELVIN)
    return held or tuple(sizes)


def worst_of(ranked: Sequence[Sensitivity]) -> Sensitivity:
    """Return the size to watch first in the workshop."""
    return held_by_workshop(ranked)[0]


def _judged(
    design: Design,
    ranked: Sequence[Sensitivity],
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None,
) -> dict[str, Lead]:
    """The design as written against the worse ends of sizes, over every driver and build."""
    worse = {
        size.dimension.name: size.plus if size.plus_db >= size.minus_db else size.minus
        for size in held_by_workshop(ranked)
        if size.cost_db >= NO_DIFFERENCE_DB and not size.reason
    }
    asked = dict(list(worse.items())[:MOST_JUDGED])
    nominal = ranked[0].nominal
    rows = (nominal, *asked.values()) if asked else ()
    judged = judge(design, rows, solver, fineness, progress)
    if judged is None:
        return {}
    return {name: judged.compare(nominal, row) for name, row in asked.items()}


def _heard_at_first_seat(design: Design) -> Design:
    """The same design and window without the seats whose curves are not asked for."""
    target = design.target.model_copy(update={"window": design.window_deg})
    changes = {"target": target, "seats": design.tables.seats[:1]}
    return replace(design, tables=design.tables.model_copy(update=changes))


def _drawn(sizes: Sequence[Sensitivity], samples: int, seed: int) -> np.ndarray:
    """(N, D) how far each size of each speaker is off, evenly from within its tolerance, SI."""
    from scipy.stats import qmc

    low = np.array([-size.dimension.down for size in sizes])
    high = np.array([size.dimension.up for size in sizes])
    return low + qmc.Sobol(len(sizes), scramble=True, rng=seed).random(samples) * (high - low)


def _rank(size: Sensitivity) -> tuple[bool, float, float]:
    """Sort key: what cannot be built, then the cost as printed, then the rms of the curve."""
    return not size.reason, -round(size.cost_db, 2), -size.curve_rms_db


def _check_samples(samples: int) -> None:
    if not 2 <= samples <= MOST_SAMPLES or samples & (samples - 1):
        raise SampleError(
            f"{samples} samples do not fill the tolerances evenly: take a power of two from 2 to"
            f" {MOST_SAMPLES}, such as 16, 32 or 64"
        )
