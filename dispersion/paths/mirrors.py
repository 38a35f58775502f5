"""Plane discs as mirrors: the images of a source on their axis, and the paths that they open.

A disc answers as a mirror to every ray that meets it, and to no other, so each bounce is one more
image on the axis and each path has a length, a level and a history. That is exact for a point
before one rigid plane without end, and between two of them with enough images.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from shapes.assembly import Assembly

Array = NDArray[np.float64]

DEFAULT_BOUNCES = 100
"""Enough for all rays but those within a degree or so of the axis, caught between the discs."""


class ImageError(ValueError):
    """A source or a point for which there are no images; the message names the remedy."""


@dataclass(frozen=True)
class Mirrors:
    """Two discs on the axis that face one another: the baffle, and the plate above it.

    Parameters
    ----------
    gap : float
        From the baffle's face, z = 0, up to the underside of the plate, metres.
    baffle_radius : float
        Metres; inf for a plane without end.
    plate_radius : float
        Metres; 0 where there is no plate.
    """

    gap: float
    baffle_radius: float
    plate_radius: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no pair of discs."""
        if not 0.0 < self.gap < np.inf:
            raise ImageError(f"a gap of {self.gap:g} m: give the plate gap, more than zero")
        if not (self.baffle_radius >= 0.0 and self.plate_radius >= 0.0):
            raise ImageError("baffle and plate: a radius must be zero (no disc) or more")

    @classmethod
    def of(cls, assembly: Assembly) -> Self:
        """Return the plane pieces of an assembly."""
        plate = 0.0 if assembly.plate is None else assembly.plate.radius
        return cls(assembly.plate_gap, assembly.column.face.radius, plate)


@dataclass(frozen=True)
class Image:
    """One way for sound to go: the height of its image source, and its history.

    Attributes
    ----------
    z : float
        Height of the image on the axis, metres.
    bounces : int
        0 is the direct sound.
    first : {1, -1}
        Whether the sound starts up or down.
    """

    z: float
    bounces: int
    first: Literal[1, -1]

    @property
    def leaves(self) -> int:
        """1 if the sound goes up after its last bounce, -1 if down."""
        return self.first * (-1) ** self.bounces

    @property
    def history(self) -> str:
        """Words such as "direct" or "plate, baffle"."""
        pair = ("plate", "baffle") if self.first > 0 else ("baffle", "plate")
        return ", ".join(pair[i % 2] for i in range(self.bounces)) or "direct"


def image_sources(
    mirrors: Mirrors, source_z: float = 0.0, bounces: int = DEFAULT_BOUNCES
) -> tuple[Image, ...]:
    """Images of a source on the axis, by number of bounces.

    Parameters
    ----------
    mirrors : Mirrors
    source_z : float
        Height of the source above the baffle, metres; 0 is in the plane of the baffle.
    bounces : int
        Largest number of bounces.

    Returns
    -------
    tuple of Image
        Two for every number of bounces, one that starts up and one that starts down; those
        without a bounce share the source's own height. For a source in the plane of the baffle
        n bounces up and n + 1 down are twins, so the last of a sum stands at half.

    Raises
    ------
    ImageError
        If the source is not between baffle and plate.
    """
    limit = mirrors.gap if mirrors.plate_radius else np.inf
    if not 0.0 <= source_z < limit:
        raise ImageError(
            f"a source {source_z * 1e3:g} mm above the baffle is not between baffle and plate: "
            f"place it from 0 up to below {limit * 1e3:g} mm"
        )
    if bounces < 0:
        raise ImageError(f"{bounces} bounces: give 0 or more")
    heights = {1: source_z, -1: source_z}
    found = []
    for count in range(bounces + 1):
        for first in (1, -1):
            image = Image(heights[first], count, first)
            found.append(image)
            # The next mirror is the plate for what now goes up, the baffle for what goes down.
            heights[first] = (2.0 * mirrors.gap if image.leaves > 0 else 0.0) - image.z
    return tuple(found)


@dataclass(frozen=True, eq=False)
class Paths:
    """All images as heard in N directions or places.

    Attributes
    ----------
    images : tuple of Image, I of them
    seen : (I, N) bool array
        Whether the path meets all its mirrors and no other surface.
    extra : (I, N) array
        Path less the straight distance from the middle of the baffle, metres.
    gain : (I, N) array
        Pressure of the path relative to 0 dB (see `dispersion.response`), which is twice that of a
        point source in free air.
    sine : (I, N) array
        Sine of the angle from the axis at which the path leaves the source, for its pattern.
    """

    images: tuple[Image, ...]
    seen: NDArray[np.bool_]
    extra: Array
    gain: Array
    sine: Array

    @property
    def level_db(self) -> Array:
        """(I, N) level of each path without the source's pattern, dB; -inf where not seen."""
        with np.errstate(divide="ignore"):
            return 20.0 * np.log10(np.where(self.seen, self.gain, 0.0))

    def delay(self, speed: float) -> Array:
        """Delay of each path against the middle of the baffle, (I, N) seconds."""
        return self.extra / speed

    def pressure(self, wavenumbers: ArrayLike, radii: ArrayLike = 0.0) -> NDArray[np.complex128]:
        """Sum of all paths, for exp(-i omega t).

        Parameters
        ----------
        wavenumbers : array_like, shape (F,)
            Radians per metre; complex, with an imaginary part above 0, for air that absorbs.
        radii : array_like, shape (F,) or ()
            Radius of the radiating piston, metres; 0 for the same level in every direction.

        Returns
        -------
        ndarray, shape (F, N)
            Relative to 0 dB (see `dispersion.response`) at the distance of each place, phase
            referred to the middle of the baffle.
        """
        k = np.asarray(wavenumbers)
        ka = np.broadcast_to(k.real * radii, k.shape)
        total = np.zeros((k.size, self.seen.shape[1]), dtype=complex)
        for seen, extra, gain, sine in zip(
            self.seen, self.extra, self.gain, self.sine, strict=True
        ):
            pattern = gain[seen] * piston_pattern(ka[:, None] * sine[seen])
            total[:, seen] += pattern * np.exp(1j * k[:, None] * extra[seen])
        return total


def piston_pattern(ka_sine: ArrayLike) -> Array:
    """2 J1(x) / x for x = ka sin(angle from the axis): a flat piston in a wide baffle.

    Beranek & Mellow, Acoustics: Sound Fields and Transducers (2012), Eq. 13.102.
    """
    from scipy.special import j1

    x = np.asarray(ka_sine, dtype=float)
    small = np.abs(x) < 1e-6
    return np.where(small, 1.0, 2.0 * j1(x) / np.where(small, 1.0, x))


def paths_towards(
    mirrors: Mirrors,
    elevations: ArrayLike,
    source_z: float = 0.0,
    bounces: int = DEFAULT_BOUNCES,
) -> Paths:
    """Paths to far away.

    Parameters
    ----------
    mirrors : Mirrors
    elevations : array_like, shape (N,)
        Degrees. Exactly horizontal counts as just above the baffle: with it, not without.
    source_z, bounces
        See `image_sources`.
    """
    images = image_sources(mirrors, source_z, bounces)
    angle = np.radians(np.asarray(elevations, dtype=float))
    up, along = np.sin(angle), np.cos(angle)
    with np.errstate(divide="ignore"):
        run = along / np.abs(up)
    everywhere = np.ones(angle.shape, dtype=bool)
    seen = [
        _seen(image, mirrors, source_z, run, (up >= 0.0) == (image.leaves > 0), everywhere)
        for image in images
    ]
    heights = np.array([image.z for image in images])
    shape = (len(images), angle.size)
    return Paths(
        images,
        np.array(seen),
        -heights[:, None] * up,
        np.full(shape, 0.5),
        np.broadcast_to(along, shape),
    )


def paths_to(
    mirrors: Mirrors,
    points: ArrayLike,
    source_z: float = 0.0,
    bounces: int = DEFAULT_BOUNCES,
) -> Paths:
    """Paths to places near the speaker.

    Parameters
    ----------
    mirrors : Mirrors
    points : array_like, shape (N, 2)
        r and z in metres.
    source_z, bounces
        See `image_sources`.

    Raises
    ------
    ImageError
        If a point lies on the source.
    """
    images = image_sources(mirrors, source_z, bounces)
    r, z = np.asarray(points, dtype=float).reshape(-1, 2).T
    rise = z - np.array([image.z for image in images])[:, None]
    length = np.hypot(r, rise)
    if not np.all(length):
        raise ImageError("a point lies on the source, where the level has no end: move it away")
    with np.errstate(divide="ignore", invalid="ignore"):
        runs = r / np.abs(rise)
    seen = []
    for image, run in zip(images, runs, strict=True):
        up = image.leaves > 0
        last = source_z if image.bounces == 0 else (0.0 if up else mirrors.gap)
        # A point level with the source hears it once, as if the sound had started up.
        passed = z >= last if up else (z < last if image.bounces == 0 else z <= last)
        beyond = z > mirrors.gap if up else z < 0.0
        seen.append(_seen(image, mirrors, source_z, run, passed, beyond))
    distance = np.hypot(r, z)
    return Paths(
        images, np.array(seen), length - distance, 0.5 * distance / length, np.abs(r) / length
    )


def _seen(
    image: Image,
    mirrors: Mirrors,
    source_z: float,
    run: Array,
    passed: NDArray[np.bool_],
    beyond: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """Whether the path meets its mirrors, all of them, and then gets away.

    `run` is the radius gained per metre of rise, `passed` whether the place is on the right side
    of the last mirror, `beyond` whether it lies past the next one. The radius grows from bounce
    to bounce, so only the last bounce on either disc needs a look.
    """
    ahead, behind = mirrors.plate_radius, mirrors.baffle_radius
    if image.leaves < 0:
        ahead, behind = behind, ahead
    seen = passed & ~(beyond & _meets(image, mirrors, source_z, image.bounces + 1, run, ahead))
    if image.bounces >= 1:
        seen &= _meets(image, mirrors, source_z, image.bounces, run, behind)
    if image.bounces >= 2:
        seen &= _meets(image, mirrors, source_z, image.bounces - 1, run, ahead)
    return seen


def _meets(
    image: Image, mirrors: Mirrors, source_z: float, crossing: int, run: Array, radius: float
) -> NDArray[np.bool_]:
    """Whether the path's n-th crossing of a mirror's plane lies on the disc."""
    if radius == 0.0:
        return np.zeros(run.shape, dtype=bool)
    if image.first > 0:
        rise = crossing * mirrors.gap - source_z
    else:
        rise = (crossing - 1) * mirrors.gap + source_z
    # A source in the plane of the baffle meets it where it stands, even along the plane.
    return rise * run <= radius if rise else np.ones(run.shape, dtype=bool)
