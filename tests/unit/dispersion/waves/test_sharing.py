"""Blocks that problems share: the same to the last bit, found where they should, bounded."""

import numpy as np
import pytest

from dispersion.air import Air
from dispersion.problem import Problem
from dispersion.solvers import solve_waves
from dispersion.sources import Way
from dispersion.waves import SharedBlocks, axial_motion, solve
from dispersion.waves.sharing import Block
from shapes import Assembly, Column, Driver, DustCap, TopPlate, ball_cap

FREQUENCIES = np.array([400.0, 1500.0])
BUILT = Assembly(
    column=Column(width=0.2, height=0.4),
    driver=Driver(
        effective_radius=0.052,
        frame_radius=0.065,
        cone_depth=0.022,
        centre=DustCap(0.017, 0.009),
        proud=0.003,
    ),
    plate_gap=0.06,
    reflector=ball_cap(0.18, 0.03),
    plate=TopPlate(0.1, 0.015, 0.003),
)


def problem(assembly: Assembly) -> Problem:
    return Problem(assembly=assembly, ways=(Way(name="driver"),), frequencies=FREQUENCIES)


def test_sharing_changes_no_bit() -> None:
    shared = SharedBlocks()
    variants = (
        BUILT,
        BUILT.with_gap(0.0734),
        BUILT.with_reflector(ball_cap(0.18, 0.041)),
        BUILT.with_reflector(None),
        BUILT.without_upper(),
    )
    for assembly in variants:
        alone = solve_waves(problem(assembly))
        together = solve_waves(problem(assembly), shared=shared)
        assert np.array_equal(alone.far_by_way, together.far_by_way)
        assert np.array_equal(alone.power_error_db, together.power_error_db)


def test_column_and_reflector_are_made_once_for_every_frequency() -> None:
    shared = SharedBlocks()
    for gap in (0.05, 0.06, 0.0712345, 0.08):
        solve_waves(problem(BUILT.with_gap(gap)), shared=shared)
    # Two bodies, each with its block of the system and of the far field; the plate's far side on
    # itself, and with the column at each gap.
    assert shared.made == (5 + 4) * FREQUENCIES.size
    assert shared.found == 3 * 4 * FREQUENCIES.size
    # The plate is where it was: what is new is the reflector on itself, and what it sends out.
    solve_waves(problem(BUILT.with_reflector(ball_cap(0.18, 0.02))), shared=shared)
    assert shared.made == (9 + 2) * FREQUENCIES.size
    assert shared.found == (12 + 4) * FREQUENCIES.size


@pytest.mark.parametrize("order", [0, 1])
def test_a_lifted_body_is_the_body_higher_up(order: int) -> None:
    lower, upper = BUILT.bodies
    (_, _), (own, lift) = BUILT.placed_bodies
    drives = [axial_motion("driver", {"cone", "dust cap"}, Air())]
    elevations = np.linspace(-90.0, 90.0, 19)
    fixed = solve((lower, upper), 1500.0, drives, order=order).far_field(elevations)
    lifted = solve((lower, own), 1500.0, drives, order=order, lifts=(0.0, lift))
    difference = np.abs(lifted.far_field(elevations) - fixed).max()
    assert difference < 1e-9 * np.abs(fixed).max()


def test_air_and_mesh_are_not_mixed_up() -> None:
    shared = SharedBlocks()
    solve_waves(problem(BUILT), shared=shared)
    made = shared.made
    other = Problem(assembly=BUILT, ways=(Way(name="driver"),), frequencies=FREQUENCIES * 1.001)
    solve_waves(other, shared=shared)
    assert shared.made == 2 * made


def test_memory_is_bounded_and_the_least_used_goes_first() -> None:
    def block() -> Block:
        return Block(np.zeros((10, 10), dtype=complex), np.zeros((10, 0), dtype=complex))

    shared = SharedBlocks(most_bytes=3 * block().size)
    for key in "abc":
        shared.find(key, block)
    shared.find("a", block)
    shared.find("d", block)  # b goes
    assert (shared.made, shared.found) == (4, 1)
    for key in "acd":
        shared.find(key, block)
    assert (shared.made, shared.found) == (4, 4)
    shared.find("b", block)
    assert shared.made == 5
