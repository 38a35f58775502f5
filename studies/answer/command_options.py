"""Options that several commands share, how their words are read, and how they become values."""

from __future__ import annotations

import functools
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any, Concatenate, ParamSpec, TypeVar

import click

from studies.answer.delivery import Delivery, DesignDelivery
from studies.solving.options import SolverOptions, default_ledger

METHODS = ("waves", "edges", "rays", "images")
"""Names in `dispersion.solvers.SOLVERS`; a test holds them against it."""
USER_MISTAKE = 2
LEAST_HZ, MOST_HZ = 20.0, 20e3
"""As of the frequencies in a design file."""
BIDIRECTIONAL = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}
"""Classes of Unicode's characters that turn the order of what follows."""
ARGUMENTS = ("files",)
"""What stands on the command line without a name."""
CHANGES_NOTHING = ("workers", "ledger", "no_ledger", "cluster")
BUDGET = ("time_budget", "memory_budget", "yes")

Own = ParamSpec("Own")
"""A command's own options."""
To = TypeVar("To", bound=Delivery)
"""Where a command's answer goes: its first argument."""
Value = TypeVar("Value", bound=Delivery | SolverOptions)
Option = Callable[[Callable[..., None]], Callable[..., None]]
"""Decorates a command with an option of click."""


class Refusal(click.ClickException):
    """A mistake of the user, shown as one message; ends the program with exit status 2."""

    exit_code = USER_MISTAKE

    def format_message(self) -> str:
        """Return the message with nothing in it that a terminal obeys."""
        return visible(super().format_message())


def visible(words: str) -> str:
    """Write control and bidirectional characters out, which files and folders may be named with.

    A terminal obeys them; line ends stay.
    """
    return "".join(one if one == "\n" or not _is_obeyed(one) else _escaped(one) for one in words)


def _is_obeyed(character: str) -> bool:
    bidirectional = unicodedata.bidirectional(character) in BIDIRECTIONAL
    return bidirectional or unicodedata.category(character) in ("Cc", "Cs", "Zl", "Zp")


def _escaped(character: str) -> str:
    return character.encode("unicode_escape", "backslashreplace").decode("ascii")


def as_metres(ctx: click.Context, option: click.Parameter, text: str | None) -> float | None:
    """Callback of an option: its length in metres, None if it was not given."""
    return None if text is None else metres(_name_of(option), text)


def as_hertz(ctx: click.Context, option: click.Parameter, texts: Sequence[str]) -> Sequence[float]:
    """Callback of an option: every frequency in Hz, of those that a design file may ask for."""
    from shapes.lengths import LengthError, parse_frequency

    try:
        found = tuple(parse_frequency(text) for text in texts)
    except LengthError as error:
        raise Refusal(f"--{_name_of(option)}: {error}") from error
    for text, frequency in zip(texts, found, strict=True):
        if not LEAST_HZ <= frequency <= MOST_HZ:
            raise Refusal(f"--{_name_of(option)}: {text} is outside 20 Hz to 20 kHz")
    return found


def _name_of(option: click.Parameter) -> str:
    return (option.name or "").replace("_", "-")


def metres(option: str, text: str) -> float:
    """Read an option's length, in metres; Refusal if it is none or has no unit."""
    from shapes.lengths import LengthError, parse_length

    try:
        return parse_length(text)
    except LengthError as error:
        raise Refusal(f"--{option}: {error}") from error


def require_few(option: str, given: Sequence[object], most: int) -> None:
    """Raise a Refusal if an option was given more than `most` times."""
    if len(given) > most:
        raise Refusal(f"--{option} was given {len(given)} times, {most} at most: ask twice")


def example(words: str) -> str:
    """Return the last lines of a command's help: an example of its use."""
    return f"\b\nExample: roundcast {words}"


workers_option = click.option(
    "--workers",
    type=click.IntRange(min=1),
    metavar="N",
    help="Threads, or processes where there is much to do; the result is the same for any number."
    " [default: all processors]",
)


per_band_option = click.option(
    "--per-band",
    type=click.IntRange(min=4, max=96),
    metavar="N",
    help="Frequencies in each third-octave band, evenly spaced, 4 or more; trim, gap and explore"
    " solve their leaders at 12 or more in any case. [default: spread, trim, gap, contest,"
    " explore, carve, seat and export as many as it takes until every band has settled; posts and"
    " meter 4, trust 8, others 12; quick methods 4 or 12]",
)


_full_option = click.option(
    "--full",
    is_flag=True,
    help="Solve every candidate at 24 evenly spaced frequencies a third octave, to check what was"
    " chosen by need; takes several times as long.",
)


finer_option = click.option(
    "--finer",
    type=click.FloatRange(min=1.0, max=4.0),
    default=1.0,
    metavar="FACTOR",
    help="Mesh of the wave solver this many times finer, as a proof that the mesh does not decide.",
)


as_written_option = click.option(
    "--as-written",
    is_flag=True,
    help="Judge by the very sizes of the file only: quicker, and less sure.",
)
ledger_option = click.option(
    "--ledger",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    envvar="ROUNDCAST_LEDGER",
    default=default_ledger,
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
_method_option = click.option(
    "--method",
    type=click.Choice(METHODS),
    default=METHODS[0],
    help="How to solve; `roundcast trust` tells how far each method can be believed.",
)
_cluster_option = click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Solve on the workers of a running Dask scheduler, such as tcp://192.0.2.7:8786;"
    " needs the package distributed. The results are the same.",
)
_WAVE_OPTIONS = (
    workers_option,
    per_band_option,
    _full_option,
    finer_option,
    ledger_option,
    no_ledger_option,
    _cluster_option,
    *budget_options,
)
_writing_options = (
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


def output_options(
    command: Callable[Concatenate[DesignDelivery, Own], None],
) -> Callable[..., None]:
    """Give a command about a design its argument and the options of its answer.

    The command receives them as its first argument, a `DesignDelivery`.
    """

    @functools.wraps(command)
    def deliver(*given: Any, **named: Any) -> None:
        command(_taken(DesignDelivery, named, asked=_asked()), *given, **named)

    design = click.argument("path", metavar="DESIGN", type=click.Path(path_type=Path))
    outside = click.option(
        "--allow-outside",
        is_flag=True,
        help="Let the design, and an index of measurements, name files outside of their own"
        " folders: for files that you trust.",
    )
    return _with_options(deliver, (design, *_writing_options, outside))


def writing_options(command: Callable[Concatenate[Delivery, Own], None]) -> Callable[..., None]:
    """Give a command that needs no design the options of its answer: a `Delivery`, first."""

    @functools.wraps(command)
    def deliver(*given: Any, **named: Any) -> None:
        command(_taken(Delivery, named), *given, **named)

    return _with_options(deliver, _writing_options)


def some_solver_options(
    *options: Option,
) -> Callable[
    [Callable[Concatenate[To, SolverOptions, Own], None]], Callable[Concatenate[To, Own], None]
]:
    """Give a command these of the solver's options.

    The command receives them as its second argument, a `SolverOptions` with the defaults of what
    it does not offer.
    """

    def offer(
        command: Callable[Concatenate[To, SolverOptions, Own], None],
    ) -> Callable[Concatenate[To, Own], None]:
        @functools.wraps(command)
        def solve(delivery: To, *given: Any, **named: Any) -> None:
            command(delivery, _taken(SolverOptions, named), *given, **named)

        return _with_options(solve, options)

    return offer


def solver_options(
    command: Callable[Concatenate[To, SolverOptions, Own], None],
) -> Callable[Concatenate[To, Own], None]:
    """Give a command all of the solver's options, see `some_solver_options`."""
    return some_solver_options(*_WAVE_OPTIONS[:3], _method_option, *_WAVE_OPTIONS[3:])(command)


def wave_options(
    command: Callable[Concatenate[To, SolverOptions, Own], None],
) -> Callable[Concatenate[To, Own], None]:
    """Give a command the options of the wave solver, which is all that can answer it."""
    return some_solver_options(*_WAVE_OPTIONS)(command)


def _taken(kind: type[Value], named: dict[str, Any], **more: Any) -> Value:
    """Make a dataclass of its fields among what was given by name, and take them out of it."""
    known = {field.name for field in fields(kind)}
    return kind(**{name: named.pop(name) for name in known & named.keys()}, **more)


def _with_options(command: Callable[..., None], options: Sequence[Option]) -> Callable[..., None]:
    """Decorate a command with options; the first is the first in its help."""
    return functools.reduce(lambda made, option: option(made), reversed(options), command)


def _asked() -> str:
    """Options as on the command line, without those that change nothing in the answer."""
    no_part = {field.name for field in fields(DesignDelivery)} | {*CHANGES_NOTHING, *BUDGET}
    asked = click.get_current_context()
    return " ".join(
        _in_words(value) if option.name in ARGUMENTS else _as_given(option, value)
        for option in asked.command.params
        if option.name not in no_part and (value := asked.params[option.name])
    )


def _as_given(option: click.Parameter, value: Any) -> str:
    """An option and its value, once for each where it may be repeated, alone if it is a switch."""
    if value is True:
        return option.opts[0]
    values = value if option.multiple else (value,)
    return " ".join(f"{option.opts[0]} {_in_words(one)}" for one in values)


def _in_words(value: Any) -> str:
    if isinstance(value, tuple | list):
        return " ".join(map(_in_words, value))
    return f"{value:g}" if isinstance(value, float) else str(value)
