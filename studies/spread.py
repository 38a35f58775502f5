"""One design: where does its sound go?"""

from dataclasses import dataclass

import numpy as np

from studies.design import Design
from studies.grid import FINE_PER_BAND, Candidate, Progress, Row, Solver, run


@dataclass(frozen=True, eq=False)
class Spread:
    """The design as written, solved and scored.

    Attributes
    ----------
    design : Design
    row : Row
    bare_driver_db : (F,) array
        The driver's own on-axis curve: 0 dB, but for crossover, level and driver curve.
    """

    design: Design
    row: Row
    bare_driver_db: np.ndarray


def spread(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    per_band: int = FINE_PER_BAND,
) -> Spread:
    """Solve a design as it is written.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    per_band : int
        Frequencies in a third-octave band, four or more.

    Raises
    ------
    ValueError
        If it cannot be solved; the message says why.
    """
    (row,) = run(
        design,
        [Candidate("as designed", design.assembly)],
        solver,
        per_band,
        "one design",
        progress,
    )
    if not row.solved:
        raise ValueError(row.reason)
    summed = np.abs(row.response.transfer.sum(axis=0))
    return Spread(design, row, 20.0 * np.log10(np.maximum(summed, 1e-10)))
