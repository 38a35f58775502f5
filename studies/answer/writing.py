"""Files appear complete or not at all; a set of files all together.

All of a set is written beside its folder first, and moved in when nothing can go wrong any more but
the power. The JSON document, which lists every file with its SHA-256, is moved last: should the
process be killed among the moves, it tells which files belong to it, and the next run replaces all.
"""

from __future__ import annotations

import contextlib
import os
import signal
import tempfile
import threading
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import FrameType

from studies.solving.leftovers import named_after_us, remove_what_the_dead_left

UNFINISHED = ".unfinished-"
"""Begins the name of what is being written, before machine and process."""
HELD = ("SIGINT", "SIGTERM", "SIGHUP")


class ExportError(ValueError):
    """A folder or file that cannot be written; the message names it."""


def write_files(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write files into a folder, which is made if need be: all of them or none.

    Raises
    ------
    ExportError
        If the folder cannot be written; it is then as it was.
    """
    with all_or_nothing(folder) as stage:
        for name, content in files.items():
            (stage / name).write_bytes(content)


def write_text(path: Path, text: str) -> Path:
    """Write a file, complete or not at all.

    Raises
    ------
    ExportError
        If it cannot be written.
    """
    unfinished = path.with_name(f"{named_after_us(UNFINISHED)}{path.name}")
    try:
        remove_what_the_dead_left(path.parent, UNFINISHED)
        unfinished.write_text(text, encoding="utf-8", newline="")
        unfinished.replace(path)
    except OSError as error:
        raise _refused(path, error) from error
    finally:
        with contextlib.suppress(OSError):
            unfinished.unlink(missing_ok=True)
    return path


def require_folder(folder: Path) -> None:
    """Make sure, before any work, that a folder can be made or written into.

    Raises
    ------
    ExportError
        If it cannot.
    """
    existing = folder.absolute()
    while not existing.exists() and existing != existing.parent:
        existing = existing.parent
    if not existing.is_dir():
        raise ExportError(f"{folder}: {existing} is a file, not a folder: name another with --out")
    if not os.access(existing, os.W_OK | os.X_OK):
        raise ExportError(f"{folder}: no permission to write there: name another with --out")


def make_folder(folder: Path) -> None:
    """Make a folder, unless it is there.

    Raises
    ------
    ExportError
        If it cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _refused(folder, error) from error


@contextlib.contextmanager
def all_or_nothing(folder: Path) -> Iterator[Path]:
    """Collect files beside a folder, and move them into it once all of them are there.

    What an earlier run left unfinished, since it was killed, is removed first.

    Yields
    ------
    Path
        An empty folder to write into. If anything goes wrong it is removed with all it holds.

    Raises
    ------
    ExportError
        If the folder cannot be written.
    """
    try:
        new = _missing(folder)
        folder.mkdir(parents=True, exist_ok=True)
        remove_what_the_dead_left(folder, UNFINISHED)
        stage = tempfile.TemporaryDirectory(prefix=named_after_us(UNFINISHED), dir=folder)
    except OSError as error:
        raise _refused(folder, error) from error
    try:
        with stage as name:
            yield Path(name)
            _move(Path(name), folder)
    except BaseException as error:
        for made in new:
            with contextlib.suppress(OSError):
                made.rmdir()
        if isinstance(error, OSError):
            raise _refused(folder, error) from error
        raise


def _move(stage: Path, folder: Path) -> None:
    """Move files into a folder, the JSON document last; a signal waits until all are there."""
    files = sorted(stage.iterdir(), key=lambda file: (file.suffix == ".json", file.name))
    for file in files:
        if (folder / file.name).is_dir():
            raise ExportError(
                f"{folder / file.name} is a folder where a file must go: move it away, or name"
                " another place with --out"
            )
    with _signals_held():
        for file in files:
            file.replace(folder / file.name)


@contextlib.contextmanager
def _signals_held() -> Iterator[None]:
    """Let signals that end the command wait; in the main thread, which alone they reach."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []

    def note(number: int, frame: FrameType | None) -> None:
        came.append(number)

    numbers = [getattr(signal, name) for name in HELD if hasattr(signal, name)]
    before = {n: signal.signal(n, note) for n in numbers if signal.getsignal(n) is not None}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        if came:
            signal.raise_signal(came[0])


def _missing(folder: Path) -> list[Path]:
    """Folders that will have to be made, innermost first."""
    return [part for part in (folder, *folder.parents) if not part.exists()]


def _refused(path: Path, error: OSError) -> ExportError:
    reason = error.strerror or str(error)
    return ExportError(f"{path} cannot be written ({reason}): name another place")
