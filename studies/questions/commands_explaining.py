"""Why it is so: what a room adds, waves seen, rays, posts, how far to believe quick methods."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import click

from studies.commands.options import (
    Refusal,
    example,
    finer_option,
    hertz,
    metres,
    output_options,
    per_band_option,
    require_few,
    wave_options,
    workers_option,
    writing_options,
)

MOST_POSTS = 24
"""As in [posts]; a test holds them against each other."""
MOST_AT_ONCE = 20


@click.command(epilog=example("seat mine.toml"))
@output_options
@wave_options
@click.option(
    "--wav-length",
    type=click.FloatRange(min=1.0),
    metavar="MS",
    help="Of the impulse responses, milliseconds. [default: as long as the latest bounce and the"
    " lowest frequency need, up to the next tenth of a second]",
)
def seat(**given: Any) -> None:
    """What reaches your chair.

    Direct sound and the first bounces off floor, ceiling and walls, sitting against standing, a
    wall close behind against the free room, and impulse responses as WAV. Say in [room] of the
    design file how large the room is, where the column stands and what its surfaces absorb; without
    it there are floor and ceiling. Stops at first bounces: no room simulator.
    """
    from studies.running import answer

    answer("seat", **given)


@click.command("slice", epilog=example("slice mine.toml --at 3.15kHz --at 5kHz"))
@output_options
@click.option(
    "--at",
    multiple=True,
    metavar="FREQUENCY",
    help='Such as "2 kHz"; may be repeated. [default: 500 Hz, 2 kHz and 8 kHz]',
)
@workers_option
@finer_option
def slice_(at: tuple[str, ...], **given: Any) -> None:
    """Show the wave inside and round the ring.

    The pressure in a slice through the axis, still and as a looping animation.
    """
    from studies.running import answer

    require_few("at", at, MOST_AT_ONCE)
    answer("slice", at=[hertz(text) for text in at], **given)


@click.command(epilog=example("rays mine.toml --shift 3mm --tilt 1"))
@output_options
@workers_option
@click.option(
    "--rays",
    type=int,
    default=2**19,
    show_default=True,
    metavar="N",
    help="Rays that are counted.",
)
@click.option("--shift", help="Reflector and plate off the axis, towards the first post: 3mm.")
@click.option(
    "--tilt",
    type=click.FloatRange(-30.0, 30.0),
    default=0.0,
    metavar="DEG",
    help="Reflector and plate askew, down on the side of the first post.",
)
@click.option(
    "--stl",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A reflector of any form in place of the design's: watertight, its base at z = 0, its tip"
    " hanging down.",
)
@click.option(
    "--stl-unit",
    type=click.Choice(("mm", "cm", "m", "in")),
    default="mm",
    show_default=True,
    help="Unit of the STL file's numbers.",
)
def rays(shift: str | None, **given: Any) -> None:
    """Why the sound goes where it goes.

    Rays through the section, where the energy goes and over which surfaces, and which paths make
    the notches. In the time of a click.
    """
    from studies.running import answer

    answer("rays", shift=0.0 if shift is None else metres("shift", shift), **given)


@click.command(epilog=example("posts mine.toml --also '4 x 12mm'"))
@output_options
@click.option(
    "--also",
    multiple=True,
    metavar='"N x DIAMETER"',
    help='Other posts to hold against, such as "4 x 12mm"; may be repeated.'
    " [default: one more post, and both counts at twice the diameter]",
)
@per_band_option
def posts(also: tuple[str, ...], **given: Any) -> None:
    """How far the level swings round the column.

    For the posts in the file and for others on the same circle: an estimate.
    """
    from studies.running import answer

    require_few("also", also, MOST_AT_ONCE)
    answer("posts", also=[_count_and_diameter(text) for text in also], **given)


def _count_and_diameter(text: str) -> tuple[int, float]:
    count, times, diameter = text.partition("x")
    number = int(count) if re.fullmatch(r"\s*[0-9]{1,3}\s*", count) else 0
    if not times or number < 1:
        raise Refusal(f'--also: "{text}" is not posts: write count x diameter, such as "4 x 12mm"')
    if number > MOST_POSTS:
        raise Refusal(f'--also: "{text}" is a fence: {MOST_POSTS} posts at most')
    return number, metres("also", diameter.strip())


@click.command(epilog=example("trust mine.toml"))
@output_options
@per_band_option
@workers_option
def trust(**given: Any) -> None:
    """How far each quick method can be believed.

    Holds every method against the wave solver, for this design and a spread of caps, cones and
    gaps round it.
    """
    from studies.running import answer

    answer("trust", **given)


@click.command(epilog=example("proof"))
@writing_options
@workers_option
@click.pass_context
def proof(context: click.Context, /, **given: Any) -> None:
    """Is the program right? Needs no design.

    Holds it against published numbers and exact fields: value, reference, difference, limit and
    source of each, and what has not been checked. Files go to the folder roundcast-proof. If a
    check fails the exit status is 1.
    """
    from studies.running import show_proof

    if not show_proof(**given):
        context.exit(1)
