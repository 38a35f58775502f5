"""What moves, and how: crossovers, measured driver curves and a cone that lets go.

Everything follows the time factor exp(-i omega t): a delay turns the phase forward, and a filter
is the complex conjugate of the textbook's, which is written for exp(+j omega t).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from itertools import pairwise
from os import PathLike
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dispersion.bounded import UnreadableError, bytes_of

STEEPEST_ORDER = 16
LOUDEST_DB = 300.0  # either way; beyond it is another column, and far beyond it no number at all
LARGEST_CURVE = 4 * 2**20
"""Bytes of a driver's curve; a point every hertz up to 20 kHz takes an eighth of it."""
MOST_ROWS = 50_000


class SourceError(ValueError):
    """A source that cannot be; the message names the entry and the remedy."""


@dataclass(frozen=True)
class Crossover:
    """One side of a crossover.

    Parameters
    ----------
    kind : {"butterworth", "linkwitz-riley"}
        Butterworth is 3.01 dB down at its frequency, Linkwitz-Riley (two Butterworths of half
        the order in a row) 6.02 dB.
    order : int
        1 to 16; 6 dB per octave each. Even for Linkwitz-Riley.
    frequency : float
        Hz.
    side : {"low", "high"}
        The side that is let through: "low" for the woofer's part.

    Notes
    -----
    The two sides of a Linkwitz-Riley add up to a flat sum with one of the ways reversed for
    orders 2, 6, 10, 14 and with equal polarity for orders 4, 8, 12, 16.
    """

    kind: Literal["butterworth", "linkwitz-riley"]
    order: int
    frequency: float
    side: Literal["low", "high"]

    def __post_init__(self) -> None:
        """Refuse a filter that does not exist."""
        if self.kind not in ("butterworth", "linkwitz-riley"):
            raise SourceError(f"crossover kind {self.kind!r}: butterworth or linkwitz-riley")
        if self.side not in ("low", "high"):
            raise SourceError(f"crossover side {self.side!r}: low or high")
        if self.order not in range(1, STEEPEST_ORDER + 1):
            raise SourceError(f"crossover order {self.order}: 1 to {STEEPEST_ORDER}")
        if self.kind == "linkwitz-riley" and self.order % 2:
            raise SourceError(f"Linkwitz-Riley order {self.order}: even orders only (2, 4, 6, ...)")
        if not 0.0 < self.frequency < np.inf:
            raise SourceError(f"crossover frequency {self.frequency:g} Hz: give one above 0 Hz")

    def response(self, frequencies: ArrayLike) -> NDArray[np.complex128]:
        """Complex response for exp(-i omega t), the shape of `frequencies` (Hz).

        The conjugate of the usual e^(+j omega t) response of `scipy.signal.butter`, analogue.
        """
        # scipy.signal is slow to import, and most designs have no crossover.
        from scipy.signal import butter, freqs_zpk

        twice = self.kind == "linkwitz-riley"
        order = self.order // 2 if twice else self.order
        # Normalised to 1 rad/s, so that steep filters keep all their digits.
        zeros, poles, gain = butter(order, 1.0, self.side, analog=True, output="zpk")
        f = np.asarray(frequencies, dtype=float)
        _, answer = freqs_zpk(zeros, poles, gain, worN=np.atleast_1d(f).ravel() / self.frequency)
        answer = np.conj(answer).reshape(f.shape)
        return answer**2 if twice else answer


@dataclass(frozen=True)
class DriverCurve:
    """A driver's own curve, on its axis in a large baffle.

    It takes the place of the flat line that constant diaphragm acceleration would give there.

    Parameters
    ----------
    frequencies : tuple of float
        Hz, ascending, at least two.
    levels_db : tuple of float
        dB at these frequencies.
    phases_deg : tuple of float or None
        Degrees as measuring programs write them, for exp(+j omega t): a delay falls. Wrapped
        phase is unwrapped, which needs steps below 180 degrees from point to point. None stands
        for no phase at all: good for one way alone, not for adding ways around a crossover.
    beyond : {"refuse", "hold"}
        What happens outside the curve's frequencies: an error, or the end values.
    zero_db : float
        Level in the curve that stands for the house's 0 dB.
    """

    frequencies: tuple[float, ...]
    levels_db: tuple[float, ...]
    phases_deg: tuple[float, ...] | None = None
    beyond: Literal["refuse", "hold"] = "refuse"
    zero_db: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what cannot be interpolated."""
        f = np.asarray(self.frequencies, dtype=float)
        columns = [f, np.asarray(self.levels_db, dtype=float)]
        if self.phases_deg is not None:
            columns.append(np.asarray(self.phases_deg, dtype=float))
        if f.size < 2 or any(column.shape != f.shape for column in columns):
            raise SourceError("driver curve: give two points or more, each with all its values")
        if not all(np.all(np.isfinite(column)) for column in columns):
            raise SourceError("driver curve: every value must be a finite number")
        if f[0] <= 0.0 or np.any(np.diff(f) <= 0.0):
            raise SourceError("driver curve: frequencies must be above 0 Hz and ascend")
        if self.beyond not in ("refuse", "hold"):
            raise SourceError(f"driver curve: beyond {self.beyond!r} must be refuse or hold")

    def response(self, frequencies: ArrayLike) -> NDArray[np.complex128]:
        """Complex response for exp(-i omega t), interpolated on the logarithm of the frequency.

        Raises
        ------
        SourceError
            Outside the curve's frequencies, unless `beyond` is "hold".
        """
        f = np.asarray(frequencies, dtype=float)
        first, last = self.frequencies[0], self.frequencies[-1]
        # Room for rounding where a study starts or ends exactly with the curve.
        outside = (f < first * (1.0 - 1e-9)) | (f > last * (1.0 + 1e-9))
        if self.beyond == "refuse" and np.any(outside):
            raise SourceError(
                f"the driver curve reaches from {first:g} to {last:g} Hz and is asked for "
                f"{f[outside].flat[0]:g} Hz: narrow the band, or allow its end values to be held"
            )
        knots, wanted = np.log(self.frequencies), np.log(np.maximum(f, first))
        level = np.interp(wanted, knots, self.levels_db) - self.zero_db
        phase = np.zeros_like(level)
        if self.phases_deg is not None:
            phase = np.interp(wanted, knots, np.unwrap(self.phases_deg, period=360.0))
        return 10.0 ** (level / 20.0) * np.exp(-1j * np.radians(phase))

    def usual_level(self) -> float:
        """Mean level in dB from 500 Hz to 2 kHz, or of the whole curve where it ends before."""
        grid = np.geomspace(500.0, 2000.0, 49)
        if self.frequencies[0] > grid[0] or self.frequencies[-1] < grid[-1]:
            grid = np.geomspace(self.frequencies[0], self.frequencies[-1], 49)
        return float(np.mean(np.interp(np.log(grid), np.log(self.frequencies), self.levels_db)))

    def with_zero(self, zero_db: float) -> DriverCurve:
        """Return the same curve with another level for the house's 0 dB."""
        return replace(self, zero_db=zero_db)


def read_driver_curve(
    path: str | PathLike[str], beyond: Literal["refuse", "hold"] = "refuse"
) -> DriverCurve:
    """Read a driver's curve from a text file.

    Parameters
    ----------
    path : path
        A text file with two or three columns: Hz, dB and, where there is one, phase in degrees.
        Columns are parted by spaces, tabs, semicolons or commas; a comma may also be the decimal
        sign where the columns are parted by anything else. Passed over: empty lines, lines that
        start with one of # * ; / % or a quotation mark, headings above the first row of
        numbers, and rows at 0 Hz.
    beyond : {"refuse", "hold"}
        See `DriverCurve`.

    Raises
    ------
    SourceError
        With file and line, if the file cannot be read as such a table.
    """
    file = Path(path)
    rows: list[tuple[int, list[float]]] = []
    for number, line in enumerate(_text_of(file).splitlines(), start=1):
        text = line.strip()
        if not text or text[0] in "#*;/%\"'":
            continue
        row = _numbers_in(text)
        if row is None and not rows:
            continue
        if row is None or len(row) not in (2, 3):
            raise SourceError(
                f"{file}, line {number}: {text[:60]!r} is not a row of two or three numbers "
                "(Hz, dB, degrees): correct it, or put # in front"
            )
        if row[0] != 0.0:
            rows.append((number, row))
        if len(rows) > MOST_ROWS:
            raise SourceError(
                f"{file}, line {number}: more than {MOST_ROWS} rows: export fewer points, 96 an"
                " octave are plenty"
            )
    _require_table(file, rows)
    columns = list(zip(*(row for _, row in rows), strict=True))
    return DriverCurve(columns[0], columns[1], columns[2] if len(columns) == 3 else None, beyond)


def _text_of(file: Path) -> str:
    try:
        raw = bytes_of(file, LARGEST_CURVE)
    except UnreadableError as error:
        raise SourceError(f"{file}: {error}") from error
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return raw.decode("utf-16", errors="replace")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _numbers_in(text: str) -> list[float] | None:
    if ";" in text or "\t" in text:
        fields = re.split(r"[;\t]+", text)
    elif re.search(r",\s|^\S+$", text):
        fields = text.split(",")
    else:
        fields = text.split()
    try:
        return [float(field.strip().replace(",", ".")) for field in fields if field.strip()]
    except ValueError:
        return None


def _require_table(file: Path, rows: list[tuple[int, list[float]]]) -> None:
    if len(rows) < 2:
        raise SourceError(f"{file}: fewer than two rows of numbers (Hz, dB, degrees) found")
    for (_, above), (number, row) in pairwise(rows):
        if len(row) != len(above):
            raise SourceError(f"{file}, line {number}: {len(row)} numbers, {len(above)} above it")
        if not row[0] > above[0]:
            raise SourceError(
                f"{file}, line {number}: {row[0]:g} Hz comes after {above[0]:g} Hz: "
                "sort the rows by frequency, each one once"
            )
    for number, row in rows:
        if row[0] < 0.0 or not np.all(np.isfinite(row)):
            raise SourceError(
                f"{file}, line {number}: needs finite numbers and a frequency above 0"
            )
        if abs(row[1]) > LOUDEST_DB:
            raise SourceError(
                f"{file}, line {number}: {row[1]:g} is no level of a driver in dB: put frequency"
                " first, level second"
            )


@dataclass(frozen=True)
class LettingGo:
    """A cone whose outer part lets go: above a frequency the radiating radius shrinks as 1/f.

    Common practice, no source.

    Parameters
    ----------
    frequency : float
        Hz, up to which the whole cone moves as one.
    least_radius : float
        Metres; the radius that always moves: dust cap or whizzer.

    Notes
    -----
    The radiating radius is b(f) = a for f <= frequency and max(a frequency / f, least_radius)
    above, a being the effective radius. The axial velocity at radius r is the voice coil's times
    exp(-g (r/a)^2), with g >= 0 such that the moving area stays pi b^2:
    (1 - exp(-g)) / g = (b/a)^2. The Gaussian has no edge, so it is smooth on any mesh, and it
    becomes 1 everywhere, without a step in frequency, as b reaches a.

    With the voice coil's acceleration held, the level on axis falls as the moving area does. A
    real cone that lets go sheds mass as well; its measured curve says how much of that is made
    good.
    """

    frequency: float
    least_radius: float

    def __post_init__(self) -> None:
        """Refuse a cone that never moves or lets go at no frequency."""
        if not 0.0 < self.frequency < np.inf:
            raise SourceError(f"a cone lets go at {self.frequency:g} Hz: give one above 0 Hz")
        if not 0.0 < self.least_radius < np.inf:
            raise SourceError(
                f"least radiating radius {self.least_radius:g} m: give the dust cap's or whizzer's"
            )

    def radius(self, frequency: float, effective_radius: float) -> float:
        """Radiating radius b in metres at one frequency (Hz)."""
        if frequency <= self.frequency:
            return effective_radius
        shrunk = effective_radius * self.frequency / frequency
        return min(effective_radius, max(shrunk, self.least_radius))

    def weight(
        self, radius: ArrayLike, frequency: float, effective_radius: float
    ) -> NDArray[np.float64]:
        """Axial velocity relative to the voice coil's, in [0, 1], at each radius.

        Parameters
        ----------
        radius : array_like
            Distances from the axis, metres.
        frequency : float
            Hz.
        effective_radius : float
            Metres.

        Returns
        -------
        ndarray
            The shape of `radius`; exactly 1 at and below the frequency where the cone lets go.
        """
        r = np.asarray(radius, dtype=float)
        b = self.radius(frequency, effective_radius)
        if b == effective_radius:
            return np.ones_like(r)
        from scipy.special import lambertw

        # g = u (1 - exp(-g)) with u = (a/b)^2: the root that is not zero. Where u is nearly 1
        # Lambert's function meets its branch point, and the series takes over.
        u = (effective_radius / b) ** 2
        g = 2.0 * (u - 1.0) if u < 1.0 + 1e-6 else u + lambertw(-u * np.exp(-u)).real
        return np.exp(-g * (r / effective_radius) ** 2)


@dataclass(frozen=True)
class Way:
    """One driven part: what reaches its diaphragm, and how the diaphragm moves.

    Parameters
    ----------
    name : str
        "driver" or "tweeter", as the assembly calls its ways.
    crossovers : tuple of Crossover
        All in a row: a band-pass way has two.
    level_db : float
        Gain of the way.
    polarity : {1, -1}
        -1 for a way that is connected in reverse.
    curve : DriverCurve or None
        None is constant acceleration: 0 dB and no phase.
    lets_go : LettingGo or None
        None is a diaphragm that moves as one.
    """

    name: str
    crossovers: tuple[Crossover, ...] = ()
    level_db: float = 0.0
    polarity: int = 1
    curve: DriverCurve | None = None
    lets_go: LettingGo | None = None

    def __post_init__(self) -> None:
        """Refuse a polarity that is neither, and a level that is no number."""
        if self.polarity not in (1, -1):
            raise SourceError(f"{self.name}: polarity {self.polarity} must be 1 or -1")
        if not np.isfinite(self.level_db):
            raise SourceError(f"{self.name}: level {self.level_db} dB must be a finite number")

    def transfer(self, frequencies: ArrayLike) -> NDArray[np.complex128]:
        """Complex acceleration of the diaphragm relative to the house's 0 dB.

        Parameters
        ----------
        frequencies : array_like
            Hz.

        Returns
        -------
        ndarray of complex
            The shape of `frequencies`, for exp(-i omega t).
        """
        gain = self.polarity * 10.0 ** (self.level_db / 20.0)
        transfer = np.full(np.shape(frequencies), gain, dtype=complex)
        for crossover in self.crossovers:
            transfer = transfer * crossover.response(frequencies)
        if self.curve is not None:
            transfer = transfer * self.curve.response(frequencies)
        return transfer
