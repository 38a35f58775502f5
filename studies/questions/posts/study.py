"""Which posts? How far the level swings round the column, for the file's posts and for others.

Exactly: what takes time is the design without posts, solved once for all orders; any other count,
thickness or circle then takes milliseconds a frequency. By estimate: nothing is solved but the
gap's modes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from dispersion.allround import Around, flat_ring
from dispersion.bands import study_frequencies
from dispersion.gliding import deviation_by_octave, iso_limit_db
from dispersion.paths.posts import compare_posts
from dispersion.ripple import Ripple
from shapes.assembly import Assembly, Posts
from shapes.clashes import find_clashes
from studies.answer.columns import posts_name
from studies.design import Design, DesignError
from studies.design.errors import Mistake
from studies.solving.grid import COARSE_PER_BAND, Progress, Solver, problem_of
from studies.solving.posted import IN_WINDOW, STAGE, solve_posts

SINGLE_DEG = (0.0, 10.0, 20.0)
"""Elevations looked at by themselves, besides those of the seats."""
USUAL_COUNTS = (3, 4)
METRIC_RODS = (0.004, 0.005, 0.006, 0.008, 0.010, 0.012, 0.016)
INCH_RODS = tuple(0.0254 * size for size in (1 / 8, 3 / 16, 1 / 4, 5 / 16, 3 / 8, 1 / 2))
"""Diameters on sale, metres: common practice, no source."""


@dataclass(frozen=True)
class LimitedArc:
    """Largest departure of an arc of 30 degrees from the circle, and the limit of ISO 3382-1, dB.

    `octave_hz` is the exact centre of the octave band.
    """

    octave_hz: float
    off_db: float
    limit_db: float

    @property
    def is_beyond(self) -> bool:
        """Whether it is larger than the limit."""
        return self.off_db > self.limit_db


@dataclass(frozen=True, eq=False)
class PostsStudy:
    """Ripple round the column for each choice of posts: answer of `roundcast posts`.

    Attributes
    ----------
    design : Design
    ripples : mapping of str to Ripple
        By count and diameter of the posts; those of the file come first.
    left_out : mapping of str to str
        Choices that do not fit, with the reason.
    around : Around or None
        What was solved; None by estimate.
    bare_db : (B,) array or None
        Window level without posts, dB re 0 dB; exact only.
    single : tuple of Ripple
        The file's posts at single elevations, ascending; exact only.
    on_sale : tuple of Ripple
        Usual counts of rods on sale on the file's circle, and those of the file nearer and farther;
        exact only.
    """

    design: Design
    ripples: Mapping[str, Ripple]
    left_out: Mapping[str, str]
    around: Around | None = field(default=None, repr=False)
    single: tuple[Ripple, ...] = field(default=(), repr=False)
    on_sale: tuple[Ripple, ...] = field(default=(), repr=False)
    bare_db: np.ndarray | None = field(default=None, repr=False)

    @property
    def exact(self) -> bool:
        """Whether it was solved; else it is the estimate."""
        return self.around is not None

    @property
    def own(self) -> Ripple:
        """Ripple of the posts in the file."""
        return next(iter(self.ripples.values()))

    @property
    def own_name(self) -> str:
        """Count and diameter of the posts in the file: "3 x 6 mm"."""
        return next(iter(self.ripples))

    @property
    def posts_deg(self) -> np.ndarray:
        """Azimuths of the file's posts, degrees."""
        return 360.0 / self.own.posts.count * np.arange(self.own.posts.count)

    @property
    def best_deg(self) -> np.ndarray:
        """Best azimuths to sit with them, on either side of each post, degrees."""
        beside = np.array([self.own.best_azimuth_deg, -self.own.best_azimuth_deg])
        return np.unique(np.round((self.posts_deg[:, None] + beside).ravel() % 360.0, 6))

    @property
    def octaves(self) -> np.ndarray:
        """(O,) centres of the octave bands of which all three thirds were worked out, Hz."""
        return deviation_by_octave(self.own.centres, self.own.level_db)[0]

    @property
    def arcs_db(self) -> Mapping[str, np.ndarray]:
        """By choice of posts, (O,) largest departure of a 30 degree arc from the circle, dB."""
        return {
            name: deviation_by_octave(ripple.centres, ripple.level_db)[1]
            for name, ripple in self.ripples.items()
        }

    @property
    def own_arcs(self) -> tuple[LimitedArc, ...]:
        """Arcs of the posts in the file, in those octaves for which ISO 3382-1 has a limit."""
        arcs = zip(self.octaves, self.arcs_db[self.own_name], strict=True)
        limited = ((float(hz), float(off), iso_limit_db(hz)) for hz, off in arcs)
        return tuple(LimitedArc(hz, off, most) for hz, off, most in limited if most is not None)


def posts_study(
    design: Design,
    solver: Solver,
    others: Sequence[tuple[int, float]] = (),
    progress: Progress | None = None,
    per_band: int | None = None,
) -> PostsStudy:
    """Solve the ripple of the file's posts and of alternatives.

    Parameters
    ----------
    design : Design
    solver : callable
        The wave solver.
    others : sequence of (int, float)
        Count and diameter (m) of each alternative on the file's circle; if left out, one post more
        of the same diameter, and both counts at twice the diameter.
    progress : callable, optional
        Called with (stage, done, total).
    per_band : int, optional
        Frequencies in a third-octave band.

    Raises
    ------
    DesignError
        If the file has no posts, or none that can be told exactly.
    """
    fitting, left_out = _asked(design, others)
    assembly = design.assembly()
    window = np.linspace(*design.window_deg, IN_WINDOW).tolist()
    single = sorted({*SINGLE_DEG, *(seat.elevation_deg for seat in design.seats)})
    problem = problem_of(design, assembly, per_band or COARSE_PER_BAND)
    elevations = np.array(sorted({*window, *single}))
    problem = replace(problem, elevations=elevations, points=problem.points[:0])
    counts = {*USUAL_COUNTS, *(posts.count for posts in fitting.values())}
    around = solve_posts(
        design,
        problem,
        solver,
        progress,
        counts=tuple(counts),
        key="posts",
        instead="take --estimate",
    )
    over, *alone = around.ripples(assembly.standing_posts, [window, *([e] for e in single)])
    (own_name, _), *rest = fitting.items()
    ripples = {own_name: over} | {name: around.ripples(p, [window])[0] for name, p in rest}
    sold = [around.ripples(posts, [window])[0] for posts in _on_sale(design, assembly)]
    bare_db = around.bare_level_db(window)
    return PostsStudy(design, ripples, left_out, around, tuple(alone), tuple(sold), bare_db)


def estimated(
    design: Design,
    others: Sequence[tuple[int, float]] = (),
    progress: Progress | None = None,
    per_band: int | None = None,
) -> PostsStudy:
    """Estimate the same by the gap's modes alone.

    Raises
    ------
    DesignError
        If the file has no posts.
    """
    fitting, left_out = _asked(design, others)
    frequencies = study_frequencies(*design.target.band, per_band or COARSE_PER_BAND)
    ripples: dict[str, Ripple] = {}
    for done, (name, posts) in enumerate(fitting.items()):
        if progress is not None:
            progress(STAGE, done, len(fitting))
        chosen = {name: posts}
        ripples |= compare_posts(
            design.assembly(), design.air, frequencies, chosen, design.window_deg
        )
    return PostsStudy(design, ripples, left_out)


def _asked(
    design: Design, others: Sequence[tuple[int, float]]
) -> tuple[dict[str, Posts], dict[str, str]]:
    """The file's posts and alternatives that fit, and those that do not with the reason."""
    assembly = design.assembly()
    own = assembly.posts
    if own is None:
        mistake = Mistake("posts", "the file has no [posts] table, so there is nothing to work out")
        raise DesignError(design.path, (mistake,))
    asked = {posts_name(own): own}
    for count, diameter in others or usual_alternatives(own):
        posts = replace(own, count=count, radius=0.5 * diameter)
        asked.setdefault(posts_name(posts), posts)
    left_out = {name: why for name, posts in asked.items() if (why := _unfit(assembly, posts))}
    return {name: posts for name, posts in asked.items() if name not in left_out}, left_out


def _on_sale(design: Design, assembly: Assembly) -> list[Posts]:
    """Usual counts of rods on sale on the file's circle; the file's nearer and farther."""
    own, ring = assembly.standing_posts, flat_ring(assembly)
    rods = INCH_RODS if design.tables.unit == "in" else METRIC_RODS
    choices = [replace(own, count=n, radius=0.5 * d) for n in USUAL_COUNTS for d in rods]
    choices = [posts for posts in choices if posts_name(posts) != posts_name(own)]
    for circle in (ring.inner + own.radius, ring.outer - own.radius):
        choices.append(replace(own, circle_radius=circle))
    return [posts for posts in choices if not _unfit(assembly, posts)]


def _unfit(assembly: Assembly, posts: Posts) -> str:
    """Why posts do not fit; empty if they do."""
    clashes = find_clashes(replace(assembly, posts=posts))
    return "; ".join(f"{clash.message}: {clash.remedy}" for clash in clashes)


def usual_alternatives(own: Posts) -> tuple[tuple[int, float], ...]:
    """One post more, and both counts at twice the diameter."""
    thick = 4.0 * own.radius
    return ((own.count + 1, 2.0 * own.radius), (own.count, thick), (own.count + 1, thick))
