"""How far off the centre reflector and plate hang, from readings at several azimuths of a place.

Hung straight, all azimuths of a place sound alike. A shift e towards azimuth psi changes the level
at azimuth phi, by the first order in e, by

    e a cos(phi - psi) = a cos(phi) e_x + a sin(phi) e_y,

a by band and place, solved (`side_by_place`). The two e are fitted by least squares; what all
azimuths of a place share in a band is left free, and so is the level of each position, which a
microphone a little nearer or farther off changes in all bands alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from shapes.assembly import Assembly
from studies.design import Design
from studies.measured.hung import AS_WRITTEN
from studies.measured.positions import MeasuredBands, by_place
from studies.solving.askew_changes import side_by_place
from studies.solving.grid import Progress, Solver

TRIED, MOST = 1e-3, 10e-3
"""Shift that is solved first; the largest that is solved, m."""
LEAST_AZIMUTHS = 3
"""Of one place: two tell one side only."""
SURE = 2.0
"""Standard deviations of a shift from which on it is said to be there."""


@dataclass(frozen=True, kw_only=True)
class OffAxis:
    """A shift that readings round the column call for.

    Attributes
    ----------
    shift : float
        Off the axis, m.
    towards_deg : float
        Azimuth to which, degrees from the first post, 0 to 360.
    uncertainty : float
        Standard deviation of the shift along either axis, m.
    rms_straight_db, rms_db : float
        What is left of the differences between azimuths without and with it, dB.
    count : int
        Readings.
    """

    shift: float
    towards_deg: float
    uncertainty: float
    rms_straight_db: float
    rms_db: float
    count: int

    @property
    def there(self) -> bool:
        """Whether it is more than chance."""
        return self.shift > SURE * self.uncertainty


def fit_off_axis(
    design: Design,
    assembly: Assembly,
    measured: MeasuredBands,
    solver: Solver,
    progress: Progress | None = None,
) -> OffAxis | None:
    """Fit the shift; None where no place was measured at three azimuths, or nothing hangs.

    Parameters
    ----------
    design : Design
    assembly : Assembly
    measured : MeasuredBands
        Without what the posts change.
    solver : callable
        The wave solver.
    progress : callable, optional
        Called with (stage, done, total).
    """
    noted = [
        n
        for n, at in enumerate(measured.positions)
        if at.azimuth_deg is not None and at.hung == AS_WRITTEN
    ]
    groups = [group for group in by_place(measured.positions, noted) if _tells(measured, group)]
    if not groups or assembly.upper is None:
        return None
    tried = TRIED
    while True:
        first = [measured.positions[group[0]] for group in groups]
        sides = side_by_place(design, assembly, tried, first, measured.centres, solver, progress)
        if sides is None:
            return None
        found = fitted(measured, groups, sides / tried)
        # Far from what was solved the first order is no longer that of the slope at 0.
        if found is None or found.shift < 2.0 * tried or tried >= MOST:
            return found
        tried = min(found.shift, MOST)


def fitted(measured: MeasuredBands, groups: list[list[int]], sides: np.ndarray) -> OffAxis | None:
    """Fit the shift by sides (G, B), dB a metre towards the listener; None if nothing tells it."""
    x, level, place, at = [], [], [], []
    for number, group in enumerate(groups):
        for n in group:
            azimuth = math.radians(measured.positions[n].azimuth_deg or 0.0)
            for band in np.flatnonzero(np.isfinite(measured.level_db[n]) & (sides[number] != 0.0)):
                side = sides[number, band]
                x.append((side * math.cos(azimuth), side * math.sin(azimuth)))
                level.append(measured.level_db[n, band])
                place.append((number, int(band)))
                at.append(n)
    if not level:
        return None
    free = np.concatenate((_dummies(place), _dummies(at)), axis=1)
    both = np.column_stack((np.array(x), level))
    both -= free @ np.linalg.lstsq(free, both, rcond=None)[0]
    slopes, rest = both[:, :2], both[:, 2]
    left_over = len(level) - int(np.linalg.matrix_rank(free)) - 2
    if left_over < 1 or np.linalg.matrix_rank(slopes) < 2:
        return None
    shift = np.linalg.lstsq(slopes, rest, rcond=None)[0]
    residual = rest - slopes @ shift
    spread = np.linalg.inv(slopes.T @ slopes) * float(residual @ residual) / left_over
    return OffAxis(
        shift=float(np.hypot(*shift)),
        towards_deg=math.degrees(math.atan2(shift[1], shift[0])) % 360.0,
        uncertainty=float(np.sqrt(0.5 * np.trace(spread))),
        rms_straight_db=float(np.sqrt(np.mean(rest**2))),
        rms_db=float(np.sqrt(np.mean(residual**2))),
        count=len(level),
    )


def _tells(measured: MeasuredBands, group: list[int]) -> bool:
    azimuths = {round(measured.positions[n].azimuth_deg or 0.0) % 360 for n in group}
    return len(azimuths) >= LEAST_AZIMUTHS


def _dummies(names: list[int] | list[tuple[int, int]]) -> np.ndarray:
    """One column for each name, 1 where it stands, 0 elsewhere."""
    every = {name: column for column, name in enumerate(dict.fromkeys(names))}
    found = np.zeros((len(names), len(every)))
    found[np.arange(len(names)), [every[name] for name in names]] = 1.0
    return found
