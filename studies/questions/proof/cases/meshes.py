"""Order of convergence on a smooth body.

Source: theory of Galerkin boundary elements (Sauter & Schwab, Boundary Element Methods, 2011, ch. 4
[from memory]). Quartic elements carry a smooth surface pressure to O(h^5); the far field is an
integral of it, and converges at least as fast (for exact integrals up to O(h^9)). The rules for the
integrals over pairs of elements are fixed; near 1e-4 of the maximum their error begins to show, and
flattens the slope: one order less than 5 is allowed for that. Orders found: 5.2 to 7.3.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from dispersion.waves import Drive, MeshSettings, Monopole, PlaneWave, WaveSettings, solve
from shapes.meridian import Meridian
from studies.questions.proof.cases.check import WAVES, Check, Compared, compare
from studies.questions.proof.cases.series import scattered_by_sphere
from studies.questions.proof.cases.solids import AIR, frequency_of, hidden, sphere, spheroid

ELEVATIONS = np.arange(-90.0, 91.0, 3.0)

FULL_ORDER, LEAST_ORDER = 5.0, 4.0

UNKNOWNS_PER_WAVELENGTH = (4.0, 5.0, 6.0, 8.0, 10.0, 12.0)


def settings(unknowns_per_wavelength: float) -> WaveSettings:
    """Elements that follow the wavelength alone, azimuth sums to ten digits."""
    return WaveSettings(MeshSettings(unknowns_per_wavelength, growth=100.0), digits=10.0)


@dataclass(frozen=True, eq=False)
class MeshLadder:
    """One field on finer and finer meshes.

    Attributes
    ----------
    name : str
    per_wavelength : (N,) array
        Elements per wavelength along the meridian, as they were cut.
    unknowns : (N,) array
    error : (N,) array
        Largest difference of the far field to the exact one, over its maximum.
    """

    name: str
    per_wavelength: np.ndarray
    unknowns: np.ndarray
    error: np.ndarray

    @property
    def error_db(self) -> np.ndarray:
        """The same as a change of level at the maximum, dB, (N,)."""
        return 20.0 * np.log10(1.0 + self.error)

    @property
    def order(self) -> float:
        """Slope of the error over the mean size of the elements."""
        return float(np.polyfit(-np.log(self.unknowns), np.log(self.error), 1)[0])


def scattered_ladder(ka: float) -> MeshLadder:
    """A plane wave on a rigid sphere."""
    name = f"plane wave on a sphere, ka {ka:g}"
    exact = scattered_by_sphere(ka, np.sin(np.radians(ELEVATIONS)))
    return _ladder(name, sphere(), PlaneWave(90.0), ka, 0, exact)


def radiated_ladder(m: int) -> MeshLadder:
    """A monopole hidden in a spheroid: the drive, quartic too, limits the order to 5."""
    body, source, ka = spheroid(1.0, 0.5), Monopole(0.2, 0.1), 15.0
    name = f"source hidden in a spheroid, ka {ka:g}, order {m}"
    return _ladder(name, body, hidden(source, [body], m), ka, m, source.far(ELEVATIONS, ka, m))


def _ladder(
    name: str, body: Meridian, source: Drive | PlaneWave, ka: float, m: int, exact: np.ndarray
) -> MeshLadder:
    errors, unknowns, elements = [], [], []
    for fineness in UNKNOWNS_PER_WAVELENGTH:
        solution = solve([body], frequency_of(ka), [source], AIR, m, settings(fineness))
        found = solution.far_field(ELEVATIONS)[:, 0]
        errors.append(np.abs(found - exact).max() / np.abs(exact).max())
        unknowns.append(solution.mesh.unknowns)
        elements.append(solution.mesh.elements)
    per_wavelength = np.array(elements) / (body.length * ka / (2.0 * np.pi))
    return MeshLadder(name, per_wavelength, np.array(unknowns), np.array(errors))


LADDERS: tuple[tuple[Callable[[Any], MeshLadder], float], ...] = (
    (scattered_ladder, 6.0),
    (scattered_ladder, 15.0),
    (radiated_ladder, 0),
    (radiated_ladder, 2),
)
"""Every field that is solved on finer and finer meshes."""


def order_of_convergence(ladder: MeshLadder) -> Compared:
    """Order of convergence, more than what theory promises counted as that."""
    found = min(ladder.order, FULL_ORDER)
    return compare(ladder.name, ["order"], found, FULL_ORDER, FULL_ORDER - LEAST_ORDER)


ORDER = Check(
    name="Order of convergence, at most 5",
    kind=WAVES,
    source="Sauter & Schwab, Boundary Element Methods (2011), ch. 4 [from memory]; one order less"
    " allowed",
    cases=LADDERS,
    run=lambda ladder: order_of_convergence(ladder[0](ladder[1])),
)
