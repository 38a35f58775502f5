"""The folder in which the bench was started: its files by name, and nothing else of the disk."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from dispersion.bounded import UnreadableError, bytes_of
from studies.answer.writing import ExportError, write_files
from studies.design.reading import LARGEST_DESIGN
from studies.measured.text_files import LARGEST_FILE

_NAME = re.compile(r"[A-Za-z0-9_](?:[A-Za-z0-9_ .+()-]{0,98}[A-Za-z0-9_)])?")
DESIGNS, MEASURED = (".toml",), (".csv", ".txt", ".toml")
MOST_LISTED = 500


class FolderError(ValueError):
    """A file that cannot be had, or not under this name; the message says why."""


@dataclass(frozen=True)
class Folder:
    """A folder whose files are read and written by plain names.

    Attributes
    ----------
    path : Path
    """

    path: Path

    def designs(self) -> list[str]:
        """Names of the design files, by name."""
        return self._names(DESIGNS)

    def measured(self) -> list[str]:
        """Names of files that may hold measurements, by name."""
        return self._names(MEASURED)

    def read(self, name: str) -> str:
        """Return the text of a design that is in the list.

        Raises
        ------
        FolderError
            If it is not, or cannot be read.
        """
        if name not in self.designs():
            raise FolderError(f"{name}: there is no such design in {self.path}")
        try:
            return bytes_of(self.path / name, LARGEST_DESIGN).decode("utf-8-sig")
        except UnreadableError as error:
            raise FolderError(f"{name} {error}") from error
        except UnicodeDecodeError as error:
            raise FolderError(f"{name} is not UTF-8 text: save it as UTF-8") from error

    def write(self, name: str, content: bytes, kinds: tuple[str, ...] = DESIGNS) -> None:
        """Write a file, complete or not at all.

        Raises
        ------
        FolderError
            If the name is none that a file here may have, or it cannot be written.
        """
        place = self.path / plain_name(name, kinds)
        if place.is_symlink() or (place.exists() and not place.is_file()):
            raise FolderError(f"{name} is a link or a folder: take another name")
        try:
            write_files(self.path, {name: content})
        except ExportError as error:
            raise FolderError(str(error)) from error

    def take(self, name: str, content: bytes) -> None:
        """Keep a file that was dropped on the page; one of another content is left alone.

        Raises
        ------
        FolderError
            If it is too large, or stands there already with another content.
        """
        if len(content) > LARGEST_FILE:
            most = LARGEST_FILE // 2**20
            raise FolderError(f"{name} is too large: {most} MiB is the most that is read")
        place = self.path / plain_name(name, MEASURED)
        if not place.exists():
            self.write(name, content, MEASURED)
        elif place.is_symlink() or bytes_of(place, LARGEST_FILE) != content:
            raise FolderError(f"{name} is there already with another content: rename yours")

    def _names(self, kinds: tuple[str, ...]) -> list[str]:
        """Plain files, no links: what a link names may lie anywhere."""
        found = (
            file.name
            for file in self.path.iterdir()
            if file.suffix.lower() in kinds and file.is_file() and not file.is_symlink()
        )
        return sorted(name for name in found if _NAME.fullmatch(name))[:MOST_LISTED]


def plain_name(name: str, kinds: tuple[str, ...]) -> str:
    """Return a file's name if it is one without a folder and of these kinds.

    Raises
    ------
    FolderError
        Otherwise.
    """
    if not _NAME.fullmatch(name) or ".." in name:
        raise FolderError(
            f"{name!r} is no name for a file here: letters, digits, blanks, dots, - and _"
        )
    if Path(name).suffix.lower() not in kinds:
        raise FolderError(f"{name}: its name must end in {' or '.join(kinds)}")
    return name
