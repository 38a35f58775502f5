"""What to ask next: commands that exist, for tables that the design has."""

import shlex
from pathlib import Path

import pytest
from small import EXAMPLES, every_question

from studies import cli
from studies.answer.question import Question
from studies.design import Design, parse_design

EXAMPLE = EXAMPLES / "reading_room.toml"
TEXT = EXAMPLE.read_text(encoding="utf-8")
QUESTIONS = {question.name: question for question in every_question()}


@pytest.fixture
def design() -> Design:
    return parse_design(TEXT, EXAMPLE.parent / "my room.toml")


def bare() -> Design:
    """The example without anything that it asks."""
    return parse_design(TEXT[: TEXT.index("[trim]")], "bare.toml")


def commands_after(name: str, design: Design) -> list[str]:
    steps = QUESTIONS[name].next_steps(design, Path("there"))
    return [shlex.split(line)[1] for line, _ in steps]


@pytest.mark.parametrize("question", QUESTIONS.values(), ids=QUESTIONS)
def test_every_step_is_a_command(question: Question, design: Design) -> None:
    for given in (design, bare()):
        for line, tells in question.next_steps(given, Path("there")):
            program, name, *_ = shlex.split(line)
            assert program == "roundcast"
            assert name in cli.main.commands
            assert name != question.name
            assert tells


def test_studies_without_a_table_are_left_out(design: Design) -> None:
    assert commands_after("section", design) == ["spread", "trim", "gap", "contest"]
    assert commands_after("section", bare()) == ["spread", "explore"]
    assert commands_after("gap", design) == ["trim", "contest", "tolerance"]


def test_the_words_can_be_copied(design: Design) -> None:
    ((line, _),) = QUESTIONS["cut"].next_steps(design, Path("there"))
    assert shlex.split(line) == ["roundcast", "meter", str(design.path)]


def test_sheet_and_carved_curve_are_named_where_they_lie(design: Design) -> None:
    (driver, _), (overlay, _) = QUESTIONS["meter"].next_steps(design, Path("a b"))
    assert driver.endswith("'a b/driver-to-fill.csv' --fit-cone")
    assert overlay.endswith("'a b/meter-to-fill.csv'")
    ((carved, _),) = QUESTIONS["carve"].next_steps(design, Path("there"))
    assert carved == f"roundcast section {Path('there', 'carved.toml')}"
    chosen = [line for line, _ in QUESTIONS["contest"].next_steps(design, Path("there"))]
    won = Path("there", "chosen.toml")
    assert chosen == [f"roundcast tolerance {won}", f"roundcast cut {won}"]
    assert commands_after("overlay", design) == ["trim", "gap", "contest"]
    assert commands_after("export", design) == []


@pytest.mark.parametrize("command", cli.main.commands)
def test_every_command_shows_an_example_that_it_takes(command: str) -> None:
    shown = (cli.main.commands[command].epilog or "").partition("Example: roundcast ")[2]
    name, *words = shlex.split(shown.partition(" > ")[0])
    assert name == command
    cli.main.commands[command].make_context(name, words)  # an error if it would be refused
