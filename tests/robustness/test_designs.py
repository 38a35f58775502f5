"""Any design: a valid one solves and keeps its power, an invalid one is refused in words."""

import io
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from rich.console import Console
from strategies import Tables, damaged, designs, toml

from dispersion.checks import POWER_WARNING_DB, remarks_after
from dispersion.solvers import solve_waves
from studies.answer.exports import csv_text, json_text
from studies.answer.printing import print_findings
from studies.design import Design, DesignError, parse_design
from studies.questions.section.tables import section_tables
from studies.solving.grid import problem_of

FEW = settings(max_examples=8, deadline=None, derandomize=True)
MANY = settings(max_examples=40, deadline=None, derandomize=True)
MORE_DAMAGE = settings(max_examples=30, deadline=None, derandomize=True)


def read(tables: Tables) -> Design:
    return parse_design(toml(tables), "drawn.toml")


def is_sound(tables: Tables, ends_only: bool = False) -> bool:
    """Whether a valid design solves to finite fields, and its power is kept, or said not to be."""
    design = read(tables)
    problem = problem_of(design, design.assembly(), 4)
    if ends_only:
        problem = replace(problem, frequencies=problem.frequencies[[0, -1]])
    response = solve_waves(problem, workers=1)
    finite = bool(np.all(np.isfinite(response.far)) and np.all(np.isfinite(response.near)))
    warned = any("power balance is off" in remark for remark in remarks_after(response))
    return finite and (warned or response.worst_power_error_db <= POWER_WARNING_DB)


def no_numbers(tables: Tables) -> list[str]:
    """Find what is shown of a design as a number and is none."""
    plainly = tables | {
        "title": "t",
        "seats": [{**s, "name": "s"} for s in tables.get("seats", [])],
    }
    findings = section_tables(read(plainly))
    console = Console(file=io.StringIO(), width=200)
    print_findings(console, findings)
    shown = (console.file.getvalue(), *map(csv_text, findings.tables), json_text(findings))
    return re.findall(r"(?<![a-z])-?(?:nan|inf|infinity)(?![a-z])", "\n".join(shown).lower())


def is_refused_by_its_key(damage: tuple[Tables, str]) -> bool:
    """Whether a damaged design is refused in lines that can be printed, and its key named."""
    tables, key = damage
    with pytest.raises(DesignError) as refused:
        read(tables)
    lines = str(refused.value).splitlines()
    in_words = all(line.startswith("drawn.toml: ") and line.isprintable() for line in lines)
    return in_words and any(mistake.key.startswith(key) for mistake in refused.value.mistakes)


@FEW
@given(designs())
def test_a_valid_design_solves_at_the_ends_of_its_band_or_says_why_not(tables: Tables) -> None:
    assert is_sound(tables, ends_only=True)


@pytest.mark.slow
@MANY
@given(designs())
def test_many_valid_designs_solve_or_say_why_not(tables: Tables) -> None:
    assert is_sound(tables)


@FEW
@given(designs())
def test_a_valid_design_is_shown_in_finite_numbers(tables: Tables) -> None:
    assert no_numbers(tables) == []


@pytest.mark.slow
@MANY
@given(designs())
def test_many_valid_designs_are_shown_in_finite_numbers(tables: Tables) -> None:
    assert no_numbers(tables) == []


@MORE_DAMAGE
@given(damaged())
def test_one_damage_is_refused_by_its_key(damage: tuple[Tables, str]) -> None:
    assert is_refused_by_its_key(damage)


@pytest.mark.slow
@MANY
@given(damaged())
def test_many_damages_are_refused_by_their_key(damage: tuple[Tables, str]) -> None:
    assert is_refused_by_its_key(damage)
