"""Which posts? How far the level swings round the column, for the file's posts and for others."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dispersion.bands import study_frequencies
from dispersion.gliding import deviation_by_octave
from dispersion.paths.posts import Ripple, compare_posts
from shapes.assembly import Posts
from shapes.clashes import find_clashes
from studies.answer.columns import posts_name
from studies.design import Design, DesignError
from studies.design.errors import Mistake
from studies.solving.grid import COARSE_PER_BAND, Progress

STAGE = "posts"


@dataclass(frozen=True, eq=False)
class PostsStudy:
    """Ripple round the column for each choice of posts; the design's own come first.

    `left_out` holds the alternatives that do not fit, with the reason.
    """

    design: Design
    ripples: Mapping[str, Ripple]
    left_out: Mapping[str, str]

    @property
    def own(self) -> Ripple:
        """Ripple of the posts in the file."""
        return next(iter(self.ripples.values()))

    @property
    def octaves(self) -> np.ndarray:
        """Centres of the octave bands, (O,), Hz, of which all three thirds were worked out."""
        return deviation_by_octave(self.own.centres, self.own.level_db)[0]

    @property
    def arcs_db(self) -> Mapping[str, np.ndarray]:
        """Largest departure of an arc of 30 degrees from the circle by octave, (O,) for each."""
        return {
            name: deviation_by_octave(ripple.centres, ripple.level_db)[1]
            for name, ripple in self.ripples.items()
        }


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
        Count and diameter (metres) of each alternative; left out, one post more of the same
        diameter, and the same two counts at twice the diameter.
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
