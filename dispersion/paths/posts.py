"""Posts in the gap: what N round rods do to the level by azimuth, third octave by third octave.

Between two parallel plates a distance H apart sound travels in vertical modes cos(n pi z / H), each
a two-dimensional wave of radial wavenumber kappa_n = sqrt(k^2 - (n pi / H)^2). Rigid upright rods
do not mix the modes, so that each is a problem of N circles that a ring wave H_0(kappa_n r) from
the axis meets: multiple scattering with Graf's addition theorem. The far level by azimuth follows
from the modes at the rim, order by order:

    p(eps, phi) = sum_n A_n K_n(eps) sum_m (-i)^m c_nm H_m(kappa_n R) / H_m(k R cos eps) e^(im phi)

with K_n(eps) = 1/H int cos(n pi z / H) exp(-i k z sin eps) dz, the far field of the rim's pressure
as if there were none above and below it (Kirchhoff). Modes are added in power. Their shares |A_n|^2
come from the wave solver: the pressure across the gap at the post circle, without posts. Below
f = c / 2H there is only the even mode, and nothing needs solving.

It is an estimate. Left out: what the rim sends back into the gap, and what reflector and driver
send back from the middle (the plates go on through it here), modes that do not travel, mixing of
modes at the rim, square columns. Held against boundary elements in three dimensions, plates of
120 mm, gap 20 mm, three rods of 6 mm (tests/validation/test_posts_against_bempp.py), in dB over the
level without posts:

    =====================  ==========  ==================  ==================  ==============
    model                  elevation   ripple, 3-D         ripple, estimate    error of mean
    =====================  ==========  ==================  ==================  ==============
    bare plates, 5 kHz     0           0.76                0.95                -0.15
    bare plates, 8 kHz     0           3.05                2.82                -0.05
    with a cap, 8 kHz      0           2.65                2.82                -0.03
    with a cap, 11 kHz     0 to 20     2.79                3.60                -0.74
    =====================  ==========  ==================  ==================  ==============

About their means the two curves are nowhere more than 0.13, 0.16, 0.14 and 0.55 dB apart. The last
row has two modes. The exact way (`dispersion.allround`) says the same of the first example up to 5
kHz within 0.1 dB; above, it finds up to 1.4 dB more ripple.

Reflectors off the centre or tilted are not treated here, nor by the wave solver, which needs one
axis for everything: they are left to the rays.

Sources: P. A. Martin, Multiple Scattering (2006), section 4.5 [from memory]; exp(-i omega t).
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from dispersion.air import Air
from dispersion.bands import band_means
from dispersion.paths.cylinders import about_axis, line_source, scatter
from dispersion.ripple import AZIMUTHS_DEG, HORIZONTAL_WINDOW_DEG, Ripple
from dispersion.waves import axial_motion, sweep
from shapes.assembly import Assembly, Posts
from shapes.clashes import find_clashes

ELEVATIONS_IN_WINDOW = 5
LEAST_RADIAL_SHARE = 1e-3
"""A mode with kappa_n below this share of k stands in the gap: it is left out."""


class PostsError(ValueError):
    """Posts for which no ripple can be worked out."""


def post_ripple(
    assembly: Assembly,
    air: Air,
    frequencies: ArrayLike,
    posts: Posts | None = None,
    window_deg: tuple[float, float] = HORIZONTAL_WINDOW_DEG,
    way: str = "driver",
) -> Ripple:
    """Estimate the level by azimuth that posts leave, relative to none.

    Parameters
    ----------
    assembly : Assembly
    air : Air
    frequencies : (F,) array_like
        Hz, at least four in every third-octave band, as `study_frequencies` gives them.
    posts : Posts, optional
        Instead of those of the assembly.
    window_deg : (float, float)
        Lowest and highest elevation listened to; the mean power over it is taken.
    way : str
        The driven way whose sound passes the posts.

    Raises
    ------
    PostsError
        If there are no posts, they or the assembly do not fit, or window or way make no sense.
    BandError
        If the frequencies make no bands.
    """
    built = _with_posts(assembly, posts)
    _check_question(built, window_deg, way)
    frequencies = np.asarray(frequencies, dtype=float)
    ratios = relative_power(built, air, frequencies, window_deg, way)
    centres, means = band_means(frequencies, ratios)
    return Ripple(built.standing_posts, AZIMUTHS_DEG, centres, 10.0 * np.log10(means), window_deg)


def compare_posts(
    assembly: Assembly,
    air: Air,
    frequencies: ArrayLike,
    alternatives: Mapping[str, Posts],
    window_deg: tuple[float, float] = HORIZONTAL_WINDOW_DEG,
    way: str = "driver",
) -> dict[str, Ripple]:
    """Ripple of several sets of posts by name, such as "3 x 6 mm" and "4 x 12 mm"."""
    return {
        name: post_ripple(assembly, air, frequencies, posts, window_deg, way)
        for name, posts in alternatives.items()
    }


def relative_power(
    assembly: Assembly,
    air: Air,
    frequencies: np.ndarray,
    window_deg: tuple[float, float] = HORIZONTAL_WINDOW_DEG,
    way: str = "driver",
) -> np.ndarray:
    """Power by azimuth with the assembly's posts over that without, (F, A), at each frequency."""
    shares = mode_shares(assembly, air, frequencies, way)
    return np.array(
        [
            _relative_power_at(assembly, 2.0 * np.pi * f / air.speed, share, window_deg)
            for f, share in zip(frequencies, shares, strict=True)
        ]
    )


def radial_wavenumbers(k: float, gap: float) -> np.ndarray:
    """kappa_n in rad/m of the vertical modes that travel, n = 0, 1, ..."""
    n = np.arange(int(k * gap / np.pi) + 1)
    squared = k**2 - (n * np.pi / gap) ** 2
    return np.sqrt(squared[squared > (LEAST_RADIAL_SHARE * k) ** 2])


def mode_shares(
    assembly: Assembly, air: Air, frequencies: np.ndarray, way: str = "driver"
) -> list[np.ndarray]:
    """Power |A_n|^2 of the ring waves A_n cos(n pi z / H) H_0(kappa_n r), one array a frequency.

    Taken as if all that passes the post circle travels outwards; without posts. Where one mode
    travels it is 1.
    """
    gap, radius = assembly.plate_gap, assembly.standing_posts.circle_radius
    modes = [radial_wavenumbers(2.0 * np.pi * f / air.speed, gap) for f in frequencies]
    shares = [np.ones(1) for _ in modes]
    several = [i for i, kappa in enumerate(modes) if kappa.size > 1]
    if not several:
        return shares
    count = 2 * max(kappa.size for kappa in modes) + 6
    z = (np.arange(count) + 0.5) * gap / count
    places = np.column_stack((np.full(count, radius), z))
    moving = {built.name: built.parts for built in assembly.ways}[way]
    pressures = sweep(
        assembly.bodies,
        frequencies[several].tolist(),
        [axial_motion(way, moving, air)],
        air,
        each=lambda solution: solution.pressure_at(places)[:, 0],
    )
    for i, pressure in zip(several, pressures, strict=True):
        n = np.arange(modes[i].size)
        # The midpoint rule is exact for products of these cosines: a discrete cosine transform.
        part = np.cos(np.outer(n, np.pi * z / gap)) @ pressure * np.where(n > 0, 2.0, 1.0) / count
        shares[i] = np.abs(part / special.hankel1(0, modes[i] * radius)) ** 2
    return shares


def _with_posts(assembly: Assembly, posts: Posts | None) -> Assembly:
    """Return the assembly with these posts, or its own, if they fit."""
    built = assembly if posts is None else replace(assembly, posts=posts)
    if built.posts is None:
        raise PostsError("the design has no posts: give it some, or alternatives to compare")
    if clashes := find_clashes(built):
        raise PostsError("; ".join(f"{c.part}: {c.message}: {c.remedy}" for c in clashes))
    return built


def _check_question(assembly: Assembly, window_deg: tuple[float, float], way: str) -> None:
    low, high = window_deg
    if not -90.0 < low <= high < 90.0:
        raise PostsError(
            f"a window from {low:g} to {high:g} degrees: give the lower elevation first, "
            "both between -90 and 90"
        )
    names = [built.name for built in assembly.ways]
    if way not in names:
        raise PostsError(f"there is no way {way!r}: take one of {', '.join(names)}")


def _relative_power_at(
    assembly: Assembly, k: float, shares: np.ndarray, window_deg: tuple[float, float]
) -> np.ndarray:
    """Power over that without posts, (A,): modes added in power, mean over the window."""
    posts, gap = assembly.standing_posts, assembly.plate_gap
    rim = min(assembly.hung_plate.radius, assembly.column.face.radius)
    cosines = np.cos(np.radians(window_elevations(window_deg)))[:, None]
    sines = np.sin(np.radians(window_elevations(window_deg)))
    centres = post_centres(posts)
    # The pattern repeats from post to post: no other orders than multiples of their number.
    reach = int((k * posts.outer_radius + 12.0) / posts.count)
    m = posts.count * np.arange(-reach, reach + 1)
    turn = np.exp(1j * np.outer(m, np.radians(AZIMUTHS_DEG)))
    bare, posted = 0.0, np.zeros(len(AZIMUTHS_DEG))
    for n, (kappa, share) in enumerate(zip(radial_wavenumbers(k, gap), shares, strict=True)):
        scattered = scatter(kappa, centres, posts.radius, line_source(kappa, centres, posts.radius))
        orders = about_axis(kappa, centres, scattered, m)
        orders[m == 0] += 1.0
        passes = special.hankel1(m, kappa * rim) / special.hankel1(m, k * rim * cosines)
        weight = share * np.abs(_rim_pattern(n, k * sines, gap)) ** 2
        far = (passes * (-1j) ** m * orders) @ turn
        bare += np.sum(weight * np.abs(passes[:, m == 0][:, 0]) ** 2)
        posted += weight @ np.abs(far) ** 2
    return posted / bare


def window_elevations(window_deg: tuple[float, float]) -> np.ndarray:
    """Elevations in degrees, uniform over the window, at which the power is taken."""
    low, high = window_deg
    return np.linspace(low, high, 1 if low == high else ELEVATIONS_IN_WINDOW)


def _rim_pattern(n: int, vertical: np.ndarray, gap: float) -> np.ndarray:
    """1/H int_0^H cos(n pi z / H) exp(-i q z) dz for vertical wavenumbers q."""

    def wave(wavenumber: np.ndarray) -> np.ndarray:
        x = wavenumber * gap / 2.0
        return np.exp(-1j * x) * np.sinc(x / np.pi)

    return 0.5 * (wave(vertical - n * np.pi / gap) + wave(vertical + n * np.pi / gap))


def post_centres(posts: Posts) -> np.ndarray:
    """Axes of the posts as complex numbers x + iy in metres, (N,); the first at azimuth 0."""
    return posts.circle_radius * np.exp(2j * np.pi * np.arange(posts.count) / posts.count)
