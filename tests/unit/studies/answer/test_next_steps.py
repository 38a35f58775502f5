"""What to ask next: commands that exist, for tables that the design has."""

import shlex
from pathlib import Path

import pytest

from studies import cli
from studies.answer.delivering import QUESTIONS
from studies.answer.next_steps import next_steps, told_next
from studies.design import Design, parse_design

EXAMPLE = Path(__file__).parents[2] / "studies" / "examples" / "reading_room.toml"
TEXT = EXAMPLE.read_text(encoding="utf-8")


@pytest.fixture
def design() -> Design:
    return parse_design(TEXT, EXAMPLE.parent / "my room.toml")


def bare() -> Design:
    """The example without anything that it asks."""
    return parse_design(TEXT[: TEXT.index("[trim]")], "bare.toml")


@pytest.mark.parametrize("command", QUESTIONS)
def test_every_step_is_a_command(command: str, design: Design) -> None:
    for given in (design, bare()):
        for name, tells in next_steps(command, given):
            assert name in cli.main.commands
            assert name != command
            assert tells


def test_studies_without_a_table_are_left_out(design: Design) -> None:
    assert [name for name, _ in next_steps("section", design)] == [
        "spread",
        "trim",
        "gap",
        "contest",
    ]
    assert [name for name, _ in next_steps("section", bare())] == ["spread", "explore"]


def test_the_words_can_be_copied(design: Design) -> None:
    ((line, _),) = told_next("cut", design, Path("there"))
    assert shlex.split(line) == ["roundcast", "meter", str(design.path)]


def test_sheet_and_carved_curve_are_named_where_they_lie(design: Design) -> None:
    ((overlay, _),) = told_next("meter", design, Path("a b"))
    assert overlay.endswith("'a b/meter-to-fill.csv'")
    ((carved, _),) = told_next("carve", design, Path("there"))
    assert carved == f"roundcast section {Path('there', 'carved.toml')}"
    assert told_next("overlay", design, Path("there")) == ()


@pytest.mark.parametrize("command", cli.main.commands)
def test_every_command_shows_an_example_that_it_takes(command: str) -> None:
    shown = (cli.main.commands[command].epilog or "").partition("Example: roundcast ")[2]
    name, *words = shlex.split(shown.partition(" > ")[0])
    assert name == command
    cli.main.commands[command].make_context(name, words)  # an error if it would be refused
