"""Two rings of line sources in the flat ring, and what they have to do with the bodies.

Galerkin moments of their fields U and Q = dU/dn over the bodies' shape functions, what lines hear
of each other, what they send far away. Meshes have ends of elements at the rings' feet, where the
pressure of a line has a kink; rules are graded towards them, where Q is singular like a logarithm.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import special

from dispersion.allround.flat_ring import FlatRing
from dispersion.allround.lines import LineFields, Lines, line_fields, ring_column
from dispersion.waves import Mesh
from dispersion.waves.elements import GAUSS, basis
from dispersion.waves.floor import is_above, mirrored_points
from dispersion.waves.pairs import NODES

GRADED = 10
"""Gauss points on either half of an element at a foot, graded as t^3 towards its ends."""
CONTACT = 1e-6
"""An end this near to a ring's foot is at it, metres."""


@dataclass(frozen=True, eq=False)
class RingSources:
    """Line sources cos(n pi z / H) exp(i m phi) on R rings, beside the bodies of a mesh.

    Attributes
    ----------
    mesh : Mesh
        With ends of elements at the feet of the rings.
    ring : FlatRing
    lines : Lines
    digits : float
        Decimal digits of the azimuth quadrature.
    """

    mesh: Mesh
    ring: FlatRing
    lines: Lines
    digits: float

    @cached_property
    def moments(self) -> LineFields:
        """Moments of U and Q on every element's shape functions, (M, E, P, R, N) each."""
        feet = self._at_feet()
        shape = (len(self.lines.orders), *self.mesh.nodes.shape, *self._columns)
        moments = LineFields(np.zeros(shape, complex), np.zeros(shape, complex))
        for chosen, rule in ((~feet, _plain_rule()), (feet, _graded_rule())):
            for each, found in zip(moments, self._moments_of(chosen, *rule), strict=True):
                each[:, chosen] = found
        return moments

    def on_unknowns(self, moments: np.ndarray, at: int) -> np.ndarray:
        """Sum moments (M, E, P, R, N) of one order into the mesh's unknowns, (U, R N)."""
        chosen = moments[at].reshape(*self.mesh.nodes.shape, -1)
        out = np.zeros((self.mesh.unknowns, chosen.shape[2]), dtype=complex)
        np.add.at(out, self.mesh.nodes, chosen)
        if self.lines.orders[at] > 0:
            out[self.mesh.axis_nodes] = 0.0  # where waves of such an order vanish
        return out

    def heard_of(
        self, pressure: np.ndarray, gradient: np.ndarray | None, at: int = 0
    ) -> np.ndarray:
        """Pressure of one order on the surface, (U, W), as lines hear it: (W, R, N).

        int_0^H cos(n pi z / H) p(r_t, z) dz = int (p Q - dp/dn U) r ds; dp/dn is (E, P, W), or None
        where it is 0.
        """
        heard = pressure.T @ self.on_unknowns(self.moments.slope, at)
        if gradient is not None:
            value = self.moments.value[at].reshape(-1, heard.shape[1])
            heard -= gradient.reshape(len(value), -1).T @ value
        return heard.reshape(-1, *self._columns)

    @cached_property
    def direct(self) -> np.ndarray:
        """What lines hear of each other without bodies, (M, R, N, R, N)."""
        lines, height = self.lines, self.ring.height
        rings = len(lines.radii)
        heard = np.empty((len(lines.orders), *self._columns, *self._columns), dtype=complex)
        for t in range(rings):
            for j in range(t, rings):
                zeta, weight, kernel = ring_column(
                    lines, (lines.radii[t], lines.radii[j]), self.digits
                )
                overlap = _overlap(np.arange(lines.modes) * np.pi / height, height - zeta, zeta)
                heard[:, t, :, j] = np.einsum("mz,abz->mab", kernel * weight, overlap)
                heard[:, j, :, t] = heard[:, t, :, j]
        if self.mesh.floor is not None:
            heard += self._from_image(self.mesh.floor)
        return heard

    def waves(self, kappa: np.ndarray, unit: np.ndarray) -> np.ndarray:
        """Each mode's s J_m and H_m / s at the rings, (M, N, R, 2); s is `unit` (M, N)."""
        x, m, s = (
            kappa[:, None] * self.lines.radii,
            self.lines.orders[:, None, None],
            unit[..., None],
        )
        return np.stack((special.jv(m, x) * s, special.hankel1(m, x) / s), axis=-1)

    def far_alone(self, elevations: np.ndarray) -> np.ndarray:
        """Far field of the lines without bodies, (M, E, R, N)."""
        lines, floor = self.lines, self.mesh.floor
        if floor is None:
            return _line_far(lines, elevations)
        sines = np.sin(np.radians(elevations))[:, None, None]
        image = np.exp(-2j * lines.k * floor * sines) * _line_far(lines, -elevations)
        both = _line_far(lines, elevations) + image
        return np.where(is_above(elevations, 0.0)[:, None, None], both, 0.0)

    @property
    def _columns(self) -> tuple[int, int]:
        return len(self.lines.radii), self.lines.modes

    def _at_feet(self) -> np.ndarray:
        """Which elements end at a ring's foot, (E,)."""
        ends = self.mesh.at(np.array([-1.0, 1.0]))
        level = np.minimum(np.abs(ends.z), np.abs(ends.z - self.ring.height)) < CONTACT
        met = np.abs(ends.r[..., None] - self.lines.radii).min(axis=2) < CONTACT
        return np.any(level & met, axis=1)

    def _moments_of(self, chosen: np.ndarray, x: np.ndarray, weights: np.ndarray) -> LineFields:
        """Moments on some elements by a rule of points x and weights on [-1, 1]."""
        at = self.mesh.at(x)
        points = np.stack((at.r, at.z), axis=-1)[chosen]
        normals = np.stack((at.normal_r, at.normal_z), axis=-1)[chosen]
        fields = self._fields(points.reshape(-1, 2), normals.reshape(-1, 2))
        values = np.vander(x, NODES, increasing=True) @ basis().powers.T
        load = (at.r * at.jacobian * weights)[chosen]
        shaped = values[None] * load[:, :, None]
        return LineFields(
            *(
                np.einsum("eqp,eqrmn->meprn", shaped, each.reshape(*load.shape, *each.shape[1:]))
                for each in fields
            )
        )

    def _fields(self, points: np.ndarray, normals: np.ndarray) -> LineFields:
        fields, floor = line_fields(self.lines, points, normals, self.digits), self.mesh.floor
        if floor is None:
            return fields
        image = mirrored_points(points, floor)
        back = line_fields(self.lines, image, normals * (1.0, -1.0), self.digits)
        return LineFields(fields.value + back.value, fields.slope + back.slope)

    def _from_image(self, floor: float) -> np.ndarray:
        """What lines hear of their images in the floor, (M, R, N, R, N)."""
        lines, height = self.lines, self.ring.height
        x, w = np.polynomial.legendre.leggauss(12 + 2 * int(lines.k * height) + 2 * lines.modes)
        z, w = 0.5 * height * (x + 1.0), 0.5 * height * w
        turn = np.cos(np.outer(np.arange(lines.modes), np.pi * z / height)) * w
        heard = []
        for radius in lines.radii:
            points = mirrored_points(np.column_stack((np.full(len(z), radius), z)), floor)
            value = line_fields(lines, points, np.zeros_like(points), self.digits).value
            heard.append(np.einsum("az,zrmn->marn", turn, value))
        return np.stack(heard, axis=1)


def _overlap(waves: np.ndarray, length: np.ndarray, zeta: np.ndarray) -> np.ndarray:
    """Int cos(a z) cos(b z') dz over all pairs of heights in the gap zeta apart, (N, N, Z)."""
    a, b = waves[:, None, None], waves[None, :, None]

    def part(wave: np.ndarray, shift: np.ndarray) -> np.ndarray:
        x = 0.5 * wave * length
        return 0.5 * length * np.cos(x + shift * zeta) * np.sinc(x / np.pi)

    return part(a + b, a) + part(a - b, a) + part(a + b, b) + part(b - a, b)


def _line_far(lines: Lines, elevations: np.ndarray) -> np.ndarray:
    """1/2 (-i)^m J_m(k r cos eps) int_0^H cos(n pi z / H) exp(-ikz sin eps) dz, (M, E, R, N)."""
    eps, m = np.radians(elevations)[:, None], lines.orders[:, None, None]
    turned = 0.5 * (-1j) ** m * special.jv(m, lines.k * lines.radii * np.cos(eps))

    def wave(wavenumber: np.ndarray) -> np.ndarray:
        x = 0.5 * wavenumber * lines.height
        return 0.5 * lines.height * np.exp(-1j * x) * np.sinc(x / np.pi)

    own, up = np.arange(lines.modes) * np.pi / lines.height, lines.k * np.sin(eps)
    return turned[..., None] * (wave(up - own) + wave(up + own))[:, None, :]


def _plain_rule() -> tuple[np.ndarray, np.ndarray]:
    return basis(GAUSS).points, basis(GAUSS).weights


def _graded_rule() -> tuple[np.ndarray, np.ndarray]:
    """Points and weights on [-1, 1] for logarithms at both ends."""
    t, w = np.polynomial.legendre.leggauss(GRADED)
    t, w = 0.5 * (t + 1.0), 0.5 * w
    x, w = t**3 - 1.0, 3.0 * t**2 * w
    return np.concatenate((x, -x[::-1])), np.concatenate((w, w[::-1]))
