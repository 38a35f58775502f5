"""Cuts of one ball, and where to stop and measure on the way from the tallest to the best."""

from collections.abc import Sequence
from dataclasses import dataclass

from shapes.reflectors import base_of_cap
from studies.solving.candidates import Row


@dataclass(frozen=True, eq=False)
class Cut:
    """One candidate: a ball, how much of it is kept, and what became of it (metres)."""

    ball_diameter: float
    keep: float
    row: Row

    @property
    def cut_off(self) -> float:
        """Depth that is cut away."""
        return self.ball_diameter - self.keep

    @property
    def base_diameter(self) -> float:
        """Diameter of the flat: the check dimension."""
        return base_of_cap(self.ball_diameter, self.keep)


def shaving_stops(cuts: Sequence[Cut], best: Cut) -> tuple[Cut, ...]:
    """Where to stop and measure on the way from the tallest cap to the best.

    Foam does not grow back, so the order is from tall to short, and every step takes off no more
    than half of what is left to take.
    """
    way_down = sorted(
        (cut for cut in cuts if cut.row.solved and cut.keep >= best.keep), key=lambda cut: -cut.keep
    )
    stops = [way_down[0]]
    while stops[-1] is not best:
        half_left = 0.5 * (stops[-1].keep + best.keep)
        shorter = [cut for cut in way_down if cut.keep < stops[-1].keep]
        reached = [cut for cut in shorter if cut.keep >= half_left - 1e-9]
        stops.append(reached[-1] if reached else shorter[0])
    return tuple(stops)
