"""Designs that differ in one size: what is read between them against closed forms."""

import numpy as np
import pytest

from dispersion.neighbours import LEAST_MEMBERS, Neighbours, read_between

SIZES = 1e-3 * np.arange(15.0, 56.0)
K = 2.0 * np.pi * 8000.0 / 343.0
PATHS = np.linspace(0.0, 2.0, 12)


def echoes(size: float, pole: complex = 0.030 - 0.004j) -> np.ndarray:
    """Paths that grow with the size at several rates, and one resonance at a size (m)."""
    return np.exp(1j * K * PATHS * size) + 0.01 * (1.0 + PATHS) / (size - pole)


def read(within: float, sizes: np.ndarray = SIZES) -> tuple[Neighbours, list[int]]:
    asked: list[int] = []

    def solve(member: int) -> np.ndarray:
        asked.append(member)
        return echoes(sizes[member])

    return read_between(sizes, K, solve, np.ones(len(PATHS)), within=within), asked


@pytest.mark.parametrize("within", [0.02, 0.002])
def test_what_is_read_is_what_the_formula_says(within: float) -> None:
    found, asked = read(within)
    exact = np.array([echoes(size) for size in SIZES])
    off = np.linalg.norm(found.values - exact, axis=1) / np.linalg.norm(exact, axis=1)
    assert sorted(asked) == list(np.flatnonzero(found.solved))
    assert len(asked) < 0.6 * len(SIZES)
    assert off[found.solved].max() == 0.0
    assert 0.0 < off.max() < 2.0 * within
    assert found.doubt[found.solved].max() == 0.0
    assert found.doubt.max() <= within


def test_a_smaller_doubt_takes_more_solves() -> None:
    (_, few), (_, more) = read(0.1), read(1e-6)
    assert len(more) > len(few)


def test_a_response_that_no_neighbour_tells_is_solved_for_every_member() -> None:
    noise = np.random.default_rng(1).standard_normal((len(SIZES), 2, len(PATHS)))
    found = read_between(
        SIZES, K, lambda n: noise[n, 0] + 1j * noise[n, 1], np.ones(len(PATHS)), within=0.01
    )
    assert found.solved.all()
    assert found.doubt.max() == 0.0


def test_columns_without_weight_do_not_ask_for_more() -> None:
    noise = np.random.default_rng(2).standard_normal((len(SIZES), len(PATHS)))

    def counted(weight: float) -> int:
        columns = np.concatenate((np.ones(len(PATHS)), np.full(len(PATHS), weight)))
        found = read_between(
            SIZES,
            K,
            lambda n: np.concatenate((echoes(SIZES[n]), noise[n])),
            columns,
            within=0.01,
        )
        return int(found.solved.sum())

    assert counted(1.0) == len(SIZES)
    assert counted(1e-9) < 0.6 * len(SIZES)


def test_a_short_line_is_solved_nearly_whole() -> None:
    found, _ = read(1e-9, SIZES[:LEAST_MEMBERS])
    assert found.solved.sum() >= LEAST_MEMBERS - 1
