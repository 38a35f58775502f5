"""Any bytes as a file: the program answers or refuses in words, and never shows a traceback."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
import trimesh
from click.testing import CliRunner, Result
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from dispersion.paths import freeform
from dispersion.paths.freeform import FreeFormError, free_form_rows, read_free_form
from studies import cli
from studies.answer.question import Question
from studies.questions.section import question as section
from studies.questions.section.tables import section_tables

EXAMPLE = (Path(__file__).parents[2] / "studies" / "examples" / "reading_room.toml").read_bytes()
KEPT = [HealthCheck.function_scoped_fixture]
FEW = settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=KEPT)
MANY = settings(max_examples=300, deadline=None, derandomize=True, suppress_health_check=KEPT)
TOMLISH = st.text(alphabet="abkeigpt_=[]{}.,'\"#\n 0123456789mxe-\\u\x00\x1b\u202e", max_size=80)


@pytest.fixture(autouse=True)
def only_words(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Leave the pictures out: they take seconds, and see only what was read."""
    words = Question(name="section", find=lambda design, _: design, tell=section_tables)
    monkeypatch.setattr(section, "QUESTION", words)
    monkeypatch.chdir(tmp_path)


def mutated(valid: bytes, least: int = 0) -> st.SearchStrategy[bytes]:
    """Replace some stretches of a valid file, each by other bytes, fewer or more."""
    at = st.integers(least, len(valid))
    stretches = st.lists(st.tuples(at, st.integers(0, 12), st.binary(max_size=12)), max_size=4)
    return stretches.map(lambda changes: _changed(valid, changes))


def _changed(valid: bytes, changes: list[tuple[int, int, bytes]]) -> bytes:
    for start, length, new in sorted(changes, reverse=True):
        valid = valid[:start] + new + valid[start + length :]
    return valid


def asked(content: bytes, *before: str) -> Result:
    Path("drawn.toml").write_bytes(content)
    return CliRunner().invoke(cli.main, [*before, "section", "drawn.toml", "--out", "out"])


def is_answered_or_refused(content: bytes) -> bool:
    """Whether a design is answered, or refused in one message with nothing left half written."""
    result = asked(content)
    if result.exit_code == 0:
        return "Traceback" not in result.output
    in_words = result.stderr.startswith("Error: drawn.toml: ")
    printable = result.stderr.replace("\n", "").isprintable()
    left = list(Path("out").glob(".*")) if Path("out").exists() else []
    return result.exit_code == 2 and in_words and printable and not left


@FEW
@given(st.one_of(st.binary(max_size=100), TOMLISH.map(str.encode), mutated(EXAMPLE)))
@example(b"a = " + b"[" * 20_000)
@example(b"[" + b"a." * 5_000 + b"a]")
@example(b"plate_gap = " + b"9" * 5_000)
@example(EXAMPLE.replace(b"plate_gap = 60", b"plate_gap = 0x" + b"f" * 5_000))
@example(EXAMPLE.replace(b"temperature = 20", b"temperature = " + b"9" * 400))
@example(EXAMPLE.replace(b"reading_room_cone", rb"a\u0000b"))
@example(EXAMPLE.replace(b"plate_gap = 60", b'plate_gap = "1' + b" " * 90_000 + b'x"'))
def test_any_bytes_as_a_design(content: bytes) -> None:
    assert is_answered_or_refused(content)


@pytest.mark.slow
@MANY
@given(st.one_of(st.binary(max_size=300), TOMLISH.map(str.encode), mutated(EXAMPLE)))
def test_many_bytes_as_a_design(content: bytes) -> None:
    assert is_answered_or_refused(content)


def test_a_fault_is_a_message_and_a_traceback_with_debug(monkeypatch: pytest.MonkeyPatch) -> None:
    def fault(*_: object) -> None:
        raise ZeroDivisionError("planted")

    faulty = Question(name="section", find=fault, tell=fault)
    monkeypatch.setattr(section, "QUESTION", faulty)
    content = EXAMPLE.replace(b'design = "reading_room_cone.toml"', b'reflector = {kind = "none"}')
    plain, debugged = asked(content), asked(content, "--debug")
    assert plain.exit_code == 1 and "fault in roundcast" in plain.stderr
    assert isinstance(plain.exception, SystemExit)
    assert isinstance(debugged.exception, ZeroDivisionError)


def stl(text: bool) -> bytes:
    cone = trimesh.creation.cone(radius=40.0, height=-30.0, sections=12)
    if cone.volume < 0.0:
        cone.invert()
    made = cone.export(file_type="stl_ascii" if text else "stl")
    return made.encode() if isinstance(made, str) else made


BINARY, TEXT = stl(text=False), stl(text=True)


def is_a_form_or_refused(tmp_path: Path, content: bytes) -> bool:
    """Whether an STL gives finite surfaces, or is refused with its name or its place."""
    path = tmp_path / "drawn.stl"
    path.write_bytes(content)
    try:
        form = read_free_form(path)
        rows = free_form_rows(form, 1.0, 1)
    except FreeFormError as refused:
        return "drawn.stl" in str(refused) or "plate gap" in str(refused)
    return all(np.isfinite(row.data).all() and np.isfinite(row.bounds).all() for row in rows)


ANY_STL = st.one_of(
    st.binary(max_size=200),
    mutated(BINARY),
    mutated(BINARY, least=84),
    mutated(TEXT),
    st.sampled_from((BINARY, TEXT)).flatmap(lambda b: st.integers(0, len(b)).map(lambda n: b[:n])),
    st.integers(0, 2**32 - 1).map(lambda n: BINARY[:80] + struct.pack("<I", n) + BINARY[84:]),
)


@pytest.mark.filterwarnings("ignore:.*:RuntimeWarning")
@FEW
@given(ANY_STL)
@example(BINARY[:96] + struct.pack("<3f", np.nan, np.inf, 3e38) + BINARY[108:])
def test_any_bytes_as_an_stl(tmp_path: Path, content: bytes) -> None:
    assert is_a_form_or_refused(tmp_path, content)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore:.*:RuntimeWarning")
@MANY
@given(ANY_STL)
def test_many_bytes_as_an_stl(tmp_path: Path, content: bytes) -> None:
    assert is_a_form_or_refused(tmp_path, content)


@pytest.mark.parametrize("content", [BINARY, TEXT])
def test_a_whole_stl_is_read_and_a_half_is_not(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "cone.stl"
    path.write_bytes(content)
    assert read_free_form(path).height == pytest.approx(0.030, abs=1e-6)
    path.write_bytes(content[: len(content) // 2])
    with pytest.raises(FreeFormError, match=r"cone\.stl"):
        read_free_form(path)


def refuse_to_parse(*_: object, **__: object) -> None:
    raise AssertionError("parsed")


def promised(count: int) -> bytes:
    return bytes(80) + struct.pack("<I", count)


@pytest.mark.parametrize(
    "content",
    [
        promised(2**32 - 1) + bytes(50),
        promised(freeform.MOST_TRIANGLES + 1) + bytes(50 * (freeform.MOST_TRIANGLES + 1)),
        b"solid\n" + b"endfacet\n" * (freeform.MOST_TRIANGLES + 1),
        bytes(freeform.MOST_BYTES + 1),
    ],
    ids=["promise", "binary", "text", "bytes"],
)
def test_too_much_is_refused_before_it_is_parsed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, content: bytes
) -> None:
    monkeypatch.setattr(trimesh, "load_mesh", refuse_to_parse)
    path = tmp_path / "large.stl"
    path.write_bytes(content)
    with pytest.raises(FreeFormError, match=r"large\.stl: (is no STL|has 100001|is too large)"):
        read_free_form(path)
