"""Level round the column with posts, over a band: solved once, asked for any posts.

What takes time is the round bodies' answer at every frequency and order; posts of any count,
thickness and circle then take milliseconds a frequency. All ways sound together, as the crossovers
make them. The posts' own sides count as hard, the air as taking nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache, partial

import numpy as np

from dispersion.allround.by_frequency import HERE, Solving, solve_each
from dispersion.allround.flat_ring import check_foot, flat_ring, orders_up_to
from dispersion.allround.keeping import packed, unpacked
from dispersion.allround.posts import PostedField, Rod, stand
from dispersion.allround.ring_answer import RingAnswer, solve_ring
from dispersion.bands import band_means
from dispersion.fields import Fields, drive_of
from dispersion.flush_driver import flush_curve, flush_driver
from dispersion.problem import Problem
from dispersion.reference import Reference
from dispersion.ripple import AZIMUTHS_DEG, Balance, Ripple
from dispersion.waves import WaveSettings, balance_db, sphere_rule
from shapes.assembly import Assembly, Posts


@dataclass(frozen=True, eq=False, kw_only=True)
class Around:
    """A design's answer to posts at many frequencies.

    Places are the problem's E elevations, far away, and then its P points.

    Attributes
    ----------
    problem : Problem
    settings : WaveSettings
    answers : tuple of F RingAnswer
        At the problem's elevations and points.
    power_error_db : (W, F) array
        Power far away and taken by walls over power through each way, with the posts of the
        assembly.
    finer : (F,) array
        How many times finer the mesh was than asked for, to mend that balance.
    """

    problem: Problem
    settings: WaveSettings
    answers: tuple[RingAnswer, ...] = field(repr=False)
    power_error_db: np.ndarray = field(repr=False)
    finer: np.ndarray = field(repr=False)

    @cached_property
    def reference(self) -> Reference:
        """What 0 dB is."""
        flush = flush_curve(flush_driver(self.problem, self.settings))
        return Reference(self.problem.ways, flush)

    @property
    def balance(self) -> Balance:
        """Of power with the posts of the assembly."""
        return Balance(float(np.abs(self.power_error_db).max()), self.finer)

    @cached_property
    def bare(self) -> np.ndarray:
        """(F, E + P) pressure without posts, as that of `with_posts`."""
        shares = zip(self.answers, self._shares, strict=True)
        return np.array(
            [share @ _at_places(one, one.way_far, one.way_near) for one, share in shares]
        )

    def with_posts(self, posts: Posts, azimuths_deg: np.ndarray) -> np.ndarray:
        """Complex pressure at azimuths from the first post, (F, E + P, A).

        Over 0 dB at that distance, the phase of the distance taken off, all ways together.

        Raises
        ------
        AllRoundError
            If a post is not wholly on the flat ring.
        ValueError
            If so many posts excite an order that was not solved.
        """
        azimuths = np.radians(azimuths_deg)
        return np.array([orders.at_azimuths(azimuths)[0] for orders in self._by_order(posts)])

    def mean_power(self, posts: Posts) -> np.ndarray:
        """Mean of |p|^2 over all azimuths with posts, (F, E + P); see `with_posts`."""
        return np.array([(np.abs(one.far[0]) ** 2).sum(axis=1) for one in self._by_order(posts)])

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
        groups = [[solved.index(elevation) for elevation in window] for window in windows]
        ends = [(min(window), max(window)) for window in windows]
        return self._ripples(posts, groups, ends)

    def bare_level_db(self, elevations: Sequence[float]) -> np.ndarray:
        """(B,) band level without posts, mean power of some elevations, dB re 0 dB."""
        solved = self.problem.elevations.tolist()
        heard = [solved.index(elevation) for elevation in elevations]
        power = (np.abs(self.bare[:, heard]) ** 2).mean(axis=1)
        alone = np.abs(self.reference.alone(self.problem.frequencies)) ** 2
        _, means = band_means(self.problem.frequencies, np.column_stack((power * alone, alone)))
        return 10.0 * np.log10(means[:, 0] / means[:, 1])

    def ripples_at_points(self, posts: Posts) -> tuple[Ripple, ...]:
        """The same at each of the problem's points; its elevation is seen from the baffle."""
        first = len(self.problem.elevations)
        steep = np.degrees(np.arctan2(self.problem.points[:, 1], self.problem.points[:, 0]))
        groups = [[first + number] for number in range(len(steep))]
        return self._ripples(posts, groups, [(float(e), float(e)) for e in steep])

    def _ripples(
        self, posts: Posts, groups: Sequence[list[int]], ends: Sequence[tuple[float, float]]
    ) -> tuple[Ripple, ...]:
        posted, bare = np.abs(self.with_posts(posts, AZIMUTHS_DEG)) ** 2, np.abs(self.bare) ** 2
        found = []
        for heard, window in zip(groups, ends, strict=True):
            ratios = posted[:, heard].sum(axis=1) / bare[:, heard].sum(axis=1)[:, None]
            centres, means = band_means(self.problem.frequencies, ratios)
            level_db = 10.0 * np.log10(means)
            found.append(Ripple(posts, AZIMUTHS_DEG, centres, level_db, window, self.balance))
        return tuple(found)

    def _by_order(self, posts: Posts) -> list[PostedField]:
        """All ways together at all places, in place of the far field of each way, by frequency."""
        found = []
        for answer, share in zip(self.answers, self._shares, strict=True):
            posted = stand(answer, [_rod(posts)], posts.count)
            places = _at_places(answer, posted.far, posted.near)
            found.append(replace(posted, far=np.einsum("w,wem->em", share, places)[None]))
        return found

    @cached_property
    def _shares(self) -> np.ndarray:
        """What crossovers and levels make of each way's field at places, over 0 dB, (F, W)."""
        transfer = self.reference.transfer(self.problem.frequencies)
        volumes = np.array([answer.volume_acceleration for answer in self.answers])
        return 2.0 * np.pi / self.problem.air.density * transfer.T / volumes


def solve_around(problem: Problem, counts: Sequence[int], how: Solving = HERE) -> Around:
    """Solve the round bodies for every order that posts of these counts excite.

    Parameters
    ----------
    problem : Problem
        Its assembly has posts; its elevations and points are those that can be asked for. It stands
        in free air.
    counts : sequence of int
        Numbers of posts to be asked for; those of the assembly are always among them.
    how : Solving

    Raises
    ------
    AllRoundError
        If posts cannot be told exactly here.
    ValueError
        If the wave solver refuses the problem.
    """
    problem.require_free_air("posts")
    posts = problem.assembly.standing_posts
    check_foot(flat_ring(problem.assembly), posts.radius, posts.circle_radius)
    folds = tuple(sorted({posts.count, *counts}))
    fields, finer = solve_each(problem, partial(_solved, folds), ("posts", posts, folds), how)
    alone = zip(problem.frequencies.tolist(), fields, strict=True)
    return Around(
        problem=problem,
        settings=how.settings,
        answers=tuple(unpacked(problem, frequency, one) for frequency, one in alone),
        power_error_db=np.transpose([one.power_error_db for one in fields]),
        finer=finer,
    )


def orders_with(assembly: Assembly, k: float, counts: Sequence[int]) -> list[int]:
    """Azimuthal orders, not below 0, that posts of these counts excite at wavenumber k."""
    most = orders_up_to(k, _widest(assembly))
    return sorted({m for count in counts for m in range(0, most + 1, count)})


@lru_cache(maxsize=64)
def _widest(assembly: Assembly) -> float:
    return max(float(body.sample(1e-3)[:, 0].max()) for body in assembly.bodies)


def _solved(folds: Sequence[int], problem: Problem, settings: WaveSettings) -> Fields:
    """Answer at the problem's elevations, and the power balance of each way with its posts."""
    assembly, air, frequency = problem.assembly, problem.air, float(problem.frequencies[0])
    k = 2.0 * np.pi * frequency / air.speed
    orders, widest = orders_with(assembly, k, folds), _widest(assembly)
    low = float(assembly.lower_line[:, 1].min())
    high = float(assembly.upper_line[:, 1].max())
    sines, weights = sphere_rule(int(k * (0.5 * (high - low) + widest)) + 24)
    heard = len(problem.elevations)
    elevations = np.concatenate((problem.elevations, np.degrees(np.arcsin(sines))))
    drives = [
        drive_of(built, way.lets_go, air)
        for built, way in zip(assembly.ways, problem.ways, strict=True)
    ]
    answer = solve_ring(
        assembly,
        frequency,
        drives,
        orders,
        elevations,
        air,
        settings,
        walls=problem.walls,
        points=problem.points,
    )
    posts = assembly.standing_posts
    posted = stand(answer, [_rod(posts)], posts.count)
    return packed(answer.heard_at(slice(heard)), _balance(problem, answer, posted, weights))


def _balance(
    problem: Problem, answer: RingAnswer, posted: PostedField, weights: np.ndarray
) -> np.ndarray:
    """Power far away and taken over power through each way, dB, (W,)."""
    air, on_sphere = problem.air, slice(len(problem.elevations), None)
    power = np.einsum("e,wem->w", weights, np.abs(posted.far[:, on_sphere]) ** 2)
    at_1_m = air.density * answer.volume_acceleration / (2.0 * np.pi)
    of_0_db = 2.0 * np.pi * at_1_m**2 / (air.density * air.speed)
    arrived = np.pi * power / (air.density * air.speed)
    if posted.taken is not None:
        arrived = arrived + posted.taken
    return balance_db(arrived, posted.power, of_0_db)


def _rod(posts: Posts) -> Rod:
    return Rod(posts.radius, posts.circle_radius)


def _at_places(answer: RingAnswer, far: np.ndarray, near: np.ndarray) -> np.ndarray:
    """Far field (W, E, ...) and what is left of the pressure at points but for the distance."""
    distance = np.hypot(*answer.points.T)
    alone = distance * np.exp(-1j * answer.k * distance)
    return np.concatenate((far, near * alone.reshape(-1, *(1,) * (near.ndim - 2))), axis=1)
