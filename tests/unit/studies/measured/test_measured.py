"""Measurements as people write them: read, or refused with file, line and remedy."""

import math
import subprocess
import sys
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from dispersion.bands import band_edges, band_means, study_frequencies, third_octave_centres
from studies.design import Design, parse_design
from studies.measured.curves import read_curve
from studies.measured.dialect import MOST_ROWS
from studies.measured.index import gate_limit_hz, read_index
from studies.measured.positions import Measurement, Position
from studies.measured.reading import in_bands, read_measurements
from studies.measured.sheet import header, read_sheet
from studies.measured.text_files import LARGEST_FILE, MeasurementError

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"
MIB = 2**20


@pytest.fixture(scope="module")
def design() -> Design:
    path = EXAMPLES / "reading_room.toml"
    return parse_design(path.read_text(encoding="utf-8"), path)


def file(folder: Path, content: str | bytes, name: str = "p1.txt") -> Path:
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return path


def read(folder: Path, content: str | bytes) -> tuple[list[float], list[float]]:
    frequencies, levels, _ = read_curve(file(folder, content))
    return list(frequencies), list(levels)


THREE = ([1000.5, 2000.0, 4000.0], [85.25, -3.0, 0.5])


@pytest.mark.parametrize(
    "text",
    [
        "1000.5 85.25\n2000 -3\n4000 .5\n",
        "1000,5 85,25\n2000 -3\n4000 ,5\n",
        "1000.5\t85.25\n2000\t-3\n4000\t0.5",
        "1000,5\t85,25\n2000\t-3\n4000\t0,5",
        "1000.5;85.25\n2000;-3\n4000;0.5\n",
        "1000,5; 85,25\n2000; -3\n4000; 0,5\n",
        "1000.5,85.25\n2000,-3\n4000,0.5\n",
        "1000.5, 85.25\n2000, -3\n4000, 0.5\n",
        "1000,5, 85,25\n2000, -3\n4000, 0,5\n",
        '"1000,5","85,25"\n"2000","-3"\n"4000","0,5"\n',
        '"1000.5";"85.25"\n"2000";"-3"\n"4000";"0.5"\n',
        "1.0005e3 8.525E+1\n2e3 -3\n4e3 5e-1\n",
        "  1000.5   85.25  \n\n\n 2000 \u22123\r\n4000 0.5\r\n",
        "1000.5 85.25\r2000 -3\r4000 0.5\r",
        '* a\n# b\n; c 3\n/ 4\n% 5\n! 6\n\' 7\n"eighth 8"\n1000.5 85.25\n2000 -3\n4000 0.5',
        "Frequency [Hz]\tLevel [dB]\n1000.5\t85.25\n2000\t-3\n4000\t0.5\n",
        "Hertz,decibel,degree\n1000.5,85.25,1\n2000,-3,-170\n4000,0.5,12\n",
        "Measured at 1 m on 12 May, 20 Hz to 20 kHz\n1/24 octave\n1000.5 85.25\n2000 -3\n4000 0.5",
        "1000.5 85.25\n2000 -3\nend of the first part\n4000 0.5\n",
        "4000 0.5\n1000.5 85.25\n2000 -3\n",
        "0 12\n1000.5 85.25\n2000 -3\n4000 0.5\n",
        "1000.5;85.25;\n2000;-3;;\n4000;0.5\n",
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_every_way_of_writing_says_the_same(tmp_path: Path, text: str, encoding: str) -> None:
    frequencies, levels = read(tmp_path, text.encode(encoding))
    assert frequencies == THREE[0]
    assert levels == THREE[1]


def test_latin_1_is_read(tmp_path: Path) -> None:
    assert read(tmp_path, "* 20 \u00b0C\n100 1.5\n200 2\n".encode("latin-1"))[0] == [100.0, 200.0]


@pytest.mark.parametrize(
    ("text", "line", "remedy"),
    [
        ("100 80\n200 abc\n", 2, "'abc' stands where a level in dB is due"),
        ("100 80\nabc 80\n", 2, "'abc' stands where a frequency in Hz is due"),
        ("100 abc\n200 80\n", 1, "'abc' stands where a level in dB is due"),
        ("1OO 80\n200 80\n", 1, "'1OO' stands where a frequency in Hz is due"),
        ("100 80\n200 80 x\n", 2, "'x' stands where a phase in degrees is due"),
        ("100 80\n-200 80\n", 2, "negative"),
        ("100 80\n200 nan\n", 2, "nan is no level in dB"),
        ("100 80\nNaN 80\n", 2, "NaN is no frequency in Hz"),
        ("100 80\n200 -inf\n", 2, "-inf is no level in dB"),
        ("100 80\n200 1e999\n", 2, "too large"),
        ("100 80\n200 1000\n", 2, "beyond any plausible level"),
        ("100 80\n200 -301\n", 2, "beyond any plausible level"),
        ("100 80\n2e7 80\n", 2, "must be Hz"),
        ("100 80\n200\n", 2, "stands alone"),
        ("100;80\n200;\n", 2, "nothing stands where a level in dB is due"),
        ("100 80 1 2\n", 1, "4 columns"),
        ("100;80\n200 80\n", 2, "semicolons, as in line 1"),
        ("100,80\n200,5,80\n", 2, "save it with semicolons"),
        ("31,5,85,2\n40,0,85,1\n", 1, "save it with semicolons"),
        ("20,85,2\n25,84,1\n", 1, "save it with semicolons"),
        ("100.5 80\n200,5 81\n", 2, "decimal comma, and line 1 a decimal point"),
        ("500.0;80\n1,000.5;81\n", 2, "without thousands separators"),
        ("500 80\n1,000 81\n", 2, "thousand"),
        ("500;80\n1.000;81\n12.500;82\n", 2, "thousand"),
    ],
)
def test_refusals_name_file_line_and_remedy(
    tmp_path: Path, text: str, line: int, remedy: str
) -> None:
    with pytest.raises(MeasurementError) as refused:
        read(tmp_path, text)
    assert str(refused.value).startswith(f"{tmp_path / 'p1.txt'}, line {line}: ")
    assert remedy in str(refused.value)


@pytest.mark.parametrize(
    ("content", "remedy"),
    [
        (b"", "no row of numbers"),
        (b"* nothing but remarks\nFrequency Level\n", "no row of numbers"),
        (b"0.1 80\n20 81\n", "kHz"),
        (bytes(range(256)), "no text file"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "no text file"),
        ("100 80\n".encode("utf-16-le"), "no text file"),
        (b"\xff\xfe1\x000", "UTF-16"),
        (b"100 80 " + b"x" * 20_000, "in one line"),
    ],
)
def test_what_is_no_measurement_is_refused(tmp_path: Path, content: bytes, remedy: str) -> None:
    with pytest.raises(MeasurementError, match=remedy):
        read(tmp_path, content)


def test_missing_files_and_folders_are_refused(tmp_path: Path) -> None:
    for path, message in (
        (tmp_path / "none.txt", "cannot be read"),
        (tmp_path, "a folder"),
        (Path("a\0b"), "cannot be read"),
        (Path("/dev/null"), "or a device"),
    ):
        with pytest.raises(MeasurementError, match=message):
            read_curve(path)


def test_repeated_frequencies_are_the_mean_of_their_power(tmp_path: Path) -> None:
    path = file(tmp_path, "200 1\n100 80\n100 90\n400 3\n200 1\n")
    frequencies, levels, notes = read_curve(path)
    assert list(frequencies) == [100.0, 200.0, 400.0]
    assert levels == pytest.approx([10.0 * math.log10((1e8 + 1e9) / 2.0), 1.0, 3.0])
    assert any("more than once: 2" in note for note in notes)


def test_what_is_ignored_is_noted(tmp_path: Path) -> None:
    *_, notes = read_curve(file(tmp_path, "0 1 2\n100 80 -20\nsome words\n200 81 -40\n"))
    remarks = " | ".join(notes)
    assert "phase and ignored" in remarks
    assert "words within the table passed over: 1, the first is line 3" in remarks
    assert "0 Hz passed over: 1" in remarks
    assert read_curve(file(tmp_path, "100 80\n200 81\n"))[2] == ()


def test_a_file_too_large_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "huge.txt"
    with path.open("wb") as sparse:
        sparse.truncate(50 * 2**30)
    tracemalloc.start()
    with pytest.raises(MeasurementError, match="51200.0 MiB, and 32 MiB is the most"):
        read_curve(path)
    assert tracemalloc.get_traced_memory()[1] < MIB
    tracemalloc.stop()


@pytest.mark.slow
def test_ten_million_lines_are_refused_before_memory_is_taken(tmp_path: Path) -> None:
    path = tmp_path / "long.txt"
    block = b"".join(b"%d 1\n" % (100 + i % 900) for i in range(100_000))
    with path.open("wb") as out:
        for _ in range(100):
            out.write(block)
    tracemalloc.start()
    with pytest.raises(MeasurementError, match="MiB is the most"):
        read_curve(path)
    assert tracemalloc.get_traced_memory()[1] < MIB
    tracemalloc.stop()


READ_AND_TELL = """
import re
import sys
from pathlib import Path

from studies.measured.curves import read_curve

def peak():
    return int(re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1])

before = peak()
frequencies, *_ = read_curve(Path(sys.argv[1]))
print(len(frequencies), peak() - before)
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="asks Linux for its peak memory")
def test_the_largest_file_stays_within_its_memory(tmp_path: Path) -> None:
    """256 MiB, as `read_curve` says, with one character of the widest kind among them."""
    rows = "".join(f"{100 + i % 90_000 / 8:.6f}\t{i % 97 / 7:.3f}\n" for i in range(MOST_ROWS))
    text = ("# \U0001f600\n" + rows)[: LARGEST_FILE - 8]
    path = file(tmp_path, text[: text.rindex("\n") + 1])
    # In a process of its own, whose peak tells: counting every allocation takes ten times as long.
    reading = [sys.executable, "-c", READ_AND_TELL, str(path)]
    printed = subprocess.run(reading, check=True, capture_output=True, text=True).stdout
    frequencies, kilobytes = map(int, printed.split())
    assert frequencies == 90_000
    assert 64 * 1024 < kilobytes < 256 * 1024


def test_too_many_rows_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("studies.measured.dialect.MOST_ROWS", 10)
    assert len(read(tmp_path, "99 1\n" * 10)[0]) == 1
    with pytest.raises(MeasurementError, match="line 11: more than 10 rows"):
        read(tmp_path, "99 1\n" * 11)


# Properties ------------------------------------------------------------------------------------

FREQUENCIES = st.floats(60.0, 9e5).map(lambda f: float(f"{f:.9g}"))
LEVELS = st.floats(-299.0, 199.0)
CURVES = st.dictionaries(FREQUENCIES, LEVELS, min_size=1, max_size=30).flatmap(
    lambda curve: st.permutations(list(curve.items()))
)


@st.composite
def written(draw: st.DrawFn) -> tuple[list[tuple[float, float]], bytes]:
    """Any curve in any of the ways of writing."""
    rows = draw(CURVES)
    phase = draw(st.booleans())
    separator, decimal, quoted = draw(
        st.sampled_from(
            [
                (s, d, q)
                for s in (";", " ; ", "\t", " ", "   ", ", ", ",")
                for d in ".,"
                for q in (False, True)
                if q or not (s == "," and d == ",")
            ]
        )
    )
    lines = []
    for frequency, level in rows:
        cells = [repr(frequency), repr(level), *(["-12.5"] if phase else [])]
        cells = [cell.replace(".", decimal) for cell in cells]
        # Blanks part nothing within quotation marks, so nobody writes both around a comma.
        cells = [f'"{cell}"' for cell in cells] if quoted else cells
        lines.append(separator.join(cells))
        lines += draw(st.lists(st.sampled_from(["", "# 1 2 3", "; 4;5", "* x", "words"]),
                               max_size=2))  # fmt: skip
    heading = draw(st.lists(st.sampled_from(["Frequency, Level", "* made 12.5.", ""]), max_size=2))
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"]))
    return rows, (end.join([*heading, *lines]) + end).encode(encoding)


@given(written())
@settings(
    max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_any_numbers_in_any_dialect_come_back(
    tmp_path: Path, curve: tuple[list[tuple[float, float]], bytes]
) -> None:
    rows, content = curve
    frequencies, levels = read(tmp_path, content)
    assert list(zip(frequencies, levels, strict=True)) == sorted(rows)


NUMBERLIKE = st.text(alphabet="0123456789.,;- \t\n\"#eEnaif+\u2212'xHz\r", max_size=60)


@given(st.one_of(st.binary(max_size=200), NUMBERLIKE.map(lambda text: text.encode("utf-8"))))
@example(b"")
@example(b"\xef\xbb\xbf")
@example(b"\xff\xfe")
@example(b'"')
@example(b'100 80\n"')
@example(b"100,80\n,,\n")
@settings(
    max_examples=800, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_any_bytes_give_a_curve_or_a_refusal(tmp_path: Path, content: bytes) -> None:
    path = file(tmp_path, content)
    try:
        frequencies, levels, _ = read_curve(path)
    except MeasurementError as refused:
        assert str(refused).startswith(str(path))
        return
    assert np.all(np.diff(frequencies) > 0.0) and frequencies[0] > 0.0
    assert np.all(np.isfinite(levels)) and len(levels) == len(frequencies)


@given(
    st.one_of(
        st.binary(max_size=120),
        st.text(alphabet="0123456789.,;-\t\n\"#a'=[]m", max_size=120).map(str.encode),
    ),
    st.sampled_from([b"", ",".join(header("mm")).encode() + b"\n", b"[[measurement]]\n"]),
    st.sampled_from(["p.csv", "p.toml"]),
)
@settings(
    max_examples=400, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_any_bytes_give_measurements_or_a_refusal(
    tmp_path: Path, design: Design, content: bytes, head: bytes, name: str
) -> None:
    path = file(tmp_path, head + content, name)
    try:
        assert read_measurements([path], design)
    except MeasurementError as refused:
        assert str(refused).startswith(str(path))


# Indexes and sheets ----------------------------------------------------------------------------

INDEX = """
[[measurement]]
file = "p1.txt"
name = "armchair"
distance = "2 m"
height = "1.15 m"
azimuth = -60
first_bounce = "4 ms"

[[measurement]]
file = "p2.txt"
name = "standing"
distance = "98 in"
height = "1600 mm"
kind = "bands"
"""


def index(folder: Path, text: str = INDEX) -> Path:
    file(folder, "100 80\n200 81\n400 82\n800 83\n")
    file(folder, "1000 80\n12500 81\n", "p2.txt")
    return file(folder, text, "index.toml")


def test_an_index_says_where_and_what(tmp_path: Path, design: Design) -> None:
    first, second = read_measurements([index(tmp_path)], design)
    assert first.position == Position("armchair", 2.0, 1.15, 300.0)
    assert second.position == Position("standing", pytest.approx(2.4892), 1.6, None)
    assert first.position.z_over(design.tables.column.height) == pytest.approx(0.25)
    # Two periods within 4 ms.
    assert (first.gate_limit_hz, second.gate_limit_hz) == (pytest.approx(500.0), 0.0)
    assert gate_limit_hz(0.004) == pytest.approx(500.0)
    assert (first.kind, second.kind) == ("curve", "bands")
    # IEC 61260-1: exact centres 10^(n/10) kHz.
    assert second.frequencies == pytest.approx([1000.0, 1e3 * 10**1.1])
    assert list(second.level_db) == [80.0, 81.0]


def test_a_curve_that_its_index_lists_may_be_named_too(tmp_path: Path, design: Design) -> None:
    listing = index(tmp_path)
    found = read_measurements([tmp_path / "p1.txt", listing], design)
    assert [one.position.name for one in found] == ["armchair", "standing"]


@pytest.mark.parametrize(
    ("old", "new", "remedy"),
    [
        ('"standing"', '"armchair"', "name of its own"),
        ('"2 m"\nheight = "1.15 m"', '"0.1 m"\nheight = "0.9 m"', "is in the speaker"),
        ('"2 m"', "2", "has no unit"),
        ('"2 m"', '"-2 m"', "negative"),
        ('"2 m"', '"200 m"', "absurd"),
        ('"2 m"', "9" * 400, "finite|too large|absurd"),
        ("-60", "nan", "azimuth"),
        ('"4 ms"', "4", 'no unit: write a time like "4 ms"'),
        ('"4 ms"', '"4 s"', "no time of a first bounce"),
        ('"p1.txt"', '"p3.txt"', "p3.txt: cannot be read"),
        ('"p1.txt"', '"\\u0000"', "cannot be read"),
        ('"bands"', '"octaves"', "not a choice"),
        ("height", "hight", "did you mean height"),
        ('kind = "bands"', "kind = bands", "not valid TOML"),
        ("[[measurement]]", "[[position]]", "no \\[\\[measurement\\]\\]|unknown key"),
        ('"p2.txt"', '"p1.txt"\nnote = 1', "unknown key"),
    ],
)
def test_an_index_with_a_mistake_is_refused(
    tmp_path: Path, design: Design, old: str, new: str, remedy: str
) -> None:
    assert old in INDEX
    with pytest.raises(MeasurementError, match=remedy):
        read_measurements([index(tmp_path, INDEX.replace(old, new))], design)


def test_readings_must_stand_at_centres_of_bands(tmp_path: Path, design: Design) -> None:
    listing = index(tmp_path)
    file(tmp_path, "1000 80\n1100 81\n", "p2.txt")
    with pytest.raises(MeasurementError, match="1100 Hz is the centre of no third-octave band"):
        read_measurements([listing], design)


def test_a_curve_alone_says_not_where(tmp_path: Path, design: Design) -> None:
    with pytest.raises(MeasurementError, match="nothing says where") as refused:
        read_measurements([file(tmp_path, "100 80\n200 81\n", "left.txt")], design)
    assert 'file = "left.txt"' in str(refused.value)


def test_an_index_is_small(tmp_path: Path) -> None:
    with pytest.raises(MeasurementError, match="1 MiB is the most"):
        read_index(file(tmp_path, "# x\n" * 300_000, "index.toml"))


SHEET = (
    "# Reading room, fingerprint 0123456789abcdef\n# fill in the last column\n"
    + ",".join(header("mm"))
    + """
"chair, left",2000,1150,30,1000,0.0,71.5
"chair, left",2000,1150,30,1258.925,0.1,
"chair, left",2000,1150,30,2000,0.2,69
standing,2500,1600,,1000,-1.2,70.5
"""
)


def test_a_filled_in_sheet_is_read(tmp_path: Path, design: Design) -> None:
    first, second = read_measurements([file(tmp_path, SHEET, "sheet.csv")], design)
    assert first.position == Position("chair, left", 2.0, 1.15, 30.0)
    assert second.position == Position("standing", 2.5, 1.6, None)
    assert first.kind == second.kind == "bands"
    assert first.frequencies == pytest.approx([1000.0, 1e3 * 10**0.3])
    assert list(first.level_db) == [71.5, 69.0]
    assert "another version of the design" in first.notes[0]
    own = SHEET.replace("0123456789abcdef", design.fingerprint[:16])
    assert read_measurements([file(tmp_path, own, "sheet.csv")], design)[0].notes == ()


def test_a_spreadsheet_may_have_saved_the_sheet(tmp_path: Path, design: Design) -> None:
    german = (
        SHEET.replace('"chair, left"', "left").replace(",", ";").replace(".", ",")
    )  # decimal commas
    german = german.replace("# fill", '"# fill').replace("column\n", 'column";;;\n', 1)
    path = file(tmp_path, german.encode("utf-16"), "sheet.csv")
    first, _ = read_measurements([path], design)
    assert list(first.level_db) == [71.5, 69.0]
    assert first.frequencies == pytest.approx([1000.0, 1e3 * 10**0.3])


@pytest.mark.parametrize(
    ("old", "new", "remedy"),
    [
        (",70.5", ",loud", "line 7: 'loud' is no reading_db"),
        (",70.5", ",nan", "line 7: 'nan' is no reading_db"),
        (",70.5", ",7050", "a number from -300 to 200 is due"),
        ("2500,", ",", "line 7: distance_mm is empty"),
        ("standing,2500,1600,", '"chair, left",2500,1600,', "stands elsewhere in line 4"),
        ("standing,", ",", "the position has no name"),
        ('"chair, left",2000', "chair, left,2000", "8 cells where 7 are due"),
        ("band_hz", "band", "the header lacks band_hz"),
        (",1000,-1.2", ",1100,-1.2", "1100 Hz is the centre of no"),
        ("standing,2500,1600", "standing,80,1600", ""),
        ("standing,2500,1600", "standing,80,900", "is in the speaker"),
    ],
)
def test_a_sheet_with_a_mistake_is_refused(
    tmp_path: Path, design: Design, old: str, new: str, remedy: str
) -> None:
    assert old in SHEET
    path = file(tmp_path, SHEET.replace(old, new, 1), "sheet.csv")
    if not remedy:
        assert read_measurements([path], design)  # above the plate: fine
        return
    with pytest.raises(MeasurementError, match=remedy):
        read_measurements([path], design)


def test_a_sheet_in_inches_takes_fractions(tmp_path: Path) -> None:
    """By definition 1 in = 25.4 mm."""
    rows = 'left,78 3/4,45.25,30,1000,0.0,71.5\nright,"19,5",45,30,1000,0.0,70'
    path = file(tmp_path, f"{','.join(header('in'))}\n{rows}\n", "sheet.csv")
    left, right = (reading.position for reading in read_sheet(path).readings)
    assert (left.r, left.height) == pytest.approx((78.75 * 0.0254, 45.25 * 0.0254))
    assert right.r == pytest.approx(19.5 * 0.0254)
    for wrong, remedy in (("78 3/0", "'78 3/0' is no distance_in"), ("2000", "from 0 to 1181.1")):
        path.write_text(f"{','.join(header('in'))}\n{rows.replace('78 3/4', wrong)}\n", "utf-8")
        with pytest.raises(MeasurementError, match=remedy):
            read_sheet(path)
    path.write_text(f"{','.join(header('in')).replace('height_in', 'height_mm')}\n", "utf-8")
    with pytest.raises(MeasurementError, match="the header lacks height_in"):
        read_sheet(path)


def test_all_typing_mistakes_of_a_sheet_are_told_at_once(tmp_path: Path) -> None:
    wrong = SHEET.replace(",71.5", ",loud").replace(",70.5", ",7050").replace(",69", ",6q")
    with pytest.raises(MeasurementError) as refused:
        read_sheet(file(tmp_path, wrong, "sheet.csv"))
    said = str(refused.value).splitlines()
    assert [line.partition(": ")[0][-6:] for line in said] == ["line 4", "line 6", "line 7"]


def test_a_slip_of_the_pen_is_set_aside_with_its_line(tmp_path: Path, design: Design) -> None:
    """7.18 for 71.8 in line 5 is 64 dB from all beside it; a true dip of 14 dB in line 8 counts."""
    levels = {"left": (71.5, 7.18, 69.0, 70.0), "right": (70.0, 70.5, 56.0, 71.0)}
    rows = [
        f"{name},2000,{1100 + 50 * number},30,{band},0,{level}"
        for number, (name, read) in enumerate(levels.items())
        for band, level in zip((1000, 1250, 1600, 2000), read, strict=True)
    ]
    sheet = "\n".join((SHEET.splitlines()[0], "# x", ",".join(header("mm")), *rows))
    left, right = read_measurements([file(tmp_path, sheet, "sheet.csv")], design)
    assert list(left.level_db) == [71.5, 69.0, 70.0]
    assert list(right.level_db) == [70.0, 70.5, 56.0, 71.0]
    said = next(note for note in left.notes if "set aside" in note)
    assert "line 5: 7.18 dB in the 1.25 kHz band at left" in said
    assert said.endswith("perhaps 71.8 was meant")


def test_an_empty_sheet_is_no_measurement(tmp_path: Path) -> None:
    blank = SHEET.replace(",71.5", ",").replace(",69", ",").replace(",70.5", ",")
    with pytest.raises(MeasurementError, match="no reading_db is filled in yet"):
        read_sheet(file(tmp_path, blank, "sheet.csv"))


# Bands -----------------------------------------------------------------------------------------


def curve(frequencies: np.ndarray, levels: np.ndarray, limit: float = 0.0) -> Measurement:
    place = Position("p", 2.0, 1.0)
    return Measurement(
        position=place,
        source="p.txt",
        frequencies=frequencies,
        level_db=levels,
        kind="curve",
        gate_limit_hz=limit,
    )


def test_bands_of_a_curve_are_the_means_of_what_is_predicted() -> None:
    """Where both have the same points: the rule of `band_means`, here in its second home."""
    f = study_frequencies(200.0, 5000.0, 12)
    levels = 6.0 * np.sin(f / 300.0) + 80.0
    centres, power = band_means(f, 10.0 ** (levels / 10.0))
    found = in_bands([curve(f, levels)], (200.0, 5000.0))
    assert found.centres == pytest.approx(centres, rel=1e-12)
    assert found.level_db[0] == pytest.approx(10.0 * np.log10(power), abs=1e-9)


def test_bands_of_a_fine_curve_are_the_integral() -> None:
    """Against scipy's quadrature between the exact base-ten edges of IEC 61260-1."""

    def level(f: float) -> float:
        return 5.0 * math.sin(4.0 * math.log(f)) - 2.0 * math.log10(f)

    f = np.arange(100.0, 10_000.0, 1.0)  # evenly spaced in Hz, as a transform gives it
    found = in_bands([curve(f, np.array([level(x) for x in f]))], (500.0, 5000.0))
    for centre, got in zip(found.centres, found.level_db[0], strict=True):
        low, high = math.log(centre * 10**-0.05), math.log(centre * 10**0.05)
        whole, _ = quad(lambda x: 10.0 ** (level(math.exp(x)) / 10.0), low, high)
        assert got == pytest.approx(10.0 * math.log10(whole / (high - low)), abs=0.01)


def test_a_tone_belongs_to_one_band_by_its_exact_edges() -> None:
    f = np.geomspace(500.0, 2000.0, 4001)
    _, upper = band_edges(np.array([1000.0]))
    for factor, band in ((1.0 - 2e-3, 1000.0), (1.0 + 2e-3, 1e3 * 10**0.1)):
        tone = np.where(np.abs(f / (upper[0] * factor) - 1.0) < 2e-4, 80.0, -200.0)
        found = in_bands([curve(f, tone)], (800.0, 1250.0))
        assert found.centres[np.argmax(found.level_db[0])] == pytest.approx(band)


def test_bands_that_are_not_known_are_nan() -> None:
    f = study_frequencies(200.0, 5000.0, 12)
    gated = in_bands([curve(f, 0.0 * f, limit=500.0)], (100.0, 8000.0))
    known = gated.centres[np.isfinite(gated.level_db[0])]
    # Lower edges: 500 Hz band 447 Hz, 630 Hz band 562 Hz.
    assert known[0] == pytest.approx(1e3 * 10**-0.2) and known[-1] == pytest.approx(1e3 * 10**0.7)
    coarse = f[::6]  # two in a band
    assert np.isnan(in_bands([curve(coarse, 0.0 * coarse)], (200.0, 5000.0)).level_db).all()
    cut = f[f < 1100.0]  # ends within the 1 kHz band
    partial = in_bands([curve(cut, 0.0 * cut)], (200.0, 5000.0))
    assert partial.centres[np.isfinite(partial.level_db[0])][-1] < 900.0


def test_readings_are_taken_as_they_are() -> None:
    centres = third_octave_centres(500.0, 2000.0)
    read_at = Measurement(
        position=Position("p", 1.0, 1.0),
        source="s",
        frequencies=centres[[1, 4]],
        level_db=np.array([3.0, 4.0]),
        kind="bands",
    )
    found = in_bands([read_at], (500.0, 2000.0)).level_db[0]
    assert np.flatnonzero(np.isfinite(found)).tolist() == [1, 4]
    assert found[[1, 4]].tolist() == [3.0, 4.0]
