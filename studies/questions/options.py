"""Options that several commands share, and how their words are read."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click
from platformdirs import user_data_path

METHODS = ("waves", "edges", "rays", "images")
"""Names in `dispersion.solvers.SOLVERS`; a test holds them against it."""
USER_MISTAKE = 2


class Refusal(click.ClickException):
    """A mistake of the user, told in one message."""

    exit_code = USER_MISTAKE


def example(words: str) -> str:
    """Line at the end of a command's help that shows how it is asked."""
    return f"\b\nExample: roundcast {words}"


def output_options(command: Callable[..., None]) -> Callable[..., None]:
    """Options of every command that answers a question about a design."""
    options = (
        click.argument("path", metavar="DESIGN", type=click.Path(path_type=Path)),
        writing_options,
        click.option(
            "--allow-outside",
            is_flag=True,
            help="Let the design, and an index of measurements, name files outside of their own"
            " folders: for files that you trust.",
        ),
    )
    return _with_options(command, options)


def writing_options(command: Callable[..., None]) -> Callable[..., None]:
    """Where an answer goes, and in which form."""
    options = (
        click.option(
            "--out",
            type=click.Path(path_type=Path),
            metavar="DIR",
            help="Folder for the report (HTML), tables (CSV), data (JSON) and pictures (PNG, SVG)."
            " [default: named after the design and the command, in the current folder]",
        ),
        click.option(
            "--json", "as_json", is_flag=True, help="Print one JSON document in place of tables."
        ),
        click.option(
            "--dated",
            is_flag=True,
            help="Put today's date on the report; without it the same input gives the same bytes.",
        ),
    )
    return _with_options(command, options)


workers_option = click.option(
    "--workers",
    type=click.IntRange(min=1),
    metavar="N",
    help="Threads; the result is the same for any number. [default: all processors]",
)


per_band_option = click.option(
    "--per-band",
    type=click.IntRange(min=4, max=96),
    metavar="N",
    help="Frequencies in each third-octave band, 4 or more; trim and gap solve their"
    " leaders at 12 or more in any case. [default: trim, gap,"
    " explore and posts 4, trust 8, others 12]",
)


finer_option = click.option(
    "--finer",
    type=click.FloatRange(min=1.0, max=4.0),
    default=1.0,
    metavar="FACTOR",
    help="Mesh of the wave solver this many times finer, as a proof that the mesh does not decide.",
)


ledger_option = click.option(
    "--ledger",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    envvar="ROUNDCAST_LEDGER",
    default=lambda: user_data_path("roundcast", appauthor=False) / "ledger.sqlite",
    help="Where finished solves are kept and found again, so that a run that was stopped goes on"
    " where it was. [default: a file among your programs' data, see `roundcast ledger`]",
)


no_ledger_option = click.option(
    "--no-ledger", is_flag=True, help="Look nothing up and keep nothing in the ledger."
)
budget_options = (
    click.option(
        "--time-budget",
        type=click.FloatRange(min=0.0),
        default=20.0,
        show_default=True,
        metavar="MIN",
        help="Ask before a study that would take longer than this.",
    ),
    click.option(
        "--memory-budget",
        type=click.FloatRange(min=0.0),
        default=4000.0,
        show_default=True,
        metavar="MB",
        help="Ask before a study that would take more than this.",
    ),
    click.option("--yes", is_flag=True, help="Do not ask: start whatever it takes."),
)


def wave_options(command: Callable[..., None]) -> Callable[..., None]:
    """Options of a command that asks the wave solver only, at frequencies of its own choice."""
    options = (workers_option, finer_option, ledger_option, no_ledger_option, *budget_options)
    return _with_options(command, options)


def solver_options(command: Callable[..., None]) -> Callable[..., None]:
    """Options of every command that solves something."""
    options = (
        workers_option,
        per_band_option,
        click.option(
            "--method",
            type=click.Choice(METHODS),
            default=METHODS[0],
            help="How to solve; `roundcast trust` tells how far each method can be believed.",
        ),
        finer_option,
        ledger_option,
        no_ledger_option,
        click.option(
            "--cluster",
            metavar="ADDRESS",
            help="Solve on the workers of a running Dask scheduler, such as tcp://192.0.2.7:8786;"
            " needs the package distributed. The results are the same.",
        ),
        *budget_options,
    )
    return _with_options(command, options)


def _with_options(command: Callable[..., None], options: tuple[Any, ...]) -> Callable[..., None]:
    return functools.reduce(lambda made, option: option(made), reversed(options), command)


def metres(option: str, text: str) -> float:
    """Read an option's length, with its unit."""
    from shapes.lengths import LengthError, parse_length

    try:
        return parse_length(text)
    except LengthError as error:
        raise Refusal(f"--{option}: {error}") from error


def require_few(option: str, given: Sequence[str], most: int) -> None:
    """Refuse an option that was given more often than one answer can hold."""
    if len(given) > most:
        raise Refusal(f"--{option} was given {len(given)} times, {most} at most: ask twice")


def hertz(text: str) -> float:
    """Read a frequency of --at."""
    from shapes.lengths import LengthError, parse_frequency

    try:
        return parse_frequency(text)
    except LengthError as error:
        raise Refusal(f"--at: {error}") from error
