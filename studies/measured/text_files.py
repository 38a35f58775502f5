"""Lines of text files of any size up to a limit, in any common encoding, with any line end."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path

from dispersion.bounded import UnreadableError, bytes_of

LARGEST_FILE = 32 * 2**20
"""Bytes. A curve with a point every 0.1 Hz up to 20 kHz takes 4 million."""
LONGEST_LINE = 10_000

_UNPRINTABLE = re.compile(r"[\x00-\x08\x0e-\x19\x1b-\x1f]")


class MeasurementError(ValueError):
    """A measurement that cannot be used; the message names file, line and remedy."""


def text_lines(path: Path, largest: int = LARGEST_FILE) -> Iterator[tuple[int, str]]:
    """Yield every line of a text file with its number, blanks at its ends removed.

    Parameters
    ----------
    path : Path
        UTF-8 with or without a byte-order mark, UTF-16 with one, or Latin-1; lines end as on any
        system.
    largest : int
        Bytes that it may have.

    Raises
    ------
    MeasurementError
        If it cannot be read, is too large (found before any of it is taken into memory), or is
        no text.
    """
    raw = _bytes_of(path, largest)
    # Decoded piece by piece: a file takes little more memory than its bytes.
    reader = io.TextIOWrapper(io.BytesIO(raw), encoding=_encoding_of(raw), newline=None)
    number = 0
    try:
        for number, line in enumerate(reader, start=1):
            text = line.strip().strip("\ufeff\x1a").strip()
            if _UNPRINTABLE.search(text):
                raise MeasurementError(
                    f"{path}, line {number}: holds characters that no text has, so this is no text"
                    " file: export the measurement as text or CSV"
                )
            if len(text) > LONGEST_LINE:
                raise MeasurementError(
                    f"{path}, line {number}: {len(text)} characters in one line: export the"
                    " measurement with one row for each frequency"
                )
            yield number, text
    except UnicodeError:
        raise MeasurementError(
            f"{path}, line {number + 1}: cannot be read as the UTF-16 text that its first bytes"
            " promise: save it as UTF-8"
        ) from None


def _bytes_of(path: Path, largest: int) -> bytes:
    try:
        return bytes_of(path, largest)
    except UnreadableError as error:
        raise MeasurementError(f"{path}: {error}") from None


def _encoding_of(raw: bytes) -> str:
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError:
        return "latin-1"
    return "utf-8-sig"
