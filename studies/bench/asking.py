"""Questions on the bench are the commands themselves: their options, their words, their refusals.

A command is called with the options that were chosen on the page; what it would answer at the
terminal is taken from it (`TAKEN_BY`) and answered here. Options that name files, folders or other
machines are not offered, so that the page can name none.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import click

from studies.answer.command_options import Refusal
from studies.answer.delivering import TAKEN_BY
from studies.answer.delivery import DesignDelivery
from studies.answer.question import Question
from studies.bench.folder import Folder
from studies.design import Design
from studies.questions import COMMANDS
from studies.solving.budget import Cost, estimate
from studies.solving.options import Options, SolverOptions

Data = dict[str, Any]
OFFERED = (
    "trim", "gap", "contest", "carve", "felt", "tolerance", "posts", "explore", "spread", "seat",
    "meter", "overlay", "cut", "section", "slice", "export",
)  # fmt: skip
"""Commands that the page offers, in the order of the work."""
MOST_WORDS = 200
"""Characters of one option."""
_HIDDEN = {field.name for kind in (DesignDelivery, SolverOptions) for field in fields(kind)}
_FILES = "files"


class AskError(ValueError):
    """A question that cannot be asked; the message says why."""


@dataclass(frozen=True, kw_only=True)
class Asked:
    """One question, ready to be answered.

    Attributes
    ----------
    question : Question
    delivery : DesignDelivery
    options : Options
    """

    question: Question[Any, Any]
    delivery: DesignDelivery
    options: Options

    def find(self, design: Design, solving: SolverOptions) -> Any:
        """Answer it with these options of the solver."""
        return self.question.find(design, replace(self.options, solving=solving))

    def cost(self, design: Design, workers: int | None = None) -> Cost | None:
        """What it will take on this machine; None where nothing is solved."""
        weigh = self.question.weigh
        work = () if weigh is None else weigh(design, self.options)
        return estimate(design, work, workers) if work else None


def offered() -> list[Data]:
    """Every question: name, the sentence of its help, and the options that can be chosen."""
    by_name = {command.name: command for command in COMMANDS}
    return [_described(by_name[name]) for name in OFFERED]


def ask(
    name: str, path: Path, options: Mapping[str, str], files: Sequence[str], folder: Folder
) -> Asked:
    """Read a question as its command does.

    Parameters
    ----------
    name : str
        One of `OFFERED`.
    path : Path
        The design's file, as the command would name it.
    options : mapping of str to str
        What was chosen, by the option's name; empty is left out.
    files : sequence of str
        Names of measurements in the folder, for what takes them.
    folder : Folder

    Raises
    ------
    AskError
        In the words of the command.
    """
    if name not in OFFERED:
        raise AskError(f"{name!r} is no question of the bench")
    command = next(command for command in COMMANDS if command.name == name)
    words = [str(path), *_files(command, files, folder), *_options(command, options)]
    taken: list[Asked] = []

    def take(question: Question[Any, Any], delivery: DesignDelivery, asked: Options) -> None:
        taken.append(Asked(question=question, delivery=delivery, options=asked))

    before = TAKEN_BY.set(take)
    try:
        command.main(words, prog_name=f"roundcast {name}", standalone_mode=False)
    except click.ClickException as error:
        raise AskError(error.format_message()) from error
    except ValueError as error:
        raise AskError(str(error)) from error
    finally:
        TAKEN_BY.reset(before)
    if not taken:
        raise AskError(f"{name} cannot be asked here")
    return taken[0]


def _described(command: click.Command) -> Data:
    about = (command.help or "").replace("\b", "").strip()
    return {
        "name": command.name,
        "help": about.split("\n\n")[0].replace("\n", " "),
        "files": any(param.name == _FILES for param in command.params),
        "options": [_option(param) for param in _own(command)],
    }


def _own(command: click.Command) -> list[click.Option]:
    """Options of the command's own: none of the solver's, none that name a file."""
    return [
        param
        for param in command.params
        if isinstance(param, click.Option)
        and param.name not in _HIDDEN
        and not isinstance(param.type, click.Path | click.File)
    ]


def _option(param: click.Option) -> Data:
    choices = list(param.type.choices) if isinstance(param.type, click.Choice) else []
    default = param.default if isinstance(param.default, str | int | float) else None
    return {
        "name": param.name,
        "label": (param.name or "").replace("_", " "),
        "help": _without_a_terminal(param),
        "choices": ["yes"] if param.is_flag else choices,
        "usual": "" if default is None or isinstance(default, bool) else str(default),
        "many": param.multiple,
    }


def _without_a_terminal(param: click.Option) -> str:
    """The help of an option as a page says it: what counts if left out, and no flags."""
    words = re.sub(r"\[default: (.*)\]\.?$", r"Left out: \1.", param.help or "")
    for flag in param.opts:
        words = words.replace(f"{flag} ", "")
    return words


def _files(command: click.Command, files: Sequence[str], folder: Folder) -> list[str]:
    if not any(param.name == _FILES for param in command.params):
        return []
    known = folder.measured()
    if unknown := [name for name in files if name not in known]:
        raise AskError(f"{unknown[0]}: there is no such file in the folder")
    if not files:
        raise AskError("choose what was measured: a filled-in sheet, or an index of curves")
    return [str(folder.path / name) for name in files]


def _options(command: click.Command, given: Mapping[str, str]) -> list[str]:
    """Words of the command line; a value can never be taken for an option."""
    own = {param.name: param for param in _own(command)}
    words: list[str] = []
    for name, text in given.items():
        if name not in own:
            raise AskError(f"{command.name} has no option {name!r} here")
        if len(text) > MOST_WORDS:
            raise AskError(f"{name}: too long")
        param, flag = own[name], max(own[name].opts, key=len)
        if not text.strip():
            continue
        if param.is_flag:
            words.append(flag)
            continue
        each = text.split(";") if param.multiple else [text]
        words += [f"{flag}={one.strip()}" for one in each]
    return words


def refused(error: Exception) -> bool:
    """Whether an error is a mistake of the user's, in words; else it is a fault of the program."""
    ours = type(error).__module__.partition(".")[0] in ("shapes", "dispersion", "studies")
    return isinstance(error, Refusal | OSError) or (ours and isinstance(error, ValueError))
