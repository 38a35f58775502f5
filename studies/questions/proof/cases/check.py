"""Numbers found held against numbers known."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

LEVEL_TOLERANCE_DB = 0.1
"""The project's promise: levels within 0.1 dB wherever they are within 30 dB of the maximum."""
PROMISED_RANGE_DB = 30.0
POWER_TOLERANCE_DB = 0.05
WAVES, QUICK, REST = "Full wave solver", "Quick methods", "Air, bands, filters and shapes"
"""Kinds of checks, in the order of print."""
AS_A_SHARE = 10.0 ** (LEVEL_TOLERANCE_DB / 20.0) - 1.0
"""0.1 dB as a share of the pressure."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Compared:
    """Values of one case.

    Attributes
    ----------
    case : str
        Such as "ka 5".
    at : tuple of str
        What each value is or where it is taken: "30 deg", "directivity index".
    found, known, allowed : (N,) arrays
        By the program, as known, and the largest difference allowed; in the unit of the check.
    hertz : (N,) array or None
        Frequency of each value, Hz; of solids that have no size of their own as if their radius
        were `solids.SPEAKER_RADIUS`. None where frequency is no question.
    """

    case: str
    at: tuple[str, ...]
    found: np.ndarray
    known: np.ndarray
    allowed: np.ndarray
    hertz: np.ndarray | None = None

    @property
    def difference(self) -> np.ndarray:
        """Found less known, (N,)."""
        return self.found - self.known

    @property
    def share_of_limit(self) -> np.ndarray:
        """Size of the difference over what is allowed, (N,); infinite where nothing was found."""
        share = np.abs(self.difference) / self.allowed
        return np.where(np.isfinite(share), share, np.inf)

    @property
    def worst(self) -> int:
        """Index of the value nearest to its limit, or farthest beyond it."""
        return int(self.share_of_limit.argmax())

    @property
    def held(self) -> bool:
        """Whether every difference is within its limit."""
        return bool(self.share_of_limit.max() <= 1.0)

    def __repr__(self) -> str:
        """Show the value nearest to its limit."""
        w = self.worst
        return (
            f"{self.case}, {self.at[w]}: found {self.found[w]:.6g}, known {self.known[w]:.6g},"
            f" allowed {self.allowed[w]:.2g}; {len(self.at)} values"
        )


@dataclass(frozen=True, kw_only=True)
class Check:
    """One thing the program is held against.

    Attributes
    ----------
    name : str
        In print.
    kind : str
        Which part of the program is tried; checks of a kind stand together.
    source : str
        Who published the numbers, or the words "elementary" and what of.
    unit : str
        Of the values; empty for plain numbers.
    cases : tuple
        Each is handed to `run`.
    run : callable
        From a case to what was compared.
    """

    name: str
    kind: str
    source: str
    unit: str = ""
    cases: tuple[Any, ...]
    run: Callable[[Any], Compared]


def compare(
    case: str,
    at: Sequence[str],
    found: ArrayLike,
    known: ArrayLike,
    allowed: ArrayLike,
    hertz: ArrayLike | None = None,
) -> Compared:
    """Put values beside what they should be.

    Parameters
    ----------
    case : str
        Such as "ka 5".
    at : sequence of str
        Name of each value: "30 deg".
    found, known : array_like of N
        By the program, and as known.
    allowed : array_like
        Largest difference, of each or for all.
    hertz : array_like, optional
        Frequency of each value or of all.

    Raises
    ------
    ValueError
        If names, values found and values known are not equally many, or none.
    """
    there, reference = np.ravel(found).astype(float), np.ravel(known).astype(float)
    limit = np.broadcast_to(np.asarray(allowed, dtype=float), there.shape)
    pitch = None if hertz is None else np.broadcast_to(np.asarray(hertz, float), there.shape)
    if not len(at) == len(there) == len(reference) > 0:
        raise ValueError(f"{case}: {len(at)} names, {len(there)} found, {len(reference)} known")
    return Compared(
        case=case, at=tuple(at), found=there, known=reference, allowed=limit, hertz=pitch
    )


def compare_levels(
    case: str,
    at: Sequence[str],
    found: np.ndarray,
    known: np.ndarray,
    hertz: float | None = None,
    within: float = PROMISED_RANGE_DB,
    allowed: float = LEVEL_TOLERANCE_DB,
) -> Compared:
    """Compare levels of complex fields, dB re the maximum of the known one, where it is loud.

    Parameters
    ----------
    case : str
        Such as "ka 5".
    at : sequence of str
        Name of each value.
    found, known : (N,) arrays
        Complex fields, by the program and exact.
    hertz : float, optional
        Frequency of all.
    within : float
        Only values whose known level is above minus this many dB are compared.
    allowed : float
        Largest difference, dB.
    """
    most = np.abs(known).max()
    target = level(known / most)
    loud = np.flatnonzero(target > -within)
    names = [at[i] for i in loud.tolist()]
    return compare(case, names, level(found / most)[loud], target[loud], allowed, hertz)


def joined(case: str, parts: Sequence[Compared]) -> Compared:
    """Join several comparisons into one; each value's name begins with its own case."""
    hertz = [part.hertz for part in parts if part.hertz is not None]
    return Compared(
        case=case,
        at=tuple(f"{part.case}, {name}" for part in parts for name in part.at),
        found=np.concatenate([part.found for part in parts]),
        known=np.concatenate([part.known for part in parts]),
        allowed=np.concatenate([part.allowed for part in parts]),
        hertz=np.concatenate(hertz) if len(hertz) == len(parts) else None,
    )


def level(value: ArrayLike) -> np.ndarray:
    """20 lg of the magnitude, dB."""
    return 20.0 * np.log10(np.abs(value))


def degrees(angles: ArrayLike) -> tuple[str, ...]:
    """Name values by their angle."""
    return tuple(f"{angle:g} deg" for angle in np.ravel(angles))
