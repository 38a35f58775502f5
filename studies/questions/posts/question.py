"""Which posts: what `roundcast posts` finds, reports and draws."""

from __future__ import annotations

from studies.answer.next_steps import then_choose
from studies.answer.question import Question
from studies.design import Design
from studies.questions.posts.command import PostsOptions
from studies.questions.posts.figures import posts_pictures
from studies.questions.posts.study import PostsStudy, posts_study
from studies.questions.posts.tables import posts_tables
from studies.solving.session import watched


def find(design: Design, options: PostsOptions) -> PostsStudy:
    """Work out the ripple of posts."""
    return watched(
        lambda watch: posts_study(
            design, options.also, watch, options.solving, estimate=options.estimate
        ),
        options.solving,
    )


QUESTION = Question(
    name="posts", find=find, tell=posts_tables, draw=posts_pictures, next_steps=then_choose
)
