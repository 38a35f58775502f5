"""What walls take: local admittances, and boundary layers of the air, on the elements of a mesh.

Where a wall takes something, dp/dn = q + T p, q being the part that is driven. With D, the matrix
from node values of dp/dn to the right-hand side, (A - D T) p = D q is solved in place of A p = D q.

An admittance beta gives T p = -i k beta p, element by element.

Boundary layers are thin against wavelength and radii of curvature: 17 um (viscous) and 21 um
(thermal) deep at 16 kHz, and not to be trusted in slits of less than ten times that. The mass that
flows in and out of them, by continuity, is on a wall at rest

    T p = -(1 + i)/2 [(gamma - 1) k^2 d_t p - d_v lap p]
    d_v = sqrt(2 nu / omega), d_t = d_v / sqrt(Pr), lap the Laplacian along the wall,

as in Berggren, Bernland and Noreland, J. Comput. Phys. 371, 633 (2018), for the other sign of time.
On an unbroken run of such elements it is a field of its own in the basis of the pressure, found
from the weak form with test functions c,

    int c T p r ds = -(1 + i)/2 int [(gamma - 1) k^2 d_t c p + d_v (c_s p_s + m^2/r^2 c p)] r ds

which needs no second derivative. The flux along the layer goes on round edges; where a run ends, at
felt or on the floor, none leaves it. A wall that moves has the same layer besides: its motion along
itself is left out.
"""

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
from numba import njit

from dispersion.air import Air
from dispersion.walls import Walls

from .elements import DEGREE, FINER_GAUSS, Mesh, basis, products_of
from .pairs import NODES
from .rings import ELEMENTWISE
from .sharing import Block

RIGHT = -0.5 * (1.0 + 1.0j)  # in front of the weak form of a layer
LANES = 32  # real numbers side by side: D T is subtracted from half as many rows at once


class Layers(NamedTuple):
    """Boundary layers at one frequency: d_v in metres, and (gamma - 1) k^2 d_t in 1/m."""

    viscous: float
    thermal: float


@lru_cache(maxsize=512)
def layers_of(air: Air, frequency: float) -> Layers:
    """Return the boundary layers on any wall at one frequency in Hz."""
    omega = 2.0 * np.pi * frequency
    viscous = np.sqrt(2.0 * air.kinematic_viscosity / omega)
    thermal = viscous / np.sqrt(air.prandtl_number)
    return Layers(viscous, (air.heat_ratio - 1.0) * (omega / air.speed) ** 2 * thermal)


class _Terms(NamedTuple):
    """T of one mesh as arrays; R node values of layers, DEGREE that stay empty at either end."""

    admittance: np.ndarray  # (E,) complex, i k beta of each element
    run: np.ndarray  # (E, NODES) rows of an element's values in its run, -1 without layers
    factor: np.ndarray  # (DEGREE + 1, R) of the mass matrix, see `_factor`
    load: np.ndarray  # (E, NODES, NODES) right side of the weak form but for `RIGHT`


@dataclass(frozen=True, kw_only=True, eq=False)
class Losses:
    """What the walls of a mesh take, at one frequency and azimuthal order.

    Attributes
    ----------
    mesh : Mesh
    k : float
        Wavenumber in rad/m.
    m : int
        Azimuthal order.
    beta : (E,) complex array
        Admittance of each element.
    layered : (E,) bool array
        Which elements have boundary layers.
    layers : Layers
    """

    mesh: Mesh
    k: float
    m: int
    beta: np.ndarray
    layered: np.ndarray
    layers: Layers

    @property
    def elements(self) -> np.ndarray:
        """Numbers of the elements that take something."""
        return np.flatnonzero(self.layered | (self.beta != 0.0))

    @cached_property
    def key(self) -> tuple[bytes | Layers, ...]:
        """All that a block of the system depends on, besides what makes it without losses."""
        return self.beta.tobytes(), self.layered.tobytes(), self.layers

    def alone(self, body: int) -> "Losses | None":
        """Return those of one body in its own place, None if it takes nothing."""
        return self._each_alone[body]

    @cached_property
    def _each_alone(self) -> "tuple[Losses | None, ...]":
        if not self.mesh.bodies:
            return (self,)
        return tuple(
            _of_body(
                self.mesh.alone(body),
                self.k,
                self.m,
                self.beta[at].tobytes(),
                self.layered[at].tobytes(),
                self.layers,
            )
            for body, at in enumerate(self.mesh.spans)
        )

    def carried(self, driven: np.ndarray) -> np.ndarray:
        """Return the elements of which D is needed: those that are driven or take something."""
        taken = self.layered | (self.beta != 0.0)
        taken[driven] = True
        return np.flatnonzero(taken)

    def folded(self, block: Block, carried: np.ndarray, driven: np.ndarray) -> Block:
        """Return A - D T and the columns of D of driven elements, D having those of `carried`.

        Of several bodies the block is that between different ones.
        """
        rows = len(block.matrix)
        for body, losses in enumerate(self._each_alone):
            if losses is None:
                continue
            span, unknowns = self.mesh.spans[body], self.mesh.unknowns_of(body)
            begin, end = np.searchsorted(carried, (span.start, span.stop)).tolist()
            own, node = carried[begin:end] - span.start, unknowns.start
            alone = len(self._each_alone) == 1
            for first, last in ((0, rows),) if alone else ((0, node), (unknowns.stop, rows)):
                place = (first, last, node, begin * NODES)
                _fold(*block, place, own, losses.mesh.nodes, *losses._terms)
        columns = np.searchsorted(carried, driven)[:, None] * NODES + np.arange(NODES)
        return Block(block.matrix, np.take(block.drive, columns.ravel(), axis=1))

    def gradient(self, pressure: np.ndarray) -> np.ndarray:
        """Return T p at the nodes of every element, (E, NODES, W), of the unknowns, (N, W)."""
        if self.mesh.bodies:
            return self._gradient_of_bodies(pressure)
        terms, on_elements = self._terms, pressure[self.mesh.nodes]
        gradient = -terms.admittance[:, None, None] * on_elements
        layered = np.flatnonzero(self.layered)
        at, loads = terms.run[layered], terms.load[layered] @ on_elements[layered]
        on_layers = np.zeros((terms.factor.shape[1], pressure.shape[1]), dtype=complex)
        for every_other in (slice(0, None, 2), slice(1, None, 2)):  # neighbours share a node
            on_layers[at[every_other]] += loads[every_other]
        on_layers *= RIGHT
        _solve(terms.factor, on_layers.view(float))
        gradient[layered] += on_layers[at]
        return gradient

    def _gradient_of_bodies(self, pressure: np.ndarray) -> np.ndarray:
        gradient = np.zeros((*self.mesh.nodes.shape, pressure.shape[1]), dtype=complex)
        for body, losses in enumerate(self._each_alone):
            if losses is not None:
                own = pressure[self.mesh.unknowns_of(body)]
                gradient[self.mesh.spans[body]] = losses.gradient(own)
        return gradient

    def absorbed(self, pressure: np.ndarray, air: Air, frequency: float) -> np.ndarray:
        """Return the power that each element takes, (E, W, W) in W.

        The integral of Re beta |p|^2 / (2 rho c) and, of the layers,
        [(gamma - 1) k^2 d_t |p|^2 + d_v |grad p|^2] / (4 omega rho), as a Hermitian matrix of W
        sources: with sources of strength s, s @ matrix @ conj(s) watts are taken.
        """
        mass, slopes = self._integrals
        in_layers = self.layered * (2.0 * np.pi / (4.0 * 2.0 * np.pi * frequency * air.density))
        locally = self.beta.real * (2.0 * np.pi / (2.0 * air.density * air.speed))
        form = (self.layers.thermal * in_layers + locally)[:, None, None] * mass
        form += (self.layers.viscous * in_layers)[:, None, None] * slopes
        p = pressure[self.mesh.nodes]
        return p.swapaxes(1, 2) @ form @ p.conj()

    @cached_property
    def _integrals(self) -> tuple[np.ndarray, np.ndarray]:
        """Integrals of c p and of c_s p_s + m^2/r^2 c p over each element, (E, NODES, NODES)."""
        mass, slopes = self.mesh.products
        if self.m > 0:
            at, shape = self.mesh.quadrature, basis(FINER_GAUSS)
            weight = self.m**2 * at.jacobian * shape.weights / at.r
            slopes = slopes + products_of(weight, shape.values)
        return mass, slopes

    @cached_property
    def _terms(self) -> _Terms:
        mass, slopes = self._integrals
        load = self.layers.thermal * mass + self.layers.viscous * slopes
        run, length = self._runs()
        still = np.zeros((len(run), NODES), dtype=bool)
        if self.m > 0:
            # A wave of order m > 0 vanishes on the axis, and what the layer takes with it.
            still = np.isin(self.mesh.nodes, self.mesh.axis_nodes)
            load[still] = 0.0
        factor = _factor(mass, run, still, length)
        return _Terms(1j * self.k * self.beta, run, factor, load)

    def _runs(self) -> tuple[np.ndarray, int]:
        """Number the values of the layers: neighbours in an unbroken run share their common end.

        Returns the numbers, from DEGREE on, and the one after the last.
        """
        goes_on = self.layered & ~self.mesh.starts
        goes_on[1:] &= self.layered[:-1]
        after = DEGREE + np.cumsum(NODES * self.layered - goes_on)
        numbers = after[:, None] + np.arange(-NODES, 0)
        return np.where(self.layered[:, None], numbers, -1), int(after[-1])


@lru_cache(maxsize=256)
def _of_body(
    mesh: Mesh, k: float, m: int, beta: bytes, layered: bytes, layers: Layers
) -> Losses | None:
    """What one body takes in its own place, kept for other problems; None if nothing."""
    one = Losses(
        mesh=mesh,
        k=k,
        m=m,
        beta=np.frombuffer(beta, dtype=complex),
        layered=np.frombuffer(layered, dtype=bool),
        layers=layers,
    )
    return one if len(one.elements) else None


def losses_on(mesh: Mesh, walls: Walls, frequency: float, m: int, air: Air) -> Losses | None:
    """Return what the walls of a mesh take at one frequency in Hz, None if nothing."""
    if walls.rigid:
        return None
    beta = np.zeros(mesh.elements, dtype=complex)
    layered = np.full(mesh.elements, walls.layers)
    for label, absorber in walls.absorbers:
        there = mesh.labelled({label})
        beta[there] = absorber.admittance(frequency, air)
        if absorber.replaces_layers:
            layered[there] = False
    losses = Losses(
        mesh=mesh,
        k=2.0 * np.pi * frequency / air.speed,
        m=m,
        beta=beta,
        layered=layered,
        layers=layers_of(air, frequency),
    )
    return losses if len(losses.elements) else None


@njit(cache=True, nogil=True, error_model="numpy")
def _factor(mass, run, still, length):
    """Return the Cholesky factor of the mass matrix of all runs.

    `factor[d, i]` is that of row i + d and column i, on the diagonal its inverse; the first and
    last DEGREE columns are zero. Values that are `still` are kept at zero.
    """
    band = np.zeros((DEGREE + 1, length + DEGREE))
    for e in range(len(run)):
        if run[e, 0] >= 0:
            for a in range(NODES):
                for b in range(a + 1):
                    if a == b or not (still[e, a] or still[e, b]):
                        band[a - b, run[e, b]] += mass[e, a, b]
    for i in range(DEGREE, length):
        band[0, i] = 1.0 / math.sqrt(band[0, i])
        for d in range(1, DEGREE + 1):
            band[d, i] *= band[0, i]
        for d in range(1, DEGREE + 1):
            for below in range(d, DEGREE + 1):
                band[below - d, i + d] -= band[below, i] * band[d, i]
    return band


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE)
def _solve(factor, x):
    """Solve with the mass matrix for right-hand sides, in the columns of x, in place.

    Its first and last DEGREE rows are empty, so that all others have as many neighbours.
    """
    for i in range(DEGREE, len(x) - DEGREE):
        for lane in range(x.shape[1]):
            value = x[i, lane]
            for below in range(DEGREE, 0, -1):
                value -= factor[below, i - below] * x[i - below, lane]
            x[i, lane] = value * factor[0, i]
    for i in range(len(x) - DEGREE - 1, DEGREE - 1, -1):
        for lane in range(x.shape[1]):
            value = x[i, lane]
            for below in range(DEGREE, 0, -1):
                value -= factor[below, i] * x[i + below, lane]
            x[i, lane] = value * factor[0, i]


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE)
def _fold(matrix, drive, place, carried, nodes, admittance, run, factor, load):
    """Subtract D T of one body from some rows of its columns; all as real numbers.

    `place` holds the first row, the one after the last, the body's first node and column. Lanes 2 i
    and 2 i + 1 hold the real and imaginary parts of row i.
    """
    first_row, last_row, first_node, first_column = place
    on_layers, sent = np.empty((factor.shape[1], LANES)), np.empty((NODES, LANES))
    for first in range(first_row, last_row, LANES // 2):
        last = min(first + LANES // 2, last_row)
        on_layers[:] = 0.0
        for number in range(len(carried)):
            e, column = carried[number], first_column + number * NODES
            if admittance[e] != 0.0:
                for row in range(first, last):
                    for a in range(NODES):
                        share = admittance[e] * drive[row, column + a]
                        matrix[row, first_node + nodes[e, a]] += share
            if run[e, 0] >= 0:
                _gather(drive, first, last, column, on_layers, run[e, 0])
        _solve(factor, on_layers)
        for number in range(len(carried)):
            e = carried[number]
            if run[e, 0] >= 0:
                _load(load, e, on_layers, run[e, 0], sent)
                _subtract(matrix, first, last, first_node + nodes[e, 0], sent)


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE, inline="always")
def _gather(drive, first, last, column, on_layers, start):
    """Add some rows of one element's columns to the lanes of its run."""
    for row in range(last - first):
        for a in range(NODES):
            value = drive[first + row, column + a]
            on_layers[start + a, 2 * row] += value.real
            on_layers[start + a, 2 * row + 1] += value.imag


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE, inline="always")
def _load(load, e, on_layers, start, sent):
    for b in range(NODES):
        for lane in range(LANES):
            value = 0.0
            for a in range(NODES):
                value += load[e, a, b] * on_layers[start + a, lane]
            sent[b, lane] = value


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE, inline="always")
def _subtract(matrix, first, last, node, sent):
    for row in range(last - first):
        for b in range(NODES):
            x, y = sent[b, 2 * row], sent[b, 2 * row + 1]
            # Less `RIGHT` times x + i y.
            matrix[first + row, node + b] += complex(0.5 * (x - y), 0.5 * (x + y))
