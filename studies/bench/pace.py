"""How long a question will still take: by its cost as reckoned beforehand, and by what it has done.

Its stages are not known beforehand, their solves only about; so neither alone would do. What the
ledger holds comes at once, and the cost does not know of it.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from studies.solving.budget import Cost


class Pace:
    """Time that is left of one question, all of its stages together.

    Parameters
    ----------
    cost : Cost or None
        As reckoned beforehand; None if nothing of it is known.
    clock : callable
        () -> time, s.
    """

    def __init__(self, cost: Cost | None, clock: Callable[[], float] = time.monotonic) -> None:
        self._cost, self._clock = cost, clock
        self._began = clock()
        self._stage, self._stage_began = "", self._began
        self._before, self._done, self._total = 0, 0, 0

    def wait(self, until: Callable[[], None]) -> None:
        """Wait; the time does not count."""
        start = self._clock()
        until()
        waited = self._clock() - start
        self._began += waited
        self._stage_began += waited

    def note(self, stage: str, done: int, total: int) -> None:
        """Note how many solves of a stage are done, and how many it has."""
        if stage != self._stage:
            self._before += self._done
            self._stage, self._stage_began = stage, self._clock()
        self._done, self._total = done, total

    @property
    def share(self) -> float | None:
        """Share of the whole that is done, about; None as long as nothing is known."""
        left, passed = self.left_s, self._clock() - self._began
        return None if left is None else passed / max(passed + left, 1e-9)

    @property
    def late(self) -> bool:
        """Whether it takes longer than was reckoned: then only this stage can be told."""
        passed = self._clock() - self._began
        return self._cost is not None and passed > self._cost.seconds

    @property
    def left_s(self) -> float | None:
        """Seconds that are left, about; None as long as nothing is known.

        The cost less what has passed, or less if solves come faster than reckoned; at least what is
        left of this stage, and only that once it is late.
        """
        if not self._done:
            return None if self._cost is None or self.late else self._cost.seconds
        now = self._clock()
        of_stage = (now - self._stage_began) * (self._total - self._done) / self._done
        if self._cost is None or self.late:
            return of_stage
        passed, done = now - self._began, self._before + self._done
        by_solves = passed * (self._cost.solves / done - 1.0)
        return max(of_stage, min(by_solves, self._cost.seconds - passed))
