"""Which posts: what `roundcast posts` finds, reports and draws."""

from __future__ import annotations

from studies.answer.next_steps import then_choose
from studies.answer.question import Question
from studies.design import Design
from studies.questions.posts.command import PostsOptions
from studies.questions.posts.figures import posts_pictures
from studies.questions.posts.study import USUAL_COUNTS, PostsStudy, estimated, posts_study
from studies.questions.posts.tables import posts_tables
from studies.solving.budget import Portion, Work
from studies.solving.grid import COARSE_PER_BAND
from studies.solving.session import solved, watched


def find(design: Design, options: PostsOptions) -> PostsStudy:
    """Work out the ripple of posts."""
    if options.estimate:
        return watched(
            lambda watch: estimated(design, options.also, watch, options.solving.per_band),
            options.solving,
        )
    return solved(
        design,
        options.solving,
        lambda solver, watch: posts_study(
            design, solver, options.also, watch, options.solving.per_band
        ),
    )


def weigh(design: Design, options: PostsOptions) -> Work:
    """The waves of each order round the column."""
    per_band = options.solving.per_band or COARSE_PER_BAND
    if options.estimate or design.tables.posts is None:
        return ()
    counts = {design.tables.posts.count, *USUAL_COUNTS, *(count for count, _ in options.also)}
    return (Portion(1, per_band, counts=tuple(counts)),)


QUESTION = Question(
    name="posts",
    find=find,
    weigh=weigh,
    tell=posts_tables,
    draw=posts_pictures,
    next_steps=then_choose,
)
