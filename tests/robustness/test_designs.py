"""Any design: a valid one solves and keeps its power, an invalid one is refused in words."""

import io
import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from rich.console import Console
from strategies import Tables, damaged, designs, toml

from dispersion.checks import POWER_WARNING_DB, remarks_after
from dispersion.solvers import solve_waves
from studies.design import Design, DesignError, parse_design
from studies.exports import csv_text, json_text
from studies.grid import problem_of
from studies.printing import print_findings
from studies.tables import section_tables

FEW = settings(max_examples=8, deadline=None, derandomize=True)
MANY = settings(max_examples=40, deadline=None, derandomize=True)
MORE_DAMAGE = settings(max_examples=30, deadline=None, derandomize=True)


def read(tables: Tables) -> Design:
    return parse_design(toml(tables), "drawn.toml")


def solves_or_says_why_not(tables: Tables) -> None:
    design = read(tables)
    problem = problem_of(design, design.assembly(), 4)
    few = replace(problem, frequencies=problem.frequencies[[0, -1]])
    response = solve_waves(few, workers=1)
    assert np.all(np.isfinite(response.far)) and np.all(np.isfinite(response.near))
    if response.worst_power_error_db > POWER_WARNING_DB:
        assert any("power balance is off" in remark for remark in remarks_after(response))


def is_told_in_finite_numbers(tables: Tables) -> None:
    plainly = tables | {
        "title": "t",
        "seats": [{**s, "name": "s"} for s in tables.get("seats", [])],
    }
    findings = section_tables(read(plainly))
    console = Console(file=io.StringIO(), width=200)
    print_findings(console, findings)
    for text in (console.file.getvalue(), *map(csv_text, findings.tables), json_text(findings)):
        assert not re.search(r"(?<![a-z])-?(nan|inf|infinity)(?![a-z])", text.lower())


def is_refused_by_its_key(damage: tuple[Tables, str]) -> None:
    tables, key = damage
    with pytest.raises(DesignError) as refused:
        read(tables)
    assert all(line.startswith("drawn.toml: ") for line in str(refused.value).splitlines())
    assert all(line.isprintable() for line in str(refused.value).splitlines())
    assert any(mistake.key.startswith(key) for mistake in refused.value.mistakes)


test_a_valid_design_solves_or_says_why_not = FEW(given(designs())(solves_or_says_why_not))
test_a_valid_design_is_told_in_finite_numbers = FEW(given(designs())(is_told_in_finite_numbers))
test_one_damage_is_refused_by_its_key = MORE_DAMAGE(given(damaged())(is_refused_by_its_key))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("holds", "drawn"),
    [
        (solves_or_says_why_not, designs),
        (is_told_in_finite_numbers, designs),
        (is_refused_by_its_key, damaged),
    ],
    ids=["solves", "finite", "refused"],
)
def test_the_same_for_many(holds: Callable[..., None], drawn: Callable[..., object]) -> None:
    MANY(given(drawn())(holds))()
