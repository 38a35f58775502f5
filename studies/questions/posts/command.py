"""`roundcast posts`: its options."""

from __future__ import annotations

import re
from dataclasses import dataclass

import click

from studies.answer.command_options import (
    Refusal,
    example,
    metres,
    output_options,
    per_band_option,
    require_few,
    some_solver_options,
)
from studies.answer.delivery import DesignDelivery
from studies.solving.options import Options, SolverOptions

MOST_POSTS = 24
"""As in [posts]; a test compares the two."""
MOST_AT_ONCE = 20


@dataclass(frozen=True, kw_only=True)
class PostsOptions(Options):
    """What `roundcast posts` was asked.

    Attributes
    ----------
    also : tuple[tuple[int, float], ...]
        Count and diameter, m, of other posts to compare with.
    """

    also: tuple[tuple[int, float], ...] = ()


@click.command(epilog=example("posts mine.toml --also '4 x 12mm'"))
@output_options
@click.option(
    "--also",
    multiple=True,
    metavar='"N x DIAMETER"',
    help='Other posts to hold against, such as "4 x 12mm"; may be repeated.'
    " [default: one more post, and both counts at twice the diameter]",
)
@some_solver_options(per_band_option)
def posts(delivery: DesignDelivery, solving: SolverOptions, also: tuple[str, ...]) -> None:
    """How far the level swings round the column.

    For the posts in the file and for others on the same circle: an estimate.
    """
    from studies.answer.delivering import answer
    from studies.questions.posts.question import QUESTION

    require_few("also", also, MOST_AT_ONCE)
    posts = tuple(map(_count_and_diameter, also))
    answer(QUESTION, delivery, PostsOptions(also=posts, solving=solving))


def _count_and_diameter(text: str) -> tuple[int, float]:
    count, times, diameter = text.partition("x")
    number = int(count) if re.fullmatch(r"\s*[0-9]{1,3}\s*", count) else 0
    if not times or number < 1:
        raise Refusal(f'--also: "{text}" is not posts: write count x diameter, such as "4 x 12mm"')
    if number > MOST_POSTS:
        raise Refusal(f'--also: "{text}" is a fence: {MOST_POSTS} posts at most')
    return number, metres("also", diameter.strip())
