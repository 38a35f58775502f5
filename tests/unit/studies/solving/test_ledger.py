"""The ledger: the same bits, whoever is killed, whatever is damaged, and never a stale solve."""

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from dispersion import keys
from dispersion.air import Air
from dispersion.fields import Fields
from dispersion.keys import solve_keys
from dispersion.problem import Problem
from dispersion.response import Response
from dispersion.solvers import solve_waves
from dispersion.sources import Crossover, LettingGo, Way
from dispersion.walls import ConstantAdmittance, Walls
from dispersion.waves import DEFAULT_SETTINGS
from shapes import Assembly, Column, Driver, DustCap, TopPlate, Tweeter, ball_cap
from studies.questions.ledger.tables import ledger_table
from studies.solving.ledger import Ledger
from studies.solving.ledger_file import LedgerError

ROOT = Path(__file__).resolve().parents[4]
BUILT = Assembly(
    column=Column(width=0.2, height=0.4),
    driver=Driver(
        effective_radius=0.052,
        frame_radius=0.065,
        cone_depth=0.022,
        centre=DustCap(0.017, 0.009),
        proud=0.003,
    ),
    plate_gap=0.06,
    reflector=ball_cap(0.18, 0.03),
    plate=TopPlate(0.1, 0.015, 0.003),
)
PROBLEM = Problem(
    assembly=BUILT,
    ways=(Way(name="driver"),),
    frequencies=np.array([700.0, 300.0, 1500.0]),
    points=np.array([[2.0, 0.3]]),
)
KEY = b"k" * 32


def made_up(seed: int = 0, ways: int = 2) -> Fields:
    """Fields of no solve; the far field in the layout in which the solver leaves it."""
    noise = np.random.default_rng(seed)
    far = (noise.normal(size=(361, ways)) + 1j * noise.normal(size=(361, ways))).T
    arrived = noise.normal(size=(3, ways, ways)) + 0j
    return Fields(far, far[:, :3] * 1j, noise.normal(size=ways), 100 + seed, arrived)


def filled(path: Path, count: int = 40) -> None:
    with Ledger(path) as ledger:
        for i in range(count):
            ledger.keep(bytes([i]) * 32, made_up(i))


def same(one: Response, other: Response) -> bool:
    names = ("far_by_way", "near_by_way", "power_error_db", "unknowns", "arrived_by_way")
    pairs = [(getattr(one, name), getattr(other, name)) for name in names]
    return all(a.tobytes() == b.tobytes() and a.dtype == b.dtype for a, b in pairs)


def test_a_solve_comes_back_bit_for_bit_and_in_its_layout(tmp_path: Path) -> None:
    fields = made_up()
    fields.far[0, :3] = [np.nan, -0.0, 1e-310]
    with Ledger(tmp_path / "x.sqlite") as ledger:
        ledger.keep(KEY, fields)
    with Ledger(tmp_path / "x.sqlite") as ledger:
        found = ledger.fetch(KEY)
        assert ledger.fetch(b"other" * 6) is None
        assert (ledger.found, ledger.kept) == (1, 0)
    for kept, back in zip((*fields[:3], fields.arrived), (*found[:3], found.arrived), strict=True):
        assert (kept.dtype, kept.shape, kept.strides) == (back.dtype, back.shape, back.strides)
        assert kept.tobytes() == back.tobytes()
    assert found.unknowns == fields.unknowns


def test_results_do_not_change_by_a_bit(tmp_path: Path) -> None:
    alone, done = solve_waves(PROBLEM), []
    with Ledger(tmp_path / "x.sqlite") as ledger:
        some = replace(PROBLEM, frequencies=PROBLEM.frequencies[:2])
        solve_waves(some, store=ledger)
        assert (ledger.found, ledger.kept) == (0, 2)
    with Ledger(tmp_path / "x.sqlite") as ledger:
        assert same(solve_waves(PROBLEM, store=ledger, progress=done.append), alone)
        assert (ledger.found, ledger.kept) == (2, 1)
        assert same(solve_waves(PROBLEM, store=ledger, progress=done.append), alone)
        assert (ledger.found, ledger.kept) == (4, 1)  # its own is found, but not news
    assert sum(done) == 2 * 3


def test_two_ways_come_back_bit_for_bit(tmp_path: Path) -> None:
    coaxial = replace(BUILT, tweeter=Tweeter(0.0125, 0.005, 0.01, 0.017))
    problem = Problem(
        assembly=coaxial,
        ways=(Way(name="driver"), Way(name="tweeter")),
        frequencies=np.array([500.0, 900.0]),
    )
    with Ledger(tmp_path / "x.sqlite") as ledger:
        first = solve_waves(problem, store=ledger)
    with Ledger(tmp_path / "x.sqlite") as ledger:
        again = solve_waves(problem, store=ledger)
        assert ledger.found == 2
    assert same(first, again)
    assert same(first, solve_waves(problem))


def nudged(value: float) -> float:
    return float(np.nextafter(value, np.inf))


LETS_GO = replace(PROBLEM, ways=(Way(name="driver", lets_go=LettingGo(2000.0, 0.02)),))
DIFFERENT = {
    "gap": replace(PROBLEM, assembly=BUILT.with_gap(nudged(0.06))),
    "reflector": replace(PROBLEM, assembly=BUILT.with_reflector(ball_cap(0.18, nudged(0.03)))),
    "no reflector": replace(PROBLEM, assembly=BUILT.with_reflector(None)),
    "bare column": replace(PROBLEM, assembly=BUILT.without_upper()),
    "column": replace(
        PROBLEM, assembly=replace(BUILT, column=Column(width=0.2, height=nudged(0.4)))
    ),
    "air": replace(PROBLEM, air=Air(nudged(20.0))),
    "humidity": replace(PROBLEM, air=Air(20.0, nudged(50.0))),
    "a cone that lets go": LETS_GO,
    "another cone": replace(LETS_GO, ways=(Way(name="driver", lets_go=LettingGo(2000.0, 0.021)),)),
    "frequency": replace(PROBLEM, frequencies=np.nextafter(PROBLEM.frequencies, np.inf)),
    "layers": replace(PROBLEM, walls=Walls()),
    "soft cone": replace(PROBLEM, walls=Walls(absorbers=(("cone", ConstantAdmittance(0.01)),))),
    "softer": replace(PROBLEM, walls=Walls(absorbers=(("cone", ConstantAdmittance(0.01j)),))),
    "soft baffle": replace(PROBLEM, walls=Walls(absorbers=(("baffle", ConstantAdmittance(0.01)),))),
    "absorbing air": replace(PROBLEM, absorbing_air=True),
    "elevations": replace(PROBLEM, elevations=np.linspace(-90.0, 90.0, 181)),
    "seat": replace(PROBLEM, points=np.array([[2.0, nudged(0.3)]])),
    "two seats": replace(PROBLEM, points=np.array([[2.0, 0.3], [2.0, 0.3]])),
}


def test_whatever_differs_has_another_name() -> None:
    problems = [PROBLEM, *DIFFERENT.values()]
    names = [name for problem in problems for name in solve_keys(problem, DEFAULT_SETTINGS)]
    names += solve_keys(PROBLEM, DEFAULT_SETTINGS.finer(1.0 + 1e-12))
    names += solve_keys(PROBLEM, replace(DEFAULT_SETTINGS, digits=5.5))
    assert len(set(names)) == len(names)


def test_another_processor_or_linear_algebra_finds_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    here = solve_keys(PROBLEM, DEFAULT_SETTINGS)
    assert keys.arithmetic() == keys.arithmetic.__wrapped__()
    monkeypatch.setattr(keys, "arithmetic", lambda: "another")
    assert not set(solve_keys(PROBLEM, DEFAULT_SETTINGS)) & set(here)


def test_what_is_applied_afterwards_has_the_same_name() -> None:
    louder = Way(
        name="driver",
        crossovers=(Crossover("linkwitz-riley", 4, 2500.0, "low"),),
        level_db=3.0,
        polarity=-1,
    )
    again = replace(PROBLEM, ways=(louder,), assembly=replace(BUILT, plate_gap=np.float64(0.06)))
    assert solve_keys(again, DEFAULT_SETTINGS) == solve_keys(PROBLEM, DEFAULT_SETTINGS)


def test_the_same_name_in_another_process() -> None:
    """Python scrambles its own hashes anew in every process; a name must not depend on them."""
    code = "import test_ledger as t; print(t.solve_keys(t.PROBLEM, t.DEFAULT_SETTINGS)[0].hex())"
    here = solve_keys(PROBLEM, DEFAULT_SETTINGS)[0].hex()
    assert words_of(python(code)) == [here]


def test_what_cannot_be_told_apart_gets_no_name() -> None:
    with pytest.raises(TypeError, match="SimpleNamespace"):
        solve_keys(PROBLEM, SimpleNamespace(digits=5.0))


def test_another_version_of_the_code_finds_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Ledger(tmp_path / "x.sqlite") as ledger:
        solve_waves(PROBLEM, store=ledger)
        monkeypatch.setattr(keys, "solver_version", lambda: "later")
        solve_waves(PROBLEM, store=ledger)
        assert (ledger.found, ledger.kept) == (0, 6)
        assert [(v.version == "later", v.current, v.solves) for v in ledger.volumes()] == [
            (True, True, 3),
            (False, False, 3),
        ]


def test_version_follows_every_source_of_geometry_and_acoustics(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen = set()
    for name in ("shapes/pieces.py", "dispersion/waves/rings.py", "dispersion/keys.py"):
        file = tmp_path / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text("PI = 3\n")
        monkeypatch.setattr(keys, "__file__", str(tmp_path / "dispersion" / "keys.py"))
        for text in ("PI = 3.1\n", "PI = 3.14\n"):
            file.write_text(text)
            seen.add(keys.solver_version.__wrapped__())
    assert len(seen) == 6


# What is damaged.


def cut_short(path: Path) -> None:
    os.truncate(path, path.stat().st_size // 2)


def cut_within_a_page(path: Path) -> None:
    os.truncate(path, path.stat().st_size - 5000)


def cut_to_a_stump(path: Path) -> None:
    os.truncate(path, 50)


def lose_the_header(path: Path) -> None:
    with path.open("r+b") as file:
        file.write(b"\xff" * 100)


def lose_a_page(path: Path) -> None:
    with path.open("r+b") as file:
        file.seek(4096)
        file.write(bytes(range(256)) * 16)


DAMAGES = (cut_short, cut_within_a_page, cut_to_a_stump, lose_the_header, lose_a_page)


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_damaged_file_is_set_aside_and_told_of(
    tmp_path: Path, damage: Callable[[Path], None]
) -> None:
    path, told = tmp_path / "x.sqlite", []
    for time_and_again in (1, 2):
        filled(path)
        damage(path)
        damaged = path.read_bytes()
        with Ledger(path, told.append) as ledger:
            assert ledger.fetch(bytes([3]) * 32) is None
            ledger.keep(KEY, made_up())
            assert ledger.fetch(KEY) is not None
        aside = tmp_path / f"x.sqlite.damaged-{time_and_again}"
        assert aside.read_bytes() == damaged
        assert len(told) == time_and_again
        assert str(path) in told[-1]
        assert aside.name in told[-1]


@pytest.mark.parametrize("damage", [cut_short, lose_the_header])
def test_damage_while_running_is_set_aside_too(
    tmp_path: Path, damage: Callable[[Path], None]
) -> None:
    path, told = tmp_path / "x.sqlite", []
    filled(path)
    with Ledger(path, told.append) as ledger:
        ledger._database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        ledger._database.execute("PRAGMA cache_size = 0")
        damage(path)
        for i in range(40):
            found = ledger.fetch(bytes([i]) * 32)
            assert found is None or found.far.tobytes() == made_up(i).far.tobytes()
        for i in range(40):
            ledger.keep(bytes([i]) * 32, made_up(i))
    with Ledger(path, told.append) as ledger:
        for i in range(40):
            assert ledger.fetch(bytes([i]) * 32)[0].tobytes() == made_up(i)[0].tobytes()
    assert len([words for words in told if "set aside" in words]) == 1


def test_of_two_that_meet_damage_the_second_joins_the_first(tmp_path: Path) -> None:
    path, told = tmp_path / "x.sqlite", []
    filled(path)
    with Ledger(path, told.append) as first, Ledger(path, told.append) as second:
        for ledger in (first, second):
            ledger._database.execute("PRAGMA cache_size = 0")
        first._database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        lose_the_header(path)
        for _ in range(2):
            for i, ledger in enumerate((first, second)):
                ledger.fetch(bytes([200]) * 32)
                ledger.keep(bytes([100 + i]) * 32, made_up(i))
        for ledger in (first, second):
            assert all(ledger.fetch(bytes([100 + i]) * 32) for i in range(2))
    assert len(list(tmp_path.glob("x.sqlite.damaged-?"))) == len(told) == 1


def test_flipped_bytes_are_never_trusted(tmp_path: Path) -> None:
    """Wherever a byte is flipped, what is found is what was kept, or nothing."""
    path, chance = tmp_path / "x.sqlite", random.Random(5)
    filled(path, 10)
    sound = path.read_bytes()
    lost = 0
    for _ in range(60):
        spoilt = bytearray(sound)
        spoilt[chance.randrange(len(spoilt))] ^= 1 << chance.randrange(8)
        path.write_bytes(spoilt)
        with Ledger(path, lambda _: None) as ledger:
            for i in range(10):
                found = ledger.fetch(bytes([i]) * 32)
                lost += found is None
                assert found is None or found.far.tobytes() == made_up(i).far.tobytes()
    assert lost > 0


def test_a_damaged_solve_is_dropped_and_kept_again(tmp_path: Path) -> None:
    path, told = tmp_path / "x.sqlite", []
    filled(path, 3)
    with closing(sqlite3.connect(path)) as database, database:
        database.execute("UPDATE arrays SET unknowns = 7 WHERE id < 3")
    with Ledger(path, told.append) as ledger:
        assert [ledger.fetch(bytes([i]) * 32) is None for i in range(3)] == [True, True, False]
        assert sum(volume.solves for volume in ledger.volumes()) == 1
        ledger.keep(bytes([0]) * 32, made_up(0))
        assert ledger.fetch(bytes([0]) * 32)[3] == made_up(0)[3]
        assert ledger.found == 1
    assert len(told) == 1
    assert "solved again" in told[0]


def test_what_is_no_ledger_is_left_alone(tmp_path: Path) -> None:
    words, other = tmp_path / "design.toml", tmp_path / "other.sqlite"
    words.write_text('title = "a design"\n')
    with closing(sqlite3.connect(other)) as database, database:
        database.execute("CREATE TABLE letters (a)")
    for path in (words, other):
        before = path.read_bytes()
        with pytest.raises(LedgerError, match=rf"{path.name}.*--ledger"):
            Ledger(path)
        assert path.read_bytes() == before
    assert {path.name for path in tmp_path.iterdir()} == {"design.toml", "other.sqlite"}


def spoilt(sound: bytes, chance: random.Random) -> bytes:
    """Flip bits, one or many, anywhere or in the head; or blank or cut off a part."""
    raw, size = bytearray(sound), len(sound)
    how = chance.choice(["one", "twenty", "many", "head", "blank", "cut"])
    if how in ("one", "twenty", "many"):
        for _ in range({"one": 1, "twenty": 20, "many": 2000}[how]):
            raw[chance.randrange(size)] ^= 1 << chance.randrange(8)
    elif how == "head":
        for _ in range(chance.randrange(1, 8)):
            raw[chance.randrange(8192)] = chance.randrange(256)
    elif how == "blank":
        start, length = chance.randrange(size), chance.randrange(1, 9000)
        raw[start : start + length] = bytes(len(raw[start : start + length]))
    else:
        del raw[chance.randrange(size) :]
    return bytes(raw)


@pytest.mark.parametrize("times", [60, pytest.param(1000, marks=pytest.mark.slow)])
def test_whatever_is_damaged_it_is_used_shown_and_pruned(times: int, tmp_path: Path) -> None:
    path, chance = tmp_path / "x.sqlite", random.Random(times)
    filled(path, 10)
    sound, refused = path.read_bytes(), 0
    for number in range(times):
        for file in tmp_path.iterdir():
            file.unlink()
        path.write_bytes(spoilt(sound, chance))
        try:
            with Ledger(path, lambda _: None) as ledger:
                for i in range(10) if number % 2 else ():
                    found = ledger.fetch(bytes([i]) * 32)
                    assert found is None or found.far.tobytes() == made_up(i).far.tobytes()
                    ledger.keep(bytes([100 + i]) * 32, made_up(i))
                if number % 3 == 0:
                    ledger.prune(chance.choice([None, 0, 50_000]))
                ledger_table(ledger.volumes())
        except LedgerError as error:  # of a file that says that it is something else
            assert "database of something else" in str(error)
            refused += 1
    assert refused <= times // 50


@pytest.mark.parametrize(
    "damage",
    [
        "UPDATE solves SET kept = 1e300 WHERE id < 3",
        "UPDATE solves SET used = 'noon' WHERE id < 3",
        "UPDATE solves SET version = x'ff' WHERE id < 3",
        "UPDATE solves SET size = 9e18 WHERE id < 3",
        "UPDATE arrays SET far = 'no array' WHERE id < 3",
        "UPDATE arrays SET unknowns = NULL WHERE id < 3",
    ],
)
def test_columns_of_the_wrong_kind_are_dropped(damage: str, tmp_path: Path) -> None:
    path, told = tmp_path / "x.sqlite", []
    filled(path, 3)
    with closing(sqlite3.connect(path)) as database, database:
        database.execute("PRAGMA writable_schema = ON")
        database.execute("UPDATE sqlite_schema SET sql = replace(sql, 'NOT NULL', '')")
    with closing(sqlite3.connect(path)) as database, database:
        database.execute(damage)
    with Ledger(path, told.append) as ledger:
        assert [ledger.fetch(bytes([i]) * 32) is None for i in range(3)] == [True, True, False]
        assert ledger_table(ledger.volumes()).values("solves") == (1,)
    assert len(told) == 1
    assert "solved again" in told[0]


FULL = """
import sys
from pathlib import Path
from test_ledger import filled
from studies.questions.ledger.tables import _pruned
from studies.solving.ledger import Ledger
folder = Path(sys.argv[1])
filled(folder / "x.sqlite", 18)
with (folder / "rest").open("wb", buffering=0) as file:
    try:
        while True:
            file.write(bytes(512))
    except OSError:
        pass
print(*(_pruned(folder / "x.sqlite", print, most) for most in (None, 200_000, 0)))
"""


def test_pruning_works_on_a_full_disk(tmp_path: Path) -> None:
    """In a file system of a megabyte, which a user may mount in a space of names of one's own."""
    mount = f"mount -t tmpfs -o size=1m tmpfs {tmp_path}"
    words = f"{mount} && exec {sys.executable} -c '{FULL}' {tmp_path}"
    path = {"PYTHONPATH": f"{ROOT}:{Path(__file__).parent}"}
    ran = subprocess.run(
        ["unshare", "-rm", "sh", "-c", words], env=os.environ | path, capture_output=True, text=True
    )
    if "unshare" in ran.stderr or "mount" in ran.stderr:
        pytest.skip("nothing can be mounted here")
    # 16 of 2 ways, 364 directions and points, 16 bytes each, stay below 200 000.
    assert ran.stdout.split() == ["0", "2", "16"], ran.stderr


# What cannot be written.


def test_a_place_that_cannot_be_written_is_told_at_once(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"\0")
    for path in (tmp_path, tmp_path / "file" / "x.sqlite"):
        with pytest.raises(LedgerError, match=rf"{path.name}.*--no-ledger"):
            Ledger(path)


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_or_file_that_is_read_only_is_told_at_once(tmp_path: Path) -> None:
    filled(tmp_path / "x.sqlite", 1)
    (tmp_path / "x.sqlite").chmod(0o444)
    tmp_path.chmod(0o555)
    try:
        for name in ("x.sqlite", "y.sqlite"):
            with pytest.raises(LedgerError, match=rf"{name}.*--no-ledger"):
                Ledger(tmp_path / name)
    finally:
        tmp_path.chmod(0o755)


def test_a_full_disk_is_told_once_and_solving_goes_on(tmp_path: Path) -> None:
    told = []
    with Ledger(tmp_path / "x.sqlite", told.append) as ledger:
        solve_waves(replace(PROBLEM, frequencies=PROBLEM.frequencies[:1]), store=ledger)
        (pages,) = ledger._database.execute("PRAGMA page_count").fetchone()
        ledger._database.execute(f"PRAGMA max_page_count = {pages}")
        assert same(solve_waves(PROBLEM, store=ledger), solve_waves(PROBLEM))
        assert (ledger.found, ledger.kept) == (0, 1)
        # It holds up nobody else, and what was kept is found as before.
        filled(tmp_path / "x.sqlite", 2)
        assert ledger.fetch(bytes([1]) * 32) is not None
        assert ledger.found == 0  # of an earlier run: that one began later
    assert len(told) == 1
    assert "x.sqlite" in told[0]
    assert "full" in told[0]
    assert "--ledger" in told[0]


# Contents and pruning.


def test_pruning_drops_other_versions_then_what_was_least_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, now = tmp_path / "x.sqlite", [1e9]
    monkeypatch.setattr(time, "time", lambda: now[0])
    with monkeypatch.context() as patch:
        patch.setattr(keys, "solver_version", lambda: "old")
        filled(path, 30)
    with Ledger(path) as ledger:
        for i in range(4):
            now[0] += 1.0
            ledger.keep(bytes([100 + i]) * 32, made_up(i))
        now[0] += 1.0
        ledger.fetch(bytes([100]) * 32)
    with Ledger(path) as ledger:
        before, (newest, old) = ledger.size, ledger.volumes()
        assert (newest.solves, newest.first_kept, newest.last_used) == (4, 1e9 + 1, 1e9 + 5)
        assert (old.solves, old.current, old.version) == (30, False, "old")
        assert old.size == 30 / 4 * newest.size
        assert ledger.prune() == 30
        assert ledger.size < before / 3
        assert ledger.prune(newest.size // 2) == 2
        left = [i for i in range(4) if ledger.fetch(bytes([100 + i]) * 32)]
        assert left == [0, 3]  # the first was used last
        assert ledger.prune(0) == 2
        assert ledger.volumes() == ()


def test_contents_as_a_table(tmp_path: Path) -> None:
    filled(tmp_path / "x.sqlite", 5)
    with Ledger(tmp_path / "x.sqlite") as ledger:
        table = ledger_table(ledger.volumes())
        (volume,) = ledger.volumes()
    assert table.values("solves") == (5,)
    assert table.values("standing") == ("in use",)
    assert table.values("size_mb") == (volume.size / 1e6,)
    assert ledger_table(()).rows == ()


# Killed, and shared.

STUDY = """
import sys
from pathlib import Path
import numpy as np
from dispersion.bands import study_frequencies
from dispersion.problem import Problem
from dispersion.solvers import solve_waves
from studies.solving.ledger import Ledger
import test_ledger as t

class Noted(Ledger):
    def keep(self, key, fields):
        with open(sys.argv[2], "a") as log:
            log.write(key.hex() + chr(10))
        super().keep(key, fields)

def study(store):
    frequencies = study_frequencies(630.0, 800.0, 4)
    gaps = [0.05 + 0.002 * i for i in range(8)]
    problems = [Problem(assembly=t.BUILT.with_gap(gap), ways=t.PROBLEM.ways,
                        frequencies=frequencies) for gap in gaps]
    return [solve_waves(problem, store=store, workers=2) for problem in problems]

if __name__ == "__main__":
    with Noted(Path(sys.argv[1])) as ledger:
        far = np.stack([response.far_by_way for response in study(ledger)])
        print(ledger.found, ledger.kept)
    np.save(sys.argv[3], far)
"""


def python(code: str, *arguments: str | Path) -> subprocess.Popen[str]:
    paths = os.pathsep.join((str(ROOT), str(Path(__file__).parent)))
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, arguments)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": paths},
    )


def words_of(process: subprocess.Popen[str]) -> list[str]:
    """What a process printed, once it has ended well; it does not outlive the test."""
    try:
        printed, _ = process.communicate(timeout=60)
    finally:
        process.kill()
    assert process.returncode == 0
    return printed.split()


def study_without_a_ledger() -> np.ndarray:
    names: dict[str, object] = {"__name__": "study"}
    sys.modules.setdefault("test_ledger", sys.modules[__name__])
    exec(STUDY, names)
    return np.stack([response.far_by_way for response in names["study"](None)])


def kept_in(path: Path) -> set[str]:
    """Names in the file, read from a copy so that a killed writer's traces stay as they are."""
    copy = path.parent / "copy"
    shutil.rmtree(copy, ignore_errors=True)
    copy.mkdir()
    for file in path.parent.glob(f"{path.name}*"):
        shutil.copy(file, copy)
    with closing(sqlite3.connect(copy / path.name)) as database:
        tables = database.execute("SELECT name FROM sqlite_schema WHERE name = 'solves'")
        if not tables.fetchall():
            return set()
        return {key.hex() for (key,) in database.execute("SELECT key FROM solves")}


def lines_of(log: Path) -> list[str]:
    return log.read_text().split() if log.exists() else []


def wait_for_lines(log: Path, count: int, process: subprocess.Popen[str]) -> None:
    until = time.monotonic() + 60.0
    while len(lines_of(log)) < count and process.poll() is None and time.monotonic() < until:
        time.sleep(0.001)


@pytest.mark.slow
def test_killed_again_and_again_it_loses_at_most_what_was_in_flight(tmp_path: Path) -> None:
    path, log, out = (tmp_path / name for name in ("x.sqlite", "log", "far.npy"))
    chance, killed = random.Random(11), 0
    for _ in range(5):
        before, done = kept_in(path), lines_of(log)
        process = python(STUDY, path, log, out)
        wait_for_lines(log, len(done) + chance.randint(1, 14), process)
        time.sleep(chance.uniform(0.0, 0.01))
        process.send_signal(signal.SIGKILL)
        killed += process.wait() == -signal.SIGKILL
        process.stdout.close()
        new = lines_of(log)[len(done) :]
        assert not before & set(new), "solved again though it was kept"
        # Two workers: no more than two solves were noted and not yet in the file.
        assert len(set(new) - kept_in(path)) <= 2
    assert killed >= 3
    before = kept_in(path)
    assert before
    found, kept = map(int, words_of(python(STUDY, path, log, out)))
    alone = study_without_a_ledger()
    assert found == len(before)
    assert found + kept == alone.shape[0] * alone.shape[2]
    assert np.load(out).tobytes() == alone.tobytes()


@pytest.mark.slow
def test_two_processes_share_a_ledger(tmp_path: Path) -> None:
    path = tmp_path / "x.sqlite"
    outs = [tmp_path / f"far{i}.npy" for i in range(2)]
    both = [python(STUDY, path, tmp_path / "log", out) for out in outs]
    counts = [list(map(int, words_of(one))) for one in both]
    alone = study_without_a_ledger()
    solves = alone.shape[0] * alone.shape[2]
    # What the other kept meanwhile is found as well, and not counted: no earlier run left it.
    assert all(found + kept <= solves for found, kept in counts)
    assert sum(kept for _, kept in counts) >= solves
    for out in outs:
        assert np.load(out).tobytes() == alone.tobytes()
    with Ledger(path) as ledger:
        assert [volume.solves for volume in ledger.volumes()] == [solves]


BEGIN = """
import sys
import time
from pathlib import Path
from studies.solving.ledger import Ledger
import test_ledger as t

folder, me, other = Path(sys.argv[1]), *sys.argv[2:]
for i in range(60):
    (folder / f"{me}{i}").touch()
    until = time.monotonic() + 20.0
    while not (folder / f"{other}{i}").exists():
        assert time.monotonic() < until
    with Ledger(folder / f"{i}.sqlite") as ledger:
        ledger.keep(me.encode() * 32, t.made_up(i))
        assert ledger.kept == 1
"""


def test_two_processes_begin_a_ledger_at_the_same_moment(tmp_path: Path) -> None:
    both = [python(BEGIN, tmp_path, me, other) for me, other in ("ab", "ba")]
    assert [words_of(one) for one in both] == [[], []]
    for i in range(60):
        with Ledger(tmp_path / f"{i}.sqlite") as ledger:
            for name in (b"a", b"b"):
                assert ledger.fetch(name * 32)[0].tobytes() == made_up(i)[0].tobytes()
