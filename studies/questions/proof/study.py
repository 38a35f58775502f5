"""Is the program right? Every check of it that needs no design, and what nothing checks."""

from __future__ import annotations

import os
import platform
from collections.abc import Callable, Mapping
from concurrent.futures import as_completed
from dataclasses import dataclass
from functools import partial
from importlib import metadata
from pathlib import Path

import numpy as np

from dispersion.keys import solver_version
from dispersion.stopping import Threads
from dispersion.waves import DEFAULT_SETTINGS, one_blas_thread
from studies.questions.proof.cases import (
    askew,
    closed_forms,
    discs,
    echoes,
    floors,
    flush,
    laws,
    losses,
    meshes,
    mirror_points,
    monopoles,
    pistons,
    posts,
    quick_methods,
    rings,
    sphere_scattering,
    sphere_sources,
    standards,
    walls,
    ways,
)
from studies.questions.proof.cases.check import WAVES, Check, Compared
from studies.questions.proof.cases.meshes import FULL_ORDER, LADDERS, MeshLadder
from studies.solving.grid import Progress

FAMILIES: Mapping[str, tuple[Check, ...]] = {
    "sources on a sphere": sphere_sources.CHECKS,
    "sphere met by waves": sphere_scattering.CHECKS,
    "discs": discs.CHECKS,
    "piston in a baffle": pistons.CHECKS,
    "echoes in water": echoes.CHECKS,
    "hidden sources": monopoles.CHECKS,
    "on a floor": floors.CHECKS,
    "flush in a baffle": flush.CHECKS,
    "posts, exactly": posts.CHECKS,
    "off the axis": askew.CHECKS,
    "power, reciprocity": laws.CHECKS,
    "soft balls": walls.CHECKS,
    "losses": losses.CHECKS,
    "meshes": (meshes.ORDER,),
    "rings": rings.CHECKS,
    "edge waves": quick_methods.EDGE_WAVES,
    "Kirchhoff": quick_methods.KIRCHHOFF,
    "mirror points": mirror_points.CHECKS,
    "posts": quick_methods.POSTS,
    "air and bands": standards.CHECKS,
    "patterns": closed_forms.PATTERNS,
    "what surfaces take": closed_forms.SURFACES,
    "crossovers": ways.CROSSOVERS,
    "delays": ways.DELAYS,
    "solids": closed_forms.SOLIDS,
}
"""All checks, family by family, in the order of print."""

BUILT_ON = ("numpy", "scipy", "numba")
DEFAULT_ELEMENTS = DEFAULT_SETTINGS.mesh.unknowns_per_wavelength / 4.0
"""Elements per wavelength of the default mesh, away from edges."""

UNCHECKED = (
    (
        "Any real speaker",
        "nobody has published a measured comparison of cap, cone and curve on one driver: plan"
        " readings of your own with `roundcast meter`, and lay them over the model with"
        " `roundcast overlay`",
    ),
    (
        "Break-up of real cones",
        "cone and dome move as one piece, let go smoothly above a frequency, or move as a wave that"
        " runs outwards; which of them yours does, a fit of readings tells",
    ),
    (
        "Drivers and builds that a file may stand for",
        "how far sizes, cone and temperature may be off is common practice, no source; verdicts,"
        " regret and the rule when to stop are shares of those, and hold as far as yours is one of"
        " them. The rule is tried on speakers that had no part in choosing it (`pytest -m slow`)",
    ),
    (
        "When two ways add best",
        "delays are held against known paths, as above, and the flush driver against closed forms;"
        " a driver's own phase is known only if its curve gives it",
    ),
    (
        "Surfaces that give, and what a material takes",
        "a wall takes what its admittance says, as above; nothing measured says how much felt,"
        " foam, paint or a cone takes, and Miki's law is one of fibres and foams in general; panels"
        " that shake are not in the model, nor slits below a fifth of a millimetre",
    ),
    (
        "Posts that are not round, and on felt",
        "round rods on boards that are hard, or nearly so, are solved, as above; square or slotted"
        " ones count as round. Where they are not asked for, spread and meter take the estimate,"
        " which is low by up to 1.4 dB above 4 kHz",
    ),
    (
        "Columns, baffles and plates that are not round",
        "those with sides count as round ones of equal area, held against flat sides on one column"
        " by boundary elements on a sector, and those against bempp-cl: within 0.4 dB up to k R = N"
        " - 1.5 in every direction, R the radius of that circle and N the number of sides, and"
        " within 0.3 dB up to k R = 5.8 (square) and 7.3 (five sides and more) as the mean of all"
        " azimuths; above that rays alone tell it",
    ),
    (
        "Reflectors off the centre or tilted",
        "column and what hangs over it may each have an axis of its own, as above; with"
        " posts, what it changes is added to what they do, and what one does to the other is left"
        " out. Where it is not asked for, rays tell it",
    ),
    (
        "Quick methods on a whole speaker",
        "held against the wave solver only, by `roundcast trust`; their building blocks are above",
    ),
    (
        "Rooms",
        "first bounces are geometry; no measured room has been compared",
    ),
    (
        "Three-dimensional comparison",
        "cap, cone, absorbing walls, posts and corners against bempp-cl; and pistons against"
        " beamshapes, echoes against echosms, images against pyroomacoustics, air against pyfar:"
        " tests that need the test extra (`pytest`, `pytest -m slow`), not run here",
    ),
    (
        "Books that were not opened again",
        "sources marked [from memory] were not looked up; where a series was evaluated for this"
        " project, the formula is published, not its digits",
    ),
    (
        "Whether even all round sounds better",
        "not agreed; you set the window and the weights",
    ),
)
"""What nothing here proves, and what stands in its place."""


@dataclass(frozen=True)
class Program:
    """What a proof is about, where other findings have a design.

    Attributes
    ----------
    title : str
    path : Path
        What was tried, in place of a design file.
    text : str
        On what it ran.
    fingerprint : str
        SHA-256 of the code of geometry and acoustics.
    """

    title: str
    path: Path
    text: str
    fingerprint: str


@dataclass(frozen=True, eq=False)
class Proved:
    """One check, and what came of each of its cases."""

    family: str
    check: Check
    cases: tuple[Compared, ...]

    @property
    def held(self) -> bool:
        """Whether every value is within its limit."""
        return all(case.held for case in self.cases)

    @property
    def values(self) -> int:
        """How many values were compared."""
        return sum(len(case.at) for case in self.cases)

    @property
    def nearest(self) -> Compared:
        """The case with the value nearest to its limit, or farthest beyond it."""
        return max(self.cases, key=lambda case: case.share_of_limit.max())

    @property
    def share_of_limit(self) -> float:
        """Largest difference over what is allowed; above 1 the check fails."""
        return float(self.nearest.share_of_limit.max())

    @property
    def largest_difference(self) -> float:
        """Size of the largest difference of all, in the unit of the check."""
        return max(float(np.abs(case.difference).max()) for case in self.cases)


@dataclass(frozen=True, eq=False)
class Proof:
    """What was tried, and how it came out.

    Attributes
    ----------
    design : Program
    proved : tuple of Proved
        In the order of print.
    ladders : tuple of MeshLadder
        Fields on finer and finer meshes.
    """

    design: Program
    proved: tuple[Proved, ...]
    ladders: tuple[MeshLadder, ...]

    @property
    def failed(self) -> tuple[Proved, ...]:
        """Checks that do not hold."""
        return tuple(one for one in self.proved if not one.held)

    @property
    def failures_first(self) -> tuple[Proved, ...]:
        """Every check: those that do not hold, then the rest, each in the order of print."""
        return tuple(sorted(self.proved, key=lambda one: one.held))

    @property
    def values(self) -> int:
        """How many values were compared in all."""
        return sum(one.values for one in self.proved)

    @property
    def worst_share_of_limit(self) -> float:
        """Largest difference over what is allowed, of all checks."""
        return max(one.share_of_limit for one in self.proved)

    @property
    def promises(self) -> tuple[Proved, ...]:
        """Checks of the wave solver in dB: those that the promise of 0.1 dB is about."""
        return tuple(
            one for one in self.proved if one.check.kind == WAVES and one.check.unit == "dB"
        )

    @property
    def range_hz(self) -> tuple[float, float] | None:
        """Lowest and highest frequency of all values; None if frequency is no question of any."""
        every = [case.hertz for one in self.proved for case in one.cases if case.hertz is not None]
        if not every:
            return None
        return float(min(hertz.min() for hertz in every)), float(max(h.max() for h in every))

    @property
    def worst_power_error_db(self) -> float:
        """Power of the examples far away over that given off, dB, at worst; 0 if not tried."""
        balance = [one for one in self.proved if one.check is laws.POWER_BALANCE]
        return max((one.largest_difference for one in balance), default=0.0)

    @property
    def orders(self) -> tuple[float, float]:
        """Lowest and highest power of the element size with which the error falls."""
        orders = [ladder.order for ladder in self.ladders]
        return min(orders), max(orders)

    @property
    def errors_by_frequency(self) -> Mapping[str, tuple[np.ndarray, np.ndarray]]:
        """By family, the frequencies (Hz) and the largest difference (dB) at each."""
        errors: dict[str, dict[float, float]] = {}
        for one in self.proved:
            for case in one.cases:
                if case.hertz is None or one.check.unit != "dB":
                    continue
                family = errors.setdefault(one.family, {})
                for hertz, off in zip(case.hertz.round(3), np.abs(case.difference), strict=True):
                    family[float(hertz)] = max(family.get(float(hertz), 0.0), float(off))
        return {name: tuple(np.array(sorted(found.items())).T) for name, found in errors.items()}

    @property
    def expected_fall(self) -> tuple[np.ndarray, np.ndarray]:
        """Guide for finer and finer meshes: how the error falls that goes as theory promises.

        Elements per wavelength, from the fewest to the most of all ladders, and an error in dB
        that falls with the power `FULL_ORDER`, from twice the largest that was found.
        """
        per_wavelength = np.concatenate([ladder.per_wavelength for ladder in self.ladders])
        along = np.array([per_wavelength.min(), per_wavelength.max()])
        start = max(float(ladder.error_db.max()) for ladder in self.ladders)
        return along, 2.0 * start * (along / along[0]) ** -FULL_ORDER


def prove(
    progress: Progress,
    workers: int | None = None,
    families: Mapping[str, tuple[Check, ...]] = FAMILIES,
) -> Proof:
    """Run every check.

    Parameters
    ----------
    progress : callable
        Called with (stage, done, total) cases.
    workers : int, optional
        Threads; as many as there are processors when left out. The result does not depend on it.
    families : mapping of str to tuple of Check
        What is run; everything when left out.

    Returns
    -------
    Proof
    """
    asked = [(name, check) for name, checks in families.items() for check in checks]
    tasks: list[Callable[[], Compared]] = [
        partial(check.run, case) for _, check in asked for case in check.cases
    ]
    found = iter(_all_of(tasks, progress, workers or os.cpu_count() or 1))
    proved = tuple(
        Proved(name, check, tuple(next(found) for _ in check.cases)) for name, check in asked
    )
    ladders = tuple(climb(case) for climb, case in LADDERS)
    return Proof(_program(), proved, ladders)


def _all_of(
    tasks: list[Callable[[], Compared]], progress: Progress, workers: int
) -> list[Compared]:
    """Results in the order of the tasks; the first error stops everything."""
    with one_blas_thread(), Threads(workers) as pool:
        waiting = [pool.submit(task) for task in tasks]
        try:
            for done, future in enumerate(as_completed(waiting), start=1):
                future.result()
                progress("checking", done, len(tasks))
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
        return [future.result() for future in waiting]


def _program() -> Program:
    ran_on = [f"Python {platform.python_version()}", *(_named(name) for name in BUILT_ON)]
    path = Path("the code of shapes and dispersion")
    return Program("What the program is held against", path, "\n".join(ran_on), solver_version())


def _named(package: str) -> str:
    return f"{package} {metadata.version(package)}"
