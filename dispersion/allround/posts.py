"""Round posts in the flat ring, exactly: what they do to the field all round.

About a post's axis, theta = 0 pointing outwards, the sound in the flat ring is

    p = sum_n cos(n pi z / H) sum_l [a_nl J_l(kappa_n rho) + b_nl H_l(kappa_n rho)] exp(i l theta),
    b_nl = T_nl a_nl,    T_nl = -J_l'(kappa_n a) / H_l'(kappa_n a)

for a rigid post of radius a, head and foot included: posts have no unknowns of their own. Waves
of a post at r_0 go on as waves about the column's axis, and those as waves about a post, by the
same coefficients (Graf's addition theorem)

    g_mln = (J_m-l(kappa_n r_0), H_m-l(kappa_n r_0)).

The round bodies answer them by R_m (`ring_answer`), the other posts in the plane. With N posts all
alike every m / N of the waves about the axis is a whole number:

    a_i = a0_i + sum_j S_ij T_j a_j,    a0_i = g_0i . (alpha0, beta0)
    S_ij = N sum_m exp(i m (phi_i - phi_j)) g_mi^T R_m g_mj + waves straight from post to post
    far = far_0 + sum_m exp(i m phi) F_m N sum_j exp(-i m phi_j) g_mj b_j

Source: P. A. Martin, Multiple Scattering (2006), section 4.5 [from memory], for the plane.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy import special

from dispersion.allround.flat_ring import check_foot
from dispersion.allround.ring_answer import RingAnswer

MORE_POST_ORDERS = 3
"""Orders l of a post beyond its k a: with 1 the error is 1e-3 of the largest pressure, with 3
2e-6."""


@dataclass(frozen=True)
class Rod:
    """A post, or as many alike as the fold says: radius and circle in metres, azimuth in rad."""

    radius: float
    circle_radius: float
    azimuth: float = 0.0


@dataclass(frozen=True, eq=False, kw_only=True)
class PostedField:
    """Far field all round with posts, at one frequency.

    Attributes
    ----------
    orders : (M,) int array
        Azimuthal orders, negative ones too.
    far : (W, E, M) complex array
        Far field of each way and order, r p exp(-ikr) in Pa m.
    near : (W, P, M) complex array
        Pressure of each way and order at the points of the answer, Pa.
    power : (W,) array
        Through each driven way, W.
    taken : (W,) array or None
        By the walls, each way alone, W; None where the answer let it go.
    """

    orders: np.ndarray
    far: np.ndarray = field(repr=False)
    near: np.ndarray = field(repr=False)
    power: np.ndarray
    taken: np.ndarray | None

    def at_azimuths(self, azimuths: np.ndarray) -> np.ndarray:
        """Far field at azimuths in radians, (W, E, A)."""
        return self.far @ np.exp(1j * np.outer(self.orders, azimuths))


def stand(
    answer: RingAnswer, rods: Sequence[Rod], fold: int = 1, more: int = MORE_POST_ORDERS
) -> PostedField:
    """Put posts into the flat ring.

    Parameters
    ----------
    answer : RingAnswer
        With every order m that is a multiple of `fold`, up to its highest.
    rods : sequence of Rod
        Each stands `fold` times, evenly round the column.
    fold : int
        N equal posts are one rod N-fold; uneven ones each a rod.
    more : int
        Orders l of each post beyond k a.

    Raises
    ------
    AllRoundError
        If a foot is not wholly on the flat ring.
    """
    for rod in rods:
        check_foot(answer.ring, rod.radius, rod.circle_radius)
    m = _multiples(answer, fold)
    places = _places(answer, m)
    each = [Standing(answer, rod, m, more) for rod in rods]
    incident = np.zeros((len(m), *answer.incident.shape), dtype=complex)
    incident[m == 0] = answer.incident
    reached = np.concatenate([one.reached(incident) for one in each])
    strength = np.concatenate([one.strength for one in each])[:, None]
    met = np.linalg.solve(
        np.eye(len(strength)) - coupling(answer, each, fold) * strength.T, reached
    )
    waves = about_axis(each, strength * met, fold)
    far, near = (_sent(answer, m, waves, of) for of in (answer.far, answer.near))
    far[:, :, m == 0] += answer.way_far[:, :, None]
    near[:, :, m == 0] += answer.way_near[:, :, None]
    work = np.einsum("wnc,ncw->w", answer.work, waves[m == 0][0])
    return PostedField(
        orders=m,
        far=far,
        near=near,
        power=answer.power + work.real,
        taken=None if answer.taken is None else _taken(answer.taken[places], m, waves),
    )


def _taken(matrices: np.ndarray, m: np.ndarray, waves: np.ndarray) -> np.ndarray:
    """What walls take of each way with its waves (M, N, 2, W) in the ring, (W,) in W."""
    ways = waves.shape[-1]
    alone = np.eye(ways)[None] * (m == 0)[:, None, None]
    both = np.concatenate((alone, waves.reshape(len(m), -1, ways)), axis=1)
    return np.einsum("miw,mij,mjw->w", both, matrices, both.conj(), optimize=True).real


class Standing:
    """A rod among the modes: its answers, and what ties it to waves about the axis.

    Waves J_l about it are counted in units of |H_l'(kappa a)|, which keeps thin posts well
    conditioned.
    """

    def __init__(self, answer: RingAnswer, rod: Rod, m: np.ndarray, more: int) -> None:
        most = int(np.ceil(answer.k * rod.radius)) + more
        kappa = answer.kappa[:, None]
        self.rod, self.m, self.l = rod, m, np.arange(-most, most + 1)
        slope = special.h1vp(self.l, kappa * rod.radius)
        self.unit = np.abs(slope)  # (N, L)
        alone = -special.jvp(self.l, kappa * rod.radius) / slope
        self.strength = (alone * self.unit).ravel()
        steps, x = m[:, None, None] - self.l, kappa * rod.circle_radius
        unit = answer.unit[_places(answer, m)][:, :, None]
        tied = (special.jv(steps, x) * unit, special.hankel1(steps, x) / unit)
        self.tied = np.stack(tied, axis=2)  # (M, N, 2, L)
        self.turn = np.exp(1j * m * rod.azimuth)

    def reached(self, incident: np.ndarray) -> np.ndarray:
        """Waves J_m and H_m (M, W, N, 2) as waves J_l about the rod, (N L, W), in its units."""
        about = np.einsum("m,mncl,mwnc->nlw", self.turn, self.tied, incident, optimize=True)
        return (about / self.unit[:, :, None]).reshape(self.unit.size, -1)

    def about_axis(self, sent: np.ndarray) -> np.ndarray:
        """Waves about the column's axis (M, N, 2, W) of what the rod sends, (N L, W)."""
        waves = sent.reshape(*self.unit.shape, -1)
        return np.einsum("m,mncl,nlw->mncw", self.turn.conj(), self.tied, waves, optimize=True)


def about_axis(each: Sequence[Standing], sent: np.ndarray, fold: int) -> np.ndarray:
    """Waves about the column's axis (M, N, 2, W), outside and inside, of what all rods send."""
    parts = np.split(sent, np.cumsum([one.unit.size for one in each])[:-1])
    every = [one.about_axis(part) for one, part in zip(each, parts, strict=True)]
    return fold * np.sum(every, axis=0)


def sent_far(answer: RingAnswer, m: np.ndarray, waves: np.ndarray) -> np.ndarray:
    """Far field (W, E, M) of waves (M, N, 2, W) that start in the ring, orders m."""
    return _sent(answer, m, waves, answer.far)


def _sent(answer: RingAnswer, m: np.ndarray, waves: np.ndarray, of: np.ndarray) -> np.ndarray:
    """Field (W, X, M) of waves where a wave of order |m| makes `of` (M, X, N, 2)."""
    sign = np.where(m < 0, (-1.0) ** m, 1.0)
    from_ring = of[_places(answer, m)] * sign[:, None, None, None]
    return np.einsum("menc,mncw->wem", from_ring, waves, optimize=True)


def _places(answer: RingAnswer, m: np.ndarray) -> np.ndarray:
    return np.searchsorted(answer.orders, np.abs(m))


def _multiples(answer: RingAnswer, fold: int) -> np.ndarray:
    """Every m that posts excite, negative ones too; ValueError if the answer lacks one."""
    wanted = np.arange(0, int(answer.orders[-1]) + 1, fold)
    if missing := set(wanted.tolist()) - set(answer.orders.tolist()):
        raise ValueError(f"an answer without the orders {sorted(missing)}: solve them too")
    return np.concatenate((-wanted[:0:-1], wanted))


def coupling(answer: RingAnswer, each: Sequence[Standing], fold: int) -> np.ndarray:
    """S of all rods, one block a pair: what reaches one of what another sends."""
    return np.block([[_between(answer, one, other, fold) for other in each] for one in each])


def _between(answer: RingAnswer, one: Standing, other: Standing, fold: int) -> np.ndarray:
    """What reaches one, in its units, of what the other and its copies send, (N L, N L)."""
    reflected = answer.reflected[_places(answer, one.m)]
    turn = fold * one.turn * other.turn.conj()
    count, sent = one.unit.shape[0], other.unit.shape[1]
    answered = np.einsum("m,mncpd,mpdk->mncpk", turn, reflected, other.tied, optimize=True)
    heard = np.einsum("mncl,mncpk->nlpk", one.tied, answered, optimize=True)
    n = np.arange(count)
    for copy in range(fold):
        azimuth = other.rod.azimuth + 2.0 * np.pi * copy / fold
        if one is not other or copy > 0:
            heard[n, :, n, :] += _straight(answer.kappa, one, other, azimuth)
    return (heard / one.unit[:, :, None, None]).reshape(one.unit.size, count * sent)


def _straight(kappa: np.ndarray, one: Standing, other: Standing, azimuth: float) -> np.ndarray:
    """Waves H_l' about a rod at an azimuth as waves J_l about another, (N, L, L')."""
    away = one.rod.circle_radius * np.exp(1j * one.rod.azimuth)
    away -= other.rod.circle_radius * np.exp(1j * azimuth)
    step = other.l[None, :] - one.l[:, None]
    turned = step * np.angle(away) - other.l * azimuth + one.l[:, None] * one.rod.azimuth
    return special.hankel1(step, kappa[:, None, None] * np.abs(away)) * np.exp(1j * turned)
