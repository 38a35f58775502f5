"""A driver let in flush into a rigid baffle without end: what 0 dB is.

The air over the baffle is parted by a hemisphere of radius R round everything that stands out.
Outside, the field is a sum of even Legendre orders, which a rigid plane lets stand (Morse and
Ingard, Theoretical Acoustics, 7.2 [from memory]):

    p = sum over n = 0, 2, 4, ... of p_n h_n(kr) / h_n(kR) P_n(cos theta)

so on the hemisphere, whose normal points inwards, dp/dn = -k h_n'(kR) / h_n(kR) p_n order by order.
Inside, the solver's own system holds for the closed meridian of hemisphere, baffle and driver, its
normals pointing into the air as ever; with T from the pressure on the hemisphere to dp/dn there,
(A - D T) p = D q is solved for the q of what moves. Far away

    r p exp(-ikr) -> sum of p_n (-i)^(n+1) / (k h_n(kR)) P_n(cos theta)

It has one solution at every frequency: a second one would, on the far side of the surface, be an
outgoing field with u + alpha du/dn = 0. With n pointing out of that side, alpha = i/k takes power
from it, which it has from nowhere; -i/k would feed it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import eval_legendre

from dispersion.air import Air
from dispersion.walls import RIGID_WALLS, Walls
from shapes.meridian import Arc, Line, Meridian
from shapes.pieces import Piece

from .elements import Mesh, basis, build_mesh
from .solution import DEFAULT_SETTINGS, WaveSettings, WaveSolution, gradient_of
from .sources import Drive
from .system import assemble
from .walls import Losses, losses_on

HEMISPHERE, BAFFLE = "hemisphere", "endless baffle"
CLEAR = 1.25
"""Radius of the hemisphere over the farthest point that stands out: the n-th order that the rim
throws is 1.25^-n weaker there."""
ORDERS_BEYOND = 30
"""Highest order less kR, where the rim throws 0.1 per cent. A coarse mesh carries no more: with 40
that on which candidates are compared was off by 4.6 dB at single frequencies."""
POINTS = 16
"""Gauss points in an element of the hemisphere, on which the orders are taken apart."""


@dataclass(frozen=True, kw_only=True)
class FlushSolution:
    """What a driver radiates into the half space over an endless rigid baffle.

    Attributes
    ----------
    surface : WaveSolution
        Pressure on hemisphere, baffle and driver; dp/dn of what moves only.
    orders : (N,) int array
        Even Legendre orders.
    far : (N, W) complex array
        Far field r p exp(-ikr) of each order straight ahead, Pa m.
    """

    surface: WaveSolution
    orders: np.ndarray = field(repr=False)
    far: np.ndarray = field(repr=False)

    @property
    def on_axis(self) -> np.ndarray:
        """(W,) r p exp(-ikr) far away on the axis, Pa m."""
        return self.far.sum(axis=0)

    def far_field(self, elevations: ArrayLike) -> np.ndarray:
        """Return r p exp(-ikr) far away over the baffle, (D, W) in Pa m; 90 degrees is the axis."""
        sines = np.sin(np.radians(np.asarray(elevations, dtype=float)))
        return eval_legendre(self.orders, sines[:, None]) @ self.far

    @property
    def power_error_db(self) -> np.ndarray:
        """Balance of driven power and of that far away and absorbed, in dB, (W,)."""
        air = self.surface.air
        # The mean of P_n^2 over the half space is 1 / (2n + 1).
        mean = (1.0 / (2 * self.orders + 1)) @ np.abs(self.far) ** 2
        arrived = np.pi * mean / (air.density * air.speed)
        return self.surface.balance_with(arrived)


def solve_flush(
    driver: Sequence[Piece],
    frequency: float,
    drives: Sequence[Drive],
    air: Air,
    settings: WaveSettings = DEFAULT_SETTINGS,
    clear: float = CLEAR,
    walls: Walls = RIGID_WALLS,
) -> FlushSolution:
    """Solve a driver, flush in an endless rigid baffle at z = 0.

    Parameters
    ----------
    driver : sequence of Piece
        From the driver's outside on the baffle to the axis, as `shapes.outlines.driver_outline`
        has it; those of no length are left out.
    frequency : float
        Hz.
    drives : sequence of Drive
    air : Air
    settings : WaveSettings
    clear : float
        See `CLEAR`.
    walls : Walls
        What the driver's surfaces take; the baffle is hard.

    Raises
    ------
    ValueError
        If a drive moves what is not there.
    """
    k = 2.0 * np.pi * frequency / air.speed
    outline, radius = _enclosed(tuple(driver), clear)
    moving = frozenset().union(*(drive.parts for drive in drives))
    if missing := moving.difference(outline.parts):
        raise ValueError(f"driven parts {sorted(missing)} are on no driver; parts: {outline.parts}")
    jumps = (moving, *(frozenset((label,)) for label, _ in walls.absorbers))
    mesh = build_mesh([outline], 2.0 * np.pi / k, settings.mesh, jumps)
    round_it = np.flatnonzero(mesh.labelled({HEMISPHERE}))
    driven = np.flatnonzero(mesh.labelled(moving))
    losses = _losses(mesh, walls, frequency, air)
    given = np.concatenate((round_it, driven))
    matrix, drive = assemble(mesh, k, 0, given, settings.digits, losses=losses)
    outside, share = _half_space(mesh, round_it, k, radius), round_it.size * mesh.nodes.shape[1]
    matrix -= (drive[:, :share] @ outside.slopes) @ outside.apart
    gradient = np.stack([gradient_of(one, mesh, frequency) for one in drives], axis=2)
    right = drive[:, share:] @ gradient[driven].reshape(-1, len(drives))
    pressure = np.linalg.solve(matrix, right)
    surface = WaveSolution(
        mesh=mesh,
        settings=settings,
        air=air,
        frequency=frequency,
        order=0,
        names=tuple(one.name for one in drives),
        pressure=pressure,
        gradient=gradient if losses is None else gradient + losses.gradient(pressure),
        imposed=gradient,
        losses=losses,
    )
    far = outside.sent[:, None] * (outside.apart @ surface.pressure)
    return FlushSolution(surface=surface, orders=outside.orders, far=far)


def hankel_ratios(most: int, x: float) -> np.ndarray:
    """h_(n-1)(x) / h_n(x) of the outgoing spherical Hankel functions for n = 0 to `most`, (N,).

    Upwards, 1 / ratio_(n+1) = (2n + 1) / x - ratio_n, which is stable; of order 0 it is i.
    """
    ratios = np.empty(most + 1, dtype=complex)
    ratios[0] = 1j
    for n in range(most):
        ratios[n + 1] = 1.0 / ((2 * n + 1) / x - ratios[n])
    return ratios


def _losses(mesh: Mesh, walls: Walls, frequency: float, air: Air) -> Losses | None:
    """What the driver takes: on hemisphere and baffle there are neither layers nor absorbers."""
    losses = losses_on(mesh, walls, frequency, 0, air)
    if losses is None:
        return None
    own = ~np.isin(mesh.parts, (HEMISPHERE, BAFFLE))
    return replace(losses, layered=losses.layered & own, beta=losses.beta * own)


@lru_cache(maxsize=64)
def _enclosed(driver: tuple[Piece, ...], clear: float) -> tuple[Meridian, float]:
    """Return hemisphere, baffle and driver as one closed meridian, and the hemisphere's radius."""
    chain = Meridian.joined(driver)
    line = chain.sample(1e-5)
    outside = chain.start[0]
    radius = clear * max(outside, float(np.hypot(line[:, 0], np.maximum(line[:, 1], 0.0)).max()))
    dome = Arc((0.0, radius), (radius, 0.0), (0.0, 0.0), clockwise=True, part=HEMISPHERE)
    baffle = Line((radius, 0.0), (outside, 0.0), BAFFLE)
    return Meridian((dome, baffle, *chain.pieces)), radius


class _HalfSpace(NamedTuple):
    """The air beyond the hemisphere by even Legendre orders, N of them.

    `apart` (N, unknowns) takes the orders p_n from the pressure at the unknowns; of them `slopes`
    (E * P, N) makes dp/dn at the nodes of the hemisphere, and `sent` (N,) the far field ahead.
    """

    orders: np.ndarray
    apart: np.ndarray
    slopes: np.ndarray
    sent: np.ndarray


def _half_space(mesh: Mesh, elements: np.ndarray, k: float, radius: float) -> _HalfSpace:
    x = k * radius
    orders = np.arange(0, int(x) + ORDERS_BEYOND, 2)
    ratios = hankel_ratios(orders[-1], x)
    # k h_n' / h_n = k (h_(n-1) / h_n - (n + 1) / x), the normal pointing inwards.
    slopes = -k * (ratios[orders] - (orders + 1) / x)
    # 1 / h_n = (1 / h_0) times h_0 / h_1, h_1 / h_2, ...; (-i)^(n+1) = -i (-1)^(n/2) for even n.
    inverse = np.cumprod(np.concatenate(([1j * x * np.exp(-1j * x)], ratios[1:])))
    z = mesh.node_points().z[elements].ravel()
    return _HalfSpace(
        orders=orders,
        apart=_apart(mesh, elements, orders, radius),
        slopes=slopes * eval_legendre(orders, np.clip(z / radius, 0.0, 1.0)[:, None]),
        sent=-1j * (-1.0) ** (orders // 2) * inverse[orders] / k,
    )


def _apart(mesh: Mesh, elements: np.ndarray, orders: np.ndarray, radius: float) -> np.ndarray:
    """Matrix from the pressure at the unknowns to its orders p_n on the hemisphere, (N, unknowns).

    p_n = (2n + 1) times the integral of p P_n over cos theta from 0 to 1.
    """
    shape = basis(POINTS)
    at = mesh.at(shape.points)
    z, r, jacobian = at.z[elements], at.r[elements], at.jacobian[elements]
    weight = shape.weights * r * jacobian / radius**2
    each = eval_legendre(orders[:, None, None], z / radius) * weight
    parts = np.einsum("neq,qp->nep", each, shape.values) * (2 * orders + 1)[:, None, None]
    apart = np.zeros((len(orders), mesh.unknowns))
    np.add.at(apart.T, mesh.nodes[elements], parts.transpose(1, 2, 0))
    return apart
