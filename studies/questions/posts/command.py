"""`roundcast posts`: its options."""

from __future__ import annotations

import re
from dataclasses import dataclass

import click

from studies.answer.command_options import (
    Refusal,
    budget_options,
    example,
    finer_option,
    ledger_option,
    metres,
    no_ledger_option,
    output_options,
    per_band_option,
    require_few,
    some_solver_options,
    workers_option,
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
    estimate : bool
        Quickly and roughly, by the gap's modes alone.
    """

    also: tuple[tuple[int, float], ...] = ()
    estimate: bool = False


@click.command(epilog=example("posts mine.toml --also '4 x 12mm'"))
@output_options
@click.option(
    "--also",
    multiple=True,
    metavar='"N x DIAMETER"',
    help='Other posts to hold against, such as "4 x 12mm"; may be repeated.'
    " [default: one more post, and both counts at twice the diameter]",
)
@click.option(
    "--estimate",
    is_flag=True,
    help="A quick look, good to 0.1 dB up to 4 kHz and low by up to 1.4 dB above.",
)
@some_solver_options(
    workers_option, per_band_option, finer_option, ledger_option, no_ledger_option, *budget_options
)
def posts(
    delivery: DesignDelivery, solving: SolverOptions, also: tuple[str, ...], estimate: bool
) -> None:
    """How far the level swings round the column.

    For the posts in the file and for others, solved exactly.
    """
    from studies.answer.delivering import answer
    from studies.questions.posts.question import QUESTION

    require_few("also", also, MOST_AT_ONCE)
    posts = tuple(map(_count_and_diameter, also))
    answer(QUESTION, delivery, PostsOptions(also=posts, estimate=estimate, solving=solving))


def _count_and_diameter(text: str) -> tuple[int, float]:
    count, times, diameter = text.partition("x")
    number = int(count) if re.fullmatch(r"\s*[0-9]{1,3}\s*", count) else 0
    if not times or number < 1:
        raise Refusal(f'--also: "{text}" is not posts: write count x diameter, such as "4 x 12mm"')
    if number > MOST_POSTS:
        raise Refusal(f'--also: "{text}" is a fence: {MOST_POSTS} posts at most')
    return number, metres("also", diameter.strip())
