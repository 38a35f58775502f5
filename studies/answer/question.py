"""What every command consists of: functions from a design to words, figures and files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

from studies.answer.next_steps import Step
from studies.answer.picture import Pictures
from studies.answer.table import Findings
from studies.design import Design
from studies.solving.budget import Work
from studies.solving.options import Options

Asked = TypeVar("Asked", bound=Options)
Found = TypeVar("Found")


def _nothing(_: Any) -> dict[str, Any]:
    return {}


def _no_step(design: Design, folder: Path) -> tuple[Step, ...]:
    return ()


@dataclass(frozen=True, kw_only=True)
class Question(Generic[Asked, Found]):
    """What a command does with a design.

    Attributes
    ----------
    name : str
        The command's name.
    find : callable
        (design, options) -> result: solves and chooses.
    tell : callable
        Result -> its answer in words and tables.
    draw : callable
        Result -> figures with their captions, by name.
    make : callable
        Result -> bytes of further files, by name.
    weigh : callable or None
        (design, options) -> the designs that `find` will solve, for the budget; None if few.
    next_steps : callable
        (design, folder of the results) -> command lines that usually come next.
    """

    name: str
    find: Callable[[Design, Asked], Found]
    tell: Callable[[Found], Findings]
    draw: Callable[[Found], Pictures] = _nothing
    make: Callable[[Found], dict[str, bytes]] = _nothing
    weigh: Callable[[Design, Asked], Work] | None = None
    next_steps: Callable[[Design, Path], tuple[Step, ...]] = _no_step
