"""Level round the column with posts, over a band: solved once, asked for any posts.

What takes time is the round bodies' answer at every frequency and order; posts of any count,
thickness and circle then take milliseconds a frequency. All ways sound together, as the crossovers
make them. Surfaces count as hard, the air as taking nothing.
"""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from dispersion.allround.flat_ring import check_foot, flat_ring, orders_up_to
from dispersion.allround.posts import PostedField, Rod, stand
from dispersion.allround.ring_answer import RingAnswer, solve_ring
from dispersion.bands import band_means
from dispersion.fields import drive_of
from dispersion.flush_driver import flush_curve, flush_driver
from dispersion.problem import Problem
from dispersion.reference import Reference
from dispersion.ripple import AZIMUTHS_DEG, Ripple
from dispersion.stopping import Threads
from dispersion.waves import (
    DEFAULT_SETTINGS,
    WaveSettings,
    balance_db,
    one_blas_thread,
    sphere_rule,
)
from shapes.assembly import Posts


@dataclass(frozen=True, eq=False, kw_only=True)
class Around:
    """A design's answer to posts at many frequencies.

    Attributes
    ----------
    problem : Problem
    settings : WaveSettings
    answers : tuple of F RingAnswer
        At the problem's elevations.
    power_error_db : (W, F) array
        Power far away over power through each way, with the posts of the assembly.
    """

    problem: Problem
    settings: WaveSettings
    answers: tuple[RingAnswer, ...] = field(repr=False)
    power_error_db: np.ndarray = field(repr=False)

    @property
    def worst_power_error_db(self) -> float:
        """Largest imbalance of power with the posts of the assembly, dB."""
        return float(np.abs(self.power_error_db).max())

    def ripples(self, posts: Posts, windows: Sequence[Sequence[float]]) -> tuple[Ripple, ...]:
        """Level by azimuth that posts leave, relative to none, for each group of elevations.

        Over a group the mean power is taken.

        Raises
        ------
        AllRoundError
            If a post is not wholly on the flat ring.
        ValueError
            If an elevation was not solved, or an order that so many posts excite.
        """
        solved = self.problem.elevations.tolist()
        if missing := {e for window in windows for e in window} - set(solved):
            raise ValueError(f"elevations that were not solved: {sorted(missing)}")
        posted, bare = self._powers(posts)
        found = []
        for window in windows:
            heard = [solved.index(elevation) for elevation in window]
            ratios = posted[:, heard].sum(axis=1) / bare[:, heard].sum(axis=1)[:, None]
            centres, means = band_means(self.problem.frequencies, ratios)
            ends = (min(window), max(window))
            found.append(Ripple(posts, AZIMUTHS_DEG, centres, 10.0 * np.log10(means), ends))
        return tuple(found)

    def _powers(self, posts: Posts) -> tuple[np.ndarray, np.ndarray]:
        """Power with posts (F, E, A), and without (F, E), all ways together."""
        azimuths, posted, bare = np.radians(AZIMUTHS_DEG), [], []
        for answer, share in zip(self.answers, self._shares(), strict=True):
            field = stand(answer, [_rod(posts)], posts.count)
            together = replace(field, far=np.einsum("w,wem->em", share, field.far)[None])
            posted.append(np.abs(together.at_azimuths(azimuths)[0]) ** 2)
            bare.append(np.abs(share @ answer.way_far) ** 2)
        return np.array(posted), np.array(bare)

    def _shares(self) -> np.ndarray:
        """What crossovers and levels make of each way's far field in Pa m, (F, W)."""
        flush = flush_curve(flush_driver(self.problem, self.settings))
        drive = Reference(self.problem.ways, flush).drive(self.problem.frequencies)
        return drive.T / np.array([answer.volume_acceleration for answer in self.answers])


def solve_around(
    problem: Problem,
    counts: Sequence[int],
    settings: WaveSettings = DEFAULT_SETTINGS,
    workers: int | None = None,
    progress: Callable[[int], None] | None = None,
) -> Around:
    """Solve the round bodies for every order that posts of these counts excite.

    Parameters
    ----------
    problem : Problem
        Its assembly has posts; its elevations are those that can be asked for.
    counts : sequence of int
        Numbers of posts to be asked for; those of the assembly are always among them.
    settings : WaveSettings
    workers : int, optional
        Threads; as many as there are processors when left out.
    progress : callable, optional
        Called with 1 for every frequency done.

    Raises
    ------
    AllRoundError
        If posts cannot be told exactly here.
    ValueError
        If the wave solver refuses the problem.
    """
    posts = problem.assembly.standing_posts
    check_foot(flat_ring(problem.assembly), posts.radius, posts.circle_radius)
    folds = {posts.count, *counts}

    def one(frequency: float) -> tuple[RingAnswer, np.ndarray]:
        found = _solved(problem, frequency, folds, settings)
        if progress is not None:
            progress(1)
        return found

    # The highest frequency costs most: started first, no worker ends up waiting for it.
    order = np.argsort(problem.frequencies)[::-1]
    with one_blas_thread(), Threads(workers or os.cpu_count()) as pool:
        found = dict(zip(order, pool.map(one, problem.frequencies[order]), strict=True))
    answers, errors = zip(*(found[at] for at in range(len(order))), strict=True)
    return Around(
        problem=problem, settings=settings, answers=answers, power_error_db=np.transpose(errors)
    )


def _solved(
    problem: Problem, frequency: float, folds: set[int], settings: WaveSettings
) -> tuple[RingAnswer, np.ndarray]:
    """Answer at the problem's elevations, and the power balance of each way with its posts."""
    assembly, air = problem.assembly, problem.air
    k = 2.0 * np.pi * frequency / air.speed
    widest = max(float(body.sample(1e-3)[:, 0].max()) for body in assembly.bodies)
    most = orders_up_to(k, widest)
    orders = sorted({m for fold in folds for m in range(0, most + 1, fold)})
    low = float(assembly.lower_line[:, 1].min())
    high = float(assembly.upper_line[:, 1].max())
    sines, weights = sphere_rule(int(k * (0.5 * (high - low) + widest)) + 24)
    heard = len(problem.elevations)
    elevations = np.concatenate((problem.elevations, np.degrees(np.arcsin(sines))))
    drives = [
        drive_of(built, way.lets_go, air)
        for built, way in zip(assembly.ways, problem.ways, strict=True)
    ]
    answer = solve_ring(assembly, frequency, drives, orders, elevations, air, settings)
    posts = assembly.standing_posts
    posted = stand(answer, [_rod(posts)], posts.count)
    return answer.heard_at(slice(heard)), _balance(problem, answer, posted, weights)


def _balance(
    problem: Problem, answer: RingAnswer, posted: PostedField, weights: np.ndarray
) -> np.ndarray:
    """Power far away over power through each way, dB, (W,)."""
    air, on_sphere = problem.air, slice(len(problem.elevations), None)
    power = np.einsum("e,wem->w", weights, np.abs(posted.far[:, on_sphere]) ** 2)
    at_1_m = air.density * answer.volume_acceleration / (2.0 * np.pi)
    of_0_db = 2.0 * np.pi * at_1_m**2 / (air.density * air.speed)
    return balance_db(np.pi * power / (air.density * air.speed), posted.power, of_0_db)


def _rod(posts: Posts) -> Rod:
    return Rod(posts.radius, posts.circle_radius)
