"""Do two checkouts answer alike? Run every command in both, compare what they print and write.

    python tests/answers/compare.py run CHECKOUT FOLDER     # ask everything of one checkout
    python tests/answers/compare.py same FOLDER FOLDER      # exit status 1 if a byte differs
    ... --only trim                                         # only questions with this word

Quick commands are asked of the examples as they are, slow ones of the same designs in a narrow
band with few candidates. Run both on one machine with one set of libraries: the wave solver's
last bits depend on the processor.
"""

from __future__ import annotations

import argparse
import filecmp
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

EXAMPLES = ("reading_room", "reading_room_coaxial", "reading_room_cone")
NARROWER = (
    ('band = ["100 Hz", "16 kHz"]', 'band = ["800 Hz", "1.25 kHz"]'),
    ("keep = { from = 15, to = 55, step = 1 }", "keep = [20, 30, 40, 62]"),
    ("from = 50\nto = 90\nstep = 2", "from = 54\nto = 66\nstep = 4"),
    ("from = 56\nto = 96\nstep = 2", "from = 56\nto = 68\nstep = 4"),
    ("from = 60\nto = 100\nstep = 2", "from = 60\nto = 72\nstep = 4"),
)
QUICK = (
    "section",
    "cut",
    "rays --rays 65536",
    "rays --shift 3mm --tilt 1 --rays 65536",
    "posts --estimate",
    "spread --per-band 4",
    "spread --method images",
    "trim --method images",
    "trim --method images --json",
    "gap --method images",
    "contest --method images",
    "slice --at 500Hz",
)
SLOW = (
    "spread",
    "trim",
    "gap",
    "contest",
    "explore",
    "tolerance --samples 8",
    "carve --solves 120",
    "seat",
    "meter",
    "meter --instrument microphone --question gap --wall 2m",
    "overlay measured/index.toml",
    "overlay measured/index.toml --fit",
    "export",
    "trust",
)
ALONE = (
    "draft --driver 130mm --ball 180mm --gap 60mm --to drafted.toml",
    "examples ./copied",
    "schema",
    "schema results",
    "schema directivity",
    "--help",
)
MISTAKES = (
    "trim missing.toml",
    "trim quick/reading_room.toml --tell 3",
    "rays quick/reading_room.toml --shift 3",
    "gap quick/reading_room.toml --method images --per-band 2",
    "trim broken.toml",
)


def questions() -> Iterator[str]:
    """Yield every command line, without the program's name."""
    yield from ALONE
    yield from MISTAKES
    for kind, commands in (("quick", QUICK), ("narrow", SLOW)):
        for example in EXAMPLES:
            for number, words in enumerate(commands):
                command, *options = words.split()
                options = [f"{kind}/{word}" if "index.toml" in word else word for word in options]
                out = f"answers/{kind}-{example}-{number:02d}-{command}"
                yield " ".join((command, f"{kind}/{example}.toml", *options, "--out", out))


def prepare(checkout: Path, folder: Path) -> None:
    """Copy the examples as they are, and once more in a narrow band."""
    for kind, changes in (("quick", ()), ("narrow", NARROWER)):
        there = folder / kind
        shutil.copytree(checkout / "studies" / "examples", there)
        for design in there.glob("*.toml"):
            text = design.read_text(encoding="utf-8")
            for old, new in changes:
                text = text.replace(old, new)
            design.write_text(text, encoding="utf-8")
    (folder / "broken.toml").write_text('unit = "ell"\nplate_gap = -3\n', encoding="utf-8")


def run(checkout: Path, folder: Path, only: str) -> None:
    """Ask every question; what is printed goes beside what is written."""
    prepare(checkout, folder)
    there = {
        **os.environ,
        "PYTHONPATH": str(checkout.resolve()),
        "ROUNDCAST_LEDGER": "solves.sqlite",
        "COLUMNS": "120",
    }
    for number, words in enumerate(questions()):
        if only not in words:
            continue
        command = [sys.executable, "-m", "studies.cli", *words.split()]
        done = subprocess.run(command, cwd=folder, env=there, capture_output=True, check=False)
        told = f"$ {words}\n{done.returncode}\n".encode() + done.stdout
        if done.returncode:
            told += done.stderr
        (folder / f"printed-{number:03d}.txt").write_bytes(told)
        print(done.returncode, words, flush=True)


def files_of(folder: Path) -> set[Path]:
    """Return what a run left, without the ledger."""
    every = (path.relative_to(folder) for path in folder.rglob("*") if path.is_file())
    return {path for path in every if not path.name.startswith("solves.sqlite")}


def differing(one: Path, other: Path, only: str) -> list[str]:
    """Name every file that only one folder has, or that is not the same in both."""
    here, there = files_of(one), files_of(other)
    if only:
        here = {path for path in here if path in there or only in str(path)}
    told = [f"only in {one}: {path}" for path in sorted(here - there)]
    told += [f"only in {other}: {path}" for path in sorted(there - here)]
    both = sorted(here & there)
    return told + [
        f"differs: {path}"
        for path in both
        if not filecmp.cmp(one / path, other / path, shallow=False)
    ]


def main() -> int:
    """Read the command line; return the exit status."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("what", choices=("run", "same"))
    parser.add_argument("folders", nargs=2, type=Path)
    parser.add_argument("--only", default="")
    given = parser.parse_args()
    if given.what == "run":
        given.folders[1].mkdir(parents=True)
        run(*given.folders, given.only)
        return 0
    told = differing(*given.folders, given.only)
    print(*told, f"{len(told)} files differ", sep="\n")
    return int(bool(told))


if __name__ == "__main__":
    sys.exit(main())
