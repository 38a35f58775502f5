"""Finished solves in memory: how many, which go first, and what the store behind is asked."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np

from dispersion.fields import Fields
from studies.solving.memory import Remembering

SIZE = 16 * (3 + 2) + 8
"""Bytes of three directions and two points, complex, and one power."""


def made_up(number: int) -> Fields:
    far, near = np.full((1, 3), number + 0j), np.full((1, 2), number + 0j)
    return Fields(far, near, np.zeros(1), number, np.ones((1, 1, 1)))


class Behind:
    """A store that keeps everything, and a list of what it was asked."""

    def __init__(self) -> None:
        self.asked: list[bytes] = []
        self.kept: dict[bytes, Fields] = {}

    def fetch(self, key: bytes) -> Fields | None:
        self.asked.append(key)
        return self.kept.get(key)

    def keep(self, key: bytes, fields: Fields) -> None:
        assert key not in self.kept
        self.kept[key] = fields


def test_the_oldest_go_where_the_bound_is_reached() -> None:
    store = Remembering(None, most_bytes=3 * SIZE)
    for number in range(5):
        store.keep(bytes([number]), made_up(number))
        held = [store.fetch(bytes([n])) is not None for n in range(5)]
        # The three latest of those that were kept so far.
        assert held == [number - 3 < n <= number for n in range(5)]
    assert store.fetch(bytes([4])).unknowns == 4


def test_kept_again_it_counts_once() -> None:
    store = Remembering(None, most_bytes=3 * SIZE)
    for number in (0, 1, 1, 1, 2):
        store.keep(bytes([number]), made_up(number))
    assert all(store.fetch(bytes([number])) is not None for number in range(3))


def test_one_larger_than_the_bound_is_not_held() -> None:
    store = Remembering(None, most_bytes=SIZE - 1)
    store.keep(b"a", made_up(1))
    assert store.fetch(b"a") is None


def test_the_store_behind_keeps_all_and_is_asked_once() -> None:
    behind = Behind()
    store = Remembering(behind, most_bytes=2 * SIZE)
    for number in range(4):
        store.keep(bytes([number]), made_up(number))
    assert list(behind.kept) == [bytes([number]) for number in range(4)]
    assert store.fetch(bytes([3])) is behind.kept[bytes([3])]
    assert behind.asked == []
    # Dropped here, so fetched from behind, and remembered from then on.
    for _ in range(2):
        assert store.fetch(bytes([0])) is behind.kept[bytes([0])]
    assert behind.asked == [bytes([0])]
    assert store.fetch(b"nothing") is None
    assert behind.asked == [bytes([0]), b"nothing"]


def test_threads_leave_no_more_than_the_bound() -> None:
    store = Remembering(None, most_bytes=10 * SIZE)
    names = [number.to_bytes(2, "big") for number in range(400)]

    def use(number: int) -> None:
        store.keep(names[number], made_up(number))
        found = store.fetch(names[number // 2])
        assert found is None or found.unknowns == number // 2

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(use, [*range(400), *range(400)]))
    held = [number for number in range(400) if store.fetch(names[number]) is not None]
    assert len(held) == 10
    # What it believes to hold is what it holds: another ten take the place of all of them.
    for number in range(400, 410):
        store.keep(number.to_bytes(2, "big"), made_up(number))
    assert not any(store.fetch(names[number]) for number in held)
