"""Impulse responses of a solved row at the seats: in free air, and with the room's first bounces.

The travel time of the direct sound is taken off, so that switching between designs does not shift
the sound. Bounces are those of `dispersion.room`: first order, off bare planes, by the far field
towards the image of the seat, in the solved direction nearest to it, phase included. By the
pressure solved at the image (`roundcast seat`) they are within 0.3 to 0.6 dB on the examples;
where a candidate was ranked with a shorter column, the floor's bounce is off by 0.4 dB more (rms
over third octaves).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.interpolate import CubicSpline

from dispersion.air import Air
from dispersion.bands import band_edges
from dispersion.impulse import RATE, BandLimits, bins, impulse, least_length
from dispersion.room import air_loss, share_reflected
from studies.solving.candidates import Row
from studies.solving.seating import Seating


@dataclass(frozen=True, eq=False)
class Heard:
    """Sound that reaches a seat on one path.

    Attributes
    ----------
    pressure : (F,) complex array
        At the frequencies of the row's response, over what 0 dB is at the seat's distance.
    delay : float
        Behind the direct sound, s.
    """

    pressure: np.ndarray = field(repr=False)
    delay: float


def direct_at(row: Row, seat: int) -> Heard:
    """Return the direct sound at a seat, by its place in the design's file."""
    return Heard(row.response.near[:, seat], 0.0)


def bounces_at(row: Row, seat: int, seating: Seating, air: Air) -> list[Heard]:
    """Return every first bounce at a seat.

    Parameters
    ----------
    row : Row
        Solved, with its far field towards the images of the seats.
    seat : int
        Place in the design's file.
    seating : Seating
        Of the same design.
    air : Air

    Notes
    -----
    Pressure = far field (d0/d) sqrt(1 - absorption) 10^(-m (d - d0) / 20), d the bounce's way, d0
    the direct one, m what the air takes, dB/m.
    """
    images = row.images
    if images is None:
        return []
    f, ears = row.response.problem.frequencies, seating.sitters[seat].here
    first = sum(len(sitter.here.points) - 1 for sitter in seating.sitters[:seat])
    straight, *ways = ears.distances
    found = []
    for number, (path, way) in enumerate(zip(ears.paths[1:], ways, strict=True), start=first):
        kept = np.sqrt(share_reflected(seating.absorption[path.surface], f)) * straight / way
        kept = kept * 10.0 ** (-air_loss(air, f) * (way - straight) / 20.0)
        found.append(Heard(images[:, number] * kept, (way - straight) / air.speed))
    return found


def response_of(row: Row, arrivals: Sequence[Heard]) -> np.ndarray:
    """(N,) impulse response of some arrivals together, `dispersion.impulse.RATE` samples a second.

    Parameters
    ----------
    row : Row
        Solved: its bands say what is known.
    arrivals : sequence of Heard
    """
    lower, upper = band_edges(row.coverage.centres)
    limits = BandLimits(float(lower[0]), float(upper[-1]))
    latest = max(arrival.delay for arrival in arrivals)
    samples = int(np.ceil(least_length(limits, latest) * RATE))
    solved = row.response.problem.frequencies
    wanted = np.log(np.clip(bins(samples), solved[0], solved[-1]))
    whole = np.zeros(samples)
    for arrival in arrivals:
        curve = CubicSpline(np.log(solved), arrival.pressure)
        whole += impulse(curve(wanted), arrival.delay, limits, samples)[0]
    return whole
