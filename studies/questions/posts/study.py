"""Which posts? How far the level swings round the column, for the file's posts and for others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dispersion.bands import study_frequencies
from dispersion.gliding import deviation_by_octave, iso_limit_db
from dispersion.paths.posts import Ripple, compare_posts
from shapes.assembly import Posts
from shapes.clashes import find_clashes
from studies.answer.columns import posts_name
from studies.design import Design, DesignError
from studies.design.errors import Mistake
from studies.solving.grid import COARSE_PER_BAND, Progress

STAGE = "posts"


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
    """

    design: Design
    ripples: Mapping[str, Ripple]
    left_out: Mapping[str, str]

    @property
    def own(self) -> Ripple:
        """Ripple of the posts in the file."""
        return next(iter(self.ripples.values()))

    @property
    def own_name(self) -> str:
        """Count and diameter of the posts in the file: "3 x 6 mm"."""
        return next(iter(self.ripples))

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
    others: Sequence[tuple[int, float]] = (),
    progress: Progress | None = None,
    per_band: int = COARSE_PER_BAND,
) -> PostsStudy:
    """Work out the ripple for the file's posts and for alternatives on the same circle.

    Parameters
    ----------
    design : Design
    others : sequence of (int, float)
        Count and diameter (m) of each alternative; if left out, one post more of the same diameter,
        and both counts at twice the diameter.
    progress : callable, optional
        Called with (stage, done, total).
    per_band : int
        Frequencies in a third-octave band, four or more.

    Raises
    ------
    DesignError
        If the file has no posts.
    """
    assembly = design.assembly()
    own = assembly.posts
    if own is None:
        mistake = Mistake("posts", "the file has no [posts] table, so there is nothing to work out")
        raise DesignError(design.path, (mistake,))
    frequencies = study_frequencies(*design.target.band, per_band)
    asked = {posts_name(own): own}
    for count, diameter in others or usual_alternatives(own):
        posts = replace(own, count=count, radius=0.5 * diameter)
        asked.setdefault(posts_name(posts), posts)
    ripples: dict[str, Ripple] = {}
    left_out: dict[str, str] = {}
    for done, (name, posts) in enumerate(asked.items()):
        if progress is not None:
            progress(STAGE, done, len(asked))
        clashes = find_clashes(replace(assembly, posts=posts))
        if clashes:
            left_out[name] = "; ".join(f"{clash.message}: {clash.remedy}" for clash in clashes)
            continue
        found = compare_posts(assembly, design.air, frequencies, {name: posts}, design.window_deg)
        ripples.update(found)
    return PostsStudy(design, ripples, left_out)


def usual_alternatives(own: Posts) -> tuple[tuple[int, float], ...]:
    """One post more, and both counts at twice the diameter."""
    thick = 4.0 * own.radius
    return ((own.count + 1, 2.0 * own.radius), (own.count, thick), (own.count + 1, thick))
