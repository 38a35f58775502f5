"""Sound scattered by upright rigid cylinders, a problem in the plane.

A wave is regular waves about each cylinder, which sends out waves of its own, and these meet the
others (Graf's addition theorem). exp(-i omega t).

Source: P. A. Martin, Multiple Scattering (2006), section 4.5 [from memory].
"""

import numpy as np
from scipy import special


def cylinder_orders(k: float, radius: float) -> np.ndarray:
    """Orders -L ... L that a cylinder of this radius is given; L is a little above ka + 6."""
    ka = k * radius
    most = int(np.ceil(ka + 2.0 * ka ** (1.0 / 3.0))) + 6
    return np.arange(-most, most + 1)


def line_source(k: float, centres: np.ndarray, radius: float, place: complex = 0.0) -> np.ndarray:
    """Ring wave H_0(k |x - place|) in regular waves J_l exp(il theta) about each centre, (N, L)."""
    orders, away = cylinder_orders(k, radius), centres[:, None] - place
    return special.hankel1(-orders, k * np.abs(away)) * np.exp(-1j * orders * np.angle(away))


def plane_wave(k: float, centres: np.ndarray, radius: float, towards: float) -> np.ndarray:
    """Plane wave that travels towards the azimuth `towards` (rad), about each centre, (N, L)."""
    orders = cylinder_orders(k, radius)
    phase = np.exp(1j * k * (centres * np.exp(-1j * towards)).real)
    return phase[:, None] * 1j**orders * np.exp(-1j * orders * towards)


def scatter(k: float, centres: np.ndarray, radius: float, incident: np.ndarray) -> np.ndarray:
    """Waves b_jl H_l(k r_j) exp(il theta_j) that rigid cylinders send out, (N, L).

    Parameters
    ----------
    k : float
        Wavenumber in the plane, rad/m.
    centres : (N,) complex array
        x + iy, metres.
    radius : float
        Of all of them, metres.
    incident : (N, L) complex array
        Regular waves about each centre, orders `cylinder_orders`.

    Notes
    -----
    A cylinder alone answers x_l J_l with b_l = T_l x_l, T_l = -J_l'(ka) / H_l'(ka). What meets
    cylinder j is the incident wave and all others' waves, by Graf's addition theorem:

        x_jl = a_jl + sum_{i != j} sum_m H_{m-l}(k |c_j - c_i|) e^(i(m-l) arg(c_j - c_i)) T_m x_im
    """
    orders = cylinder_orders(k, radius)
    slope = special.h1vp(orders, k * radius)
    answer = -special.jvp(orders, k * radius) / slope
    # x_l grows like 1 / (ka)^l for thin posts: in these units the system stays well conditioned.
    unit = np.abs(slope)
    away = centres[:, None] - centres[None, :] + np.eye(centres.size)
    step = orders[None, :] - orders[:, None]
    span = np.arange(2 * orders[0], 2 * orders[-1] + 1)
    waves = special.hankel1(span, k * np.abs(away)[..., None]) * np.exp(
        1j * span * np.angle(away)[..., None]
    )
    coupling = waves[..., step - span[0]] * (answer * unit / unit[:, None])
    coupling[np.arange(centres.size), np.arange(centres.size)] = 0.0
    size = incident.size
    matrix = np.eye(size) - coupling.transpose(0, 2, 1, 3).reshape(size, size)
    met = np.linalg.solve(matrix, (incident / unit).ravel()).reshape(incident.shape)
    return answer * unit * met


def about_axis(k: float, centres: np.ndarray, scattered: np.ndarray, m: np.ndarray) -> np.ndarray:
    """Coefficients c_m of H_m(kr) exp(im phi) about the axis, outside all cylinders, (M,)."""
    most = scattered.shape[1] // 2
    shift = m[:, None, None] - np.arange(-most, most + 1)
    moved = special.jv(shift, k * np.abs(centres)[:, None]) * np.exp(
        -1j * shift * np.angle(centres)[:, None]
    )
    return np.einsum("mjl,jl->m", moved, scattered)


def far_pattern(
    k: float, centres: np.ndarray, scattered: np.ndarray, azimuths: np.ndarray
) -> np.ndarray:
    """Far amplitude f(phi) of what is scattered, p -> f H_0(kr), (A,); azimuths in rad."""
    most = scattered.shape[1] // 2
    orders = np.arange(-most, most + 1)
    phase = np.exp(-1j * k * (np.exp(-1j * azimuths)[:, None] * centres).real)
    turned = (-1j) ** orders * np.exp(1j * np.outer(azimuths, orders))
    return np.einsum("aj,al,jl->a", phase, turned, scattered)
