"""The boundary element system: Burton-Miller, Galerkin, one azimuthal order at a time.

For solids driven by q = dp/dn on some of their surface,

    (1/2 - K - alpha N) p = -(S + alpha (1/2 + K')) q,          alpha = i/k

has one solution at every frequency (Burton and Miller 1971). N is written with tangential
derivatives (Maue's identity), so that only weakly singular kernels are left; `pairs` holds them.
Where walls take something, q has a share T p besides, which goes to the left (see `walls`).

Over a rigid floor every kernel gets a second term, of the one element with the other's mirror image
(see `floor`); unknowns and factorisation stay what they are.
"""

import math
from collections.abc import Callable, Hashable
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numba import njit

from dispersion.stopping import current_stop

from .elements import GAUSS, Mesh, basis
from .floor import mirrored
from .pairs import (
    APART,
    BACK,
    COINCIDENT,
    DISJOINT,
    DRIVE_BACK,
    DRIVE_FORTH,
    FORTH,
    LANES,
    NODES,
    POINT_ROWS,
    SLOPES,
    TOUCHING,
    WEIGHT,
    R,
    Rules,
    add_close,
    add_product,
    corner_rules,
    fill_point,
    locate,
    new_scratch,
    spread_first,
    spread_second,
)
from .rings import azimuth_rules, compiled_order
from .sharing import Block, Blocks, Kept, SharedBlocks
from .walls import Losses

# Pairs of groups that are summed: of a body what comes before its far side, and that; with a column
# before them.
_OWN_NEAR, _OWN_FAR = np.array([[1, 1], [1, 0]], bool), np.array([[0, 0], [0, 1]], bool)
_BETWEEN_NEAR = np.array([[0, 1, 0], [1, 0, 0], [0, 0, 0]], bool)
_BETWEEN_FAR = np.array([[0, 0, 1], [0, 0, 0], [1, 0, 0]], bool)


class Surface(NamedTuple):
    """What the compiled assembly needs of the mesh: E elements, then as many images, if any."""

    curve: np.ndarray  # (E, 2, G)
    nodes: np.ndarray  # (E, NODES)
    group: np.ndarray  # (E,)
    columns: np.ndarray  # (E, NODES) columns of a driven element's node values, else -1
    after: np.ndarray  # (E,) element that starts where this one ends, -1 if there is none
    centre: np.ndarray  # (E, 2) and radius: a circle round each element
    radius: np.ndarray
    points: np.ndarray  # (E, POINT_ROWS, GAUSS)
    spread: np.ndarray  # (E, POINT_ROWS, LANES) all of them GAUSS times, see `pairs.add_product`


@lru_cache(maxsize=4)
def pair_rules(digits: float) -> Rules:
    """Quadrature rules for one number of azimuth digits."""
    shape = basis()
    touching, coincident = corner_rules()
    return Rules(
        azimuth_rules(digits),
        shape.powers,
        shape.points,
        shape.weights,
        shape.values,
        shape.slopes,
        touching,
        coincident,
    )


def surface_arrays(mesh: Mesh, driven: np.ndarray, group: np.ndarray) -> Surface:
    """Evaluate the mesh at its Gauss points for the compiled code."""
    shape, elements = basis(), mesh.elements
    columns = np.full((elements, NODES), -1)
    columns[driven] = np.arange(len(driven) * NODES).reshape(-1, NODES)
    surface = Surface(
        curve=mesh.curve,
        nodes=mesh.nodes,
        group=group,
        columns=columns,
        after=mesh.following,
        centre=np.empty((elements, 2)),
        radius=np.empty(elements),
        points=np.empty((elements, POINT_ROWS, GAUSS)),
        spread=np.zeros((elements, POINT_ROWS, LANES)),
    )
    _evaluate(shape.points, shape.weights, *surface[:1], *surface[5:])
    return surface


@njit(cache=True, nogil=True, error_model="numpy")
def _evaluate(gauss, weights, curve, centre, radius, points, spread):
    """Fill the points of every element, and a circle round it."""
    for e in range(len(curve)):
        r0, z0, _, _ = locate(curve, e, -1.0)
        r1, z1, _, _ = locate(curve, e, 1.0)
        centre[e, 0], centre[e, 1] = 0.5 * (r0 + r1), 0.5 * (z0 + z1)
        radius[e] = 0.5 * math.hypot(r1 - r0, z1 - z0)
        for i in range(GAUSS):
            r, z, dr, dz = locate(curve, e, gauss[i])
            fill_point(points[e], i, r, z, dr, dz, weights[i])
            radius[e] = max(radius[e], math.hypot(r - centre[e, 0], z - centre[e, 1]))
        spread_second(points[e], spread[e])


def _with_images(mesh: Mesh, floor: float, driven: np.ndarray, group: np.ndarray) -> Surface:
    """Evaluate the mesh, and after it its mirror image, of which every element is walked back."""
    real = surface_arrays(mesh, driven, group)
    image = surface_arrays(mirrored(mesh, floor), driven, group)
    touching = np.where(mesh.stands, np.arange(mesh.elements), -1)
    image = image._replace(columns=image.columns[:, ::-1], after=touching)
    return Surface._make(np.concatenate(pair) for pair in zip(real, image, strict=True))


def assemble(
    mesh: Mesh,
    k: complex,
    m: int,
    driven: np.ndarray,
    digits: float,
    shared: SharedBlocks | None = None,
    losses: Losses | None = None,
) -> Block:
    """Return the system matrix and the matrix from driven node values to the right-hand side.

    Parameters
    ----------
    mesh : Mesh
    k : float or complex
        Wavenumber in rad/m; complex in air that absorbs, or for a complex frequency.
    m : int
        Azimuthal order.
    driven : (D,) int array
        Elements that carry a normal velocity.
    digits : float
        Decimal digits of the azimuth quadrature.
    shared : SharedBlocks, optional
        Where blocks of single bodies are kept and found; the result is the same to the last bit.
    losses : Losses, optional
        What the walls take; all are rigid where left out.

    Returns
    -------
    matrix : (N, N) complex array
        Galerkin matrix of 1/2 - K - alpha N, alpha = i/k, or with losses of that and
        (S + alpha (1/2 + K')) T on p.
    drive : (N, D * NODES) complex array
        Galerkin matrix of -(S + alpha (1/2 + K')) on the node values of q = dp/dn of the
        driven elements, element by element.
    """
    images = (False,) if mesh.floor is None else (False, True)
    how = How(k, m, digits, shared)
    matrix, drive = _between(mesh, how, driven, losses, images)
    moves = np.zeros(mesh.elements, dtype=bool)
    moves[driven] = True
    column = 0
    for body in range(len(mesh.lifts)):
        moving = np.flatnonzero(moves[mesh.spans[body]])
        rows = mesh.unknowns_of(body)
        columns = slice(column, column + len(moving) * NODES)
        for image in images:
            own = _own_block(mesh, body, how, moving, losses, image)
            if image:
                matrix[rows, rows] += own.matrix
                drive[rows, columns] += own.drive
            else:  # nothing is there before
                matrix[rows, rows], drive[rows, columns] = own
        column = columns.stop
    if m > 0:
        # A wave of order m > 0 vanishes on the axis.
        axis = mesh.axis_nodes
        matrix[axis], matrix[:, axis], drive[axis] = 0.0, 0.0, 0.0
        matrix[axis, axis] = 1.0
    return Block(matrix, drive)


class How(NamedTuple):
    """How pairs of elements are summed, and where what is found again is kept."""

    k: complex
    m: int
    digits: float
    shared: SharedBlocks | None

    def found(self, key: tuple[Hashable, ...], make: Callable[[], Kept]) -> Kept:
        """Return what was made under this key, or make it."""
        if self.shared is None:
            return make()
        return self.shared.find((*key, self.k, self.m, self.digits), make)


Place = tuple[slice, slice, slice]
"""Rows, unknowns and driven node values of a part of a block."""


class _Sums:
    """Sums over the pairs of elements of one mesh, some of which are kept for other meshes.

    Parameters
    ----------
    mesh : Mesh
    how : How
    driven : (D,) int array
        Elements whose dp/dn counts.
    group : (E,) int array
        By which pairs are chosen.
    images : tuple of bool
        What is summed: False for the pairs themselves, True for each element with the other's
        mirror image in the floor.
    """

    def __init__(
        self,
        mesh: Mesh,
        how: How,
        driven: np.ndarray,
        group: np.ndarray,
        images: tuple[bool, ...] = (False,),
    ) -> None:
        self._elements, self._how, self._images = mesh.elements, how, images
        if mesh.floor is not None and True in images:
            self._surface = _with_images(mesh, mesh.floor, driven, group)
        else:
            self._surface = surface_arrays(mesh, driven, group)
        self.block = _empty(mesh, driven)

    def add(self, chosen: np.ndarray) -> None:
        """Add the pairs of two groups wherever `chosen`, (G, G) bool, says so."""
        how, stop = self._how, current_stop()
        rules, order = pair_rules(how.digits), compiled_order(how.m)
        for image in self._images:
            stop.check()
            asked = (rules, self._surface, self._elements, image, how.k, order, chosen)
            _assemble(*asked, stop.flag, *self.block)
        stop.check()

    def begin(
        self, chosen: np.ndarray, places: tuple[Place, ...], key: tuple[Hashable, ...]
    ) -> None:
        """Add pairs that fill some places, before all others, unless found under their key."""

        def make() -> Blocks:
            self.add(chosen)
            return Blocks(Block(matrix[r, n].copy(), drive[r, d].copy()) for r, n, d in places)

        (matrix, drive), how = self.block, self._how
        if how.shared is None:
            self.add(chosen)
            return
        for (r, n, d), kept in zip(places, how.found(key, make), strict=True):
            matrix[r, n], drive[r, d] = kept


def _empty(mesh: Mesh, driven: np.ndarray) -> Block:
    matrix = np.zeros((mesh.unknowns, mesh.unknowns), dtype=complex)
    return Block(matrix, np.zeros((mesh.unknowns, len(driven) * NODES), dtype=complex))


def _between(
    mesh: Mesh, how: How, driven: np.ndarray, losses: Losses | None, images: tuple[bool, ...]
) -> Block:
    """Block of different bodies on each other: nothing where there is but one.

    What the column and the far side of what hangs do to each other is kept: it stays where a plate
    stays, whatever hangs under it.
    """
    bodies = len(mesh.lifts)
    if bodies == 1:
        return _empty(mesh, driven)
    carried = driven if losses is None else losses.carried(driven)
    if bodies > 2 or mesh.floor is not None:
        sums = _Sums(mesh, how, carried, mesh.body, images)
        sums.add(~np.eye(bodies, dtype=bool))
    else:
        hung = mesh.spans[1].start
        first = hung + mesh.bodies[1].far_from
        sums = _Sums(mesh, how, carried, mesh.body + (np.arange(mesh.elements) >= first))
        counts = np.searchsorted(carried, (hung, first)).tolist()
        on_column, on_far = slice(0, NODES * counts[0]), slice(NODES * counts[1], None)
        column, far = mesh.unknowns_of(0), mesh.unknowns_from(first)
        places = (column, far, on_far), (far, column, on_column)
        curves = mesh.own_curve[:hung].tobytes(), mesh.own_curve[first:].tobytes()
        moved = carried[: counts[0]].tobytes(), (carried[counts[1] :] - first).tobytes()
        sums.begin(_BETWEEN_FAR, places, (*curves, *moved, mesh.lifts.tobytes()))
        sums.add(_BETWEEN_NEAR)
    return sums.block if losses is None else losses.folded(sums.block, carried, driven)


def _own_block(
    mesh: Mesh, body: int, how: How, driven: np.ndarray, losses: Losses | None, image: bool
) -> Block:
    """Block of one body on itself, wherever it hangs; or on its image, for its height.

    Of a body that hangs the block of its far side is kept besides.
    """
    alone, taken = mesh.alone(body), None if losses is None else losses.alone(body)

    def make() -> Block:
        carried = driven if taken is None else taken.carried(driven)
        first = alone.far_from if body > 0 and not image else alone.elements
        sums = _Sums(alone, how, carried, 1 * (np.arange(alone.elements) >= first), (image,))
        if first < alone.elements:
            count, rows = int(np.searchsorted(carried, first)), alone.unknowns_from(first)
            places = ((rows, rows, slice(NODES * count, None)),)
            key = alone.own_curve[first:].tobytes(), (carried[count:] - first).tobytes()
            sums.begin(_OWN_FAR, places, key)
        sums.add(_OWN_NEAR)
        return sums.block if taken is None else taken.folded(sums.block, carried, driven)

    height = alone.floor if image else None
    key = alone.own_curve.tobytes(), driven.tobytes(), height, None if taken is None else taken.key
    return how.found(key, make)


@njit(cache=True, nogil=True, error_model="numpy")
def _assemble(rules, surface, elements, image, k, m, chosen, stop, matrix, drive):
    """Add pairs of elements, or of the mirror image of one with the other, until stopped."""
    scratch = new_scratch()
    blocks, shapes = scratch.blocks, (rules.values, rules.slopes, rules.values, rules.slopes)
    for e in range(elements):
        if stop[0]:
            return
        own = surface.group[e]
        if chosen[own, own] and not image:
            _add_mass(surface, rules.values, k, e, matrix, drive)
        one = e + elements if image else e
        spread_first(surface.points[one], scratch.first)
        for f in range(e, elements):
            if not chosen[own, surface.group[f]]:
                continue
            blocks[:] = 0.0
            touch = surface.after[one] == f
            driven = surface.columns[e, 0] >= 0 or surface.columns[f, 0] >= 0
            if one != f and not touch and _apart(surface, one, f):
                first, second = scratch.first, surface.spread[f]
                add_product(rules.azimuth, first, second, shapes, k, m, scratch, driven)
            else:
                kind = COINCIDENT if one == f else (TOUCHING if touch else DISJOINT)
                add_close(rules, surface.curve, one, f, kind, k, m, scratch, driven)
            if image and e == f:
                # Both directions say the same here, and both are added.
                blocks *= 0.5
            _scatter(surface, one, f, blocks, matrix, drive)


@njit(cache=True, nogil=True, error_model="numpy")
def _apart(surface, e, f):
    dr = surface.centre[e, 0] - surface.centre[f, 0]
    dz = surface.centre[e, 1] - surface.centre[f, 1]
    longer = 2.0 * max(surface.radius[e], surface.radius[f])
    reach = surface.radius[e] + surface.radius[f] + APART * longer
    return dr * dr + dz * dz > reach * reach


@njit(cache=True, nogil=True, error_model="numpy")
def _add_mass(surface, values, k, e, matrix, drive):
    """Add 1/2 psi p to the matrix and -(alpha/2) psi q to the drive of one element."""
    points, nodes, column = surface.points, surface.nodes, surface.columns[e, 0]
    for i in range(GAUSS):
        weight = 0.5 * points[e, R, i] * points[e, WEIGHT, i]
        for a in range(NODES):
            for b in range(NODES):
                mass = weight * values[i, a] * values[i, b]
                matrix[nodes[e, a], nodes[e, b]] += mass
                if column >= 0:
                    drive[nodes[e, a], column + b] -= complex(0.0, mass / k.real)


@njit(cache=True, nogil=True, error_model="numpy")
def _scatter(surface, e, f, blocks, matrix, drive):
    nodes, columns = surface.nodes, surface.columns
    for a in range(NODES):
        row = nodes[e, a]
        for b in range(NODES):
            column = nodes[f, b]
            slopes = _entry(blocks, SLOPES, a, b)
            matrix[row, column] += _entry(blocks, FORTH, a, b) + slopes
            matrix[column, row] += _entry(blocks, BACK, a, b) + slopes
            if columns[f, b] >= 0:
                drive[row, columns[f, b]] += _entry(blocks, DRIVE_FORTH, a, b)
            if columns[e, a] >= 0:
                drive[column, columns[e, a]] += _entry(blocks, DRIVE_BACK, a, b)


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _entry(blocks, row, a, b):
    return complex(blocks[b, row * NODES + a], blocks[b, (row + 1) * NODES + a])
