"""What a fit to measurements found of a driver: `[[fit]]` in the file it wrote, read by `known`.

A fit's file lists its sizes with what was written, what was found, and how sure that is, with the
correlations. Of these the driver's own are taken: a plate gap or a keep that was fitted belongs to
what was built then.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Self

import numpy as np
from pydantic import Field, model_validator

from studies.design.errors import wrong
from studies.design.tables import DesignTable, Words

EFFECTIVE_DIAMETER, SHRINK_FREQUENCY, PROUD_HEIGHT, CONE_DEPTH, CAP_HEIGHT, CONE_LOSS = (
    "effective diameter",
    "shrink frequency",
    "driver proud height",
    "depth of the cone",
    "height of the dust cap",
    "cone's admittance",
)
LENGTHS = (EFFECTIVE_DIAMETER, PROUD_HEIGHT, CONE_DEPTH, CAP_HEIGHT)
IN_PRINT = {**dict.fromkeys(LENGTHS, 1e-3), CONE_LOSS: 1e-2, SHRINK_FREQUENCY: 1.0}
"""Sizes of a driver that a fit finds, and SI units in what a file holds: mm, per cent, Hz."""
SAME = 1e-3
"""Share within which two sizes are the same."""
Finite = Annotated[float, Field(allow_inf_nan=False)]


class FitSizeTable(DesignTable):
    """One size that a fit found; millimetres, hertz, degrees or per cent."""

    size: Words = Field(description="Its name.")
    written: Finite = Field(description="What the design said.")
    found: Finite = Field(description="What was found.")
    deviation: Annotated[float, Field(ge=0.0, allow_inf_nan=False)] = Field(
        description="Standard deviation; octaves for a frequency."
    )
    correlations: tuple[Annotated[float, Field(ge=-1.0, le=1.0)], ...] = Field(
        strict=False, description="With every size of the fit, in the order of the file."
    )

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.size == SHRINK_FREQUENCY and not (self.found > 0.0 and self.written > 0.0):
            raise wrong("found", "a frequency is more than 0 Hz")
        return self


@dataclass(frozen=True, eq=False, kw_only=True)
class KnownDriver:
    """A driver as a fit left it.

    Attributes
    ----------
    file : str
        Where it was read.
    sizes : tuple of str
        Those of a driver that were fitted, K.
    written, found : (K,) array
        SI.
    covariance : (K, K) array
        Of the sizes, SI squared; of a frequency in octaves.
    """

    file: str
    sizes: tuple[str, ...]
    written: np.ndarray
    found: np.ndarray
    covariance: np.ndarray

    def found_of(self, size: str) -> float | None:
        """Return what was found of a size, SI; None if it was not fitted."""
        return float(self.found[self.sizes.index(size)]) if size in self.sizes else None

    def deviation_of(self, size: str) -> float:
        """Return the standard deviation of a size, SI; octaves for a frequency."""
        at = self.sizes.index(size)
        return math.sqrt(float(self.covariance[at, at]))

    def range_of(self, size: str) -> tuple[float, float]:
        """Return what was found of a size, two standard deviations less and more, SI."""
        found, off = float(self.found[self.sizes.index(size)]), 2.0 * self.deviation_of(size)
        if size == SHRINK_FREQUENCY:
            return found * 2.0**-off, found * 2.0**off
        return found - off, found + off

    def in_print(self, size: str, values: np.ndarray) -> float:
        """Return one of `written` or `found` as a file has it: mm, Hz or per cent."""
        return float(values[self.sizes.index(size)]) / IN_PRINT[size]

    def is_of(self, size: str, value: float) -> bool:
        """Return whether a size of a design, SI, is what the fit began with or what it found."""
        if size not in self.sizes:
            return True
        at = self.sizes.index(size)
        return any(
            math.isclose(value, one, rel_tol=SAME, abs_tol=1e-6)
            for one in (float(self.written[at]), float(self.found[at]))
        )


class NoFitError(ValueError):
    """A file that holds no fit, or half of one; the message holds the remedy."""


def known_driver(file: str, listed: tuple[FitSizeTable, ...]) -> KnownDriver:
    """Return the driver of a fit's tables.

    Raises
    ------
    NoFitError
        If there are none, none is a driver's, or the correlations are none.
    """
    places = [n for n, one in enumerate(listed) if one.size in IN_PRINT]
    if not places:
        raise NoFitError(
            f"{file} is no fit of a driver: name the file that `roundcast overlay --fit` wrote,"
            " fitted.toml"
        )
    correlations = [one.correlations for one in listed]
    whole = {len(row) for row in correlations} == {len(listed)}
    matrix = np.array(correlations) if whole else np.zeros((0, 0))
    if not whole or not np.allclose(matrix, matrix.T, atol=1e-3) or _indefinite(matrix):
        raise NoFitError(
            f"{file}: the correlations of its [[fit]] tables are no such: take the file as"
            " `roundcast overlay --fit` wrote it"
        )
    some = [listed[n] for n in places]
    units = np.array([IN_PRINT[one.size] for one in some])
    spread = np.array([one.deviation for one in some]) * units
    return KnownDriver(
        file=file,
        sizes=tuple(one.size for one in some),
        written=units * [one.written for one in some],
        found=units * [one.found for one in some],
        covariance=np.outer(spread, spread) * matrix[np.ix_(places, places)],
    )


def _indefinite(matrix: np.ndarray) -> bool:
    return bool(np.linalg.eigvalsh(matrix).min() < -1e-3)
