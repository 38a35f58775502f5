"""SOFA files against AES69 (FreeFieldDirectivityTF 1.1) as sofar verifies it, and read by pyfar.

What the file says in words (how to get pascals, which way time counts) is held against pressures
in pascals straight from the wave solver, and against the time at which sound arrives.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dispersion.bands import study_frequencies
from dispersion.solvers import solve_waves
from dispersion.walls import RIGID_WALLS
from dispersion.waves import axial_motion, solve
from studies.design import parse_design
from studies.questions.export import sofa
from studies.questions.export.sofa import NO_DATE, sofa_bytes, sofa_of
from studies.questions.export.study import Directions, Directivity, directivity
from studies.questions.export.tables import directivity_tables
from studies.questions.export.words import meaning

sofar = pytest.importorskip("sofar")
pyfar = pytest.importorskip("pyfar")

EXAMPLES = Path(__file__).parents[2] / "studies" / "examples"
TITLE = "Lesesaal, Kugelkappe 180 mm, groß & rund"


def solved(band: str, name: str = "reading_room") -> Directivity:
    path = EXAMPLES / f"{name}.toml"
    text = path.read_text(encoding="utf-8").replace('band = ["100 Hz", "16 kHz"]', f"band = {band}")
    heading, _, _rest = text[text.index("title =") :].partition("\n")
    design = parse_design(text.replace(heading, f'title = "{TITLE}"'), path)
    return directivity(design, solve_waves, fineness=4, directions=Directions(15.0, 30.0))


@pytest.fixture(scope="module")
def found() -> Directivity:
    return solved("[630, 800]", "reading_room_coaxial")


@pytest.fixture(scope="module")
def written(found: Directivity, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sofa") / "directivity.sofa"
    path.write_bytes(sofa_bytes(found))
    return path


def test_it_conforms(found: Directivity) -> None:
    assert sofa_of(found).verify(issue_handling="return") is None


def wrong_length(file: object) -> None:
    file.Data_Imag = file.Data_Imag[:, :, :-1]


def a_direction_short(file: object) -> None:
    file.ReceiverPosition = file.ReceiverPosition[:-1]


def no_unit(file: object) -> None:
    file.ReceiverPosition_Units = "degree"


def words_for_numbers(file: object) -> None:
    file.N = "many"


def no_reference(file: object) -> None:
    file.protected = False
    delattr(file, "SourcePosition_Reference")


@pytest.mark.parametrize(
    "spoil", [wrong_length, a_direction_short, no_unit, words_for_numbers, no_reference]
)
def test_what_does_not_conform_is_refused(
    found: Directivity, spoil: Callable[[object], None], tmp_path: Path
) -> None:
    file = sofa_of(found)
    spoil(file)
    with pytest.raises(ValueError, match="ERRORS"):
        file.verify()
    with pytest.raises(ValueError, match="ERRORS"):
        sofar.write_sofa(str(tmp_path / "spoilt.sofa"), file)
    assert not list(tmp_path.iterdir())


def test_what_is_read_is_what_was_solved(found: Directivity, written: Path) -> None:
    file = sofar.read_sofa(str(written), verify=True, verbose=False)
    response = found.row.response
    assert np.array_equal(file.N, response.problem.frequencies)
    assert file.N_Units == "hertz"
    # Every direction once: eleven rings of twelve and two poles.
    places = [tuple(place) for place in file.ReceiverPosition]
    assert len(places) == len(set(places)) == 11 * 12 + 2
    assert sum(abs(elevation) == 90.0 for _, elevation, _ in places) == 2
    solved_at = list(response.problem.elevations)
    for direction, (azimuth, elevation, distance) in enumerate(places):
        assert 0.0 <= azimuth < 360.0
        assert distance == 1.0
        received = file.Data_Real[0, direction] + 1j * file.Data_Imag[0, direction]
        assert np.array_equal(received, response.far[:, solved_at.index(elevation)].conj())


def test_it_says_what_it_is(found: Directivity, written: Path) -> None:
    file = sofar.read_sofa(str(written), verbose=False)
    assert file.GLOBAL_Title == TITLE
    assert found.design.fingerprint in file.GLOBAL_History
    assert file.GLOBAL_DateCreated == file.GLOBAL_DateModified == NO_DATE
    assert file.GLOBAL_ApplicationName == "roundcast"
    assert file.GLOBAL_RoomType == "free field"
    assert "driver and tweeter" in file.GLOBAL_EmitterDescription
    for sentence in meaning(found).values():
        assert sentence in file.GLOBAL_Comment
    assert f"{found.design.air.density:.4f} kg/m3" in file.GLOBAL_Comment
    for place in (file.SourcePosition, file.EmitterPosition, file.ListenerPosition):
        assert np.array_equal(np.ravel(place), [0.0, 0.0, 0.0])
    assert np.array_equal(np.ravel(file.SourceUp), [0.0, 0.0, 1.0])
    assert file.ReceiverPosition_Units == "degree, degree, metre"
    assert file.SourcePosition_Reference


def test_who_made_it_is_named_if_told(found: Directivity) -> None:
    mine = sofa_of(replace(found, author="somebody", licence="public domain"))
    assert (mine.GLOBAL_AuthorContact, mine.GLOBAL_License) == ("somebody", "public domain")
    assert "ask" in sofa_of(found).GLOBAL_License


def test_pyfar_reads_the_same(found: Directivity, written: Path) -> None:
    data, source, receivers = pyfar.io.read_sofa(written)
    assert np.array_equal(data.frequencies, found.frequencies)
    levels = 20.0 * np.log10(np.abs(data.freq[0]))
    for direction, elevation in enumerate(np.degrees(receivers.elevation)):
        at = int(np.abs(found.directions.elevations - elevation).argmin())
        assert abs(found.directions.elevations[at] - elevation) < 1e-9
        assert levels[direction] == pytest.approx(found.levels_db[:, at], abs=1e-9)
    assert np.allclose(receivers.radius, 1.0)
    assert np.allclose(source.cartesian, 0.0)


def test_pascals_come_out_as_the_file_says() -> None:
    """rho A / (2 pi r) exp(-j 2 pi f r / c) times the file's value and that of the driver alone.

    A is area times acceleration; the driver alone is in a table of its own, level and phase.

    The wave solver gives pascals for 3 m/s2 directly, 10 km away, and counts time the other way.
    What lies s = 0.9 m from the middle of the baffle, the column's foot, is there out of step by
    k s^2 / (2 r) < 6e-4 against the far field, everything else by less.
    """
    found = solved("[630, 800]")
    assembly, air = found.design.assembly(), found.design.air
    frequency, distance, acceleration = float(found.frequencies[0]), 1e4, 3.0
    (way,) = assembly.ways
    # Below the frequency where the cone lets go nearly all of it moves; here it moves as one.
    whole = replace(found.design.ways[0], lets_go=None)
    found = directivity(
        # Walls without losses, as in the direct solution below.
        replace(found.design, ways=(whole,), walls=RIGID_WALLS),
        solve_waves,
        fineness=4,
        directions=Directions(15.0, 30.0),
    )
    drive = axial_motion(way.name, way.parts, air, acceleration)
    solution = solve(assembly.bodies, frequency, [drive], air)
    volume = acceleration * np.pi * way.effective_radius**2
    alone = directivity_tables(found).table("driver").records()[0]
    delay = np.exp(-2j * np.pi * frequency * distance / air.speed)
    for at in (4, 6, 8, 12):  # -30, 0, 30 and 90 degrees
        elevation = np.radians(found.directions.elevations[at])
        place = distance * np.array([[np.cos(elevation), np.sin(elevation)]])
        true = solution.pressure_at(place)[0, 0].conj()
        told = found.pressure[0, at] * air.density * volume / (2.0 * np.pi * distance) * delay
        told *= 10.0 ** (alone["level_db"] / 20.0) * np.exp(1j * np.radians(alone["phase_deg"]))
        assert abs(told / true - 1.0) < 6e-4


def test_what_comes_later_has_a_falling_phase() -> None:
    """The ring lies above the baffle: sound is earlier straight up than straight down.

    Far below the first resonance the column radiates like a point somewhere between baffle and top
    of the plate, z_c: straight up the phase is +k z_c, straight down -k z_c. The plate is flat and
    its end correction at most about its radius.
    """
    low = solved("[100, 125]")
    assembly = low.design.assembly()
    k = 2.0 * np.pi * low.frequencies / low.design.air.speed
    centre = np.angle(low.pressure[:, -1] / low.pressure[:, 0]) / (2.0 * k)
    assert np.all(centre > 0.0)
    assert np.all(centre < assembly.plate_gap + assembly.plate.thickness + assembly.plate.radius)


def test_the_same_input_gives_the_same_bytes(found: Directivity, written: Path) -> None:
    assert sofa_bytes(found) == written.read_bytes()


@pytest.mark.parametrize("name", ["Data_Imag", "GLOBAL_History"])
def test_a_file_that_reads_back_otherwise_is_not_let_out(
    found: Directivity, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    read = sofar.read_sofa

    def misread(*arguments: object, **options: object) -> object:
        file = read(*arguments, **options)
        value = getattr(file, name)
        setattr(file, name, f"{value}." if isinstance(value, str) else value + 1e-15)
        return file

    monkeypatch.setattr(sofar, "read_sofa", misread)
    with pytest.raises(RuntimeError, match=f"{name} of the SOFA file is not what was written"):
        sofa_bytes(found)


def test_without_sofar_the_remedy_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sofa.importlib.util, "find_spec", lambda name: None)
    with pytest.raises(sofa.SofaError, match=r"pip install sofar .*--no-sofa"):
        sofa.require_sofar()


def test_frequencies_are_those_of_the_study(found: Directivity) -> None:
    assert found.frequencies == pytest.approx(study_frequencies(630.0, 800.0, 4))
