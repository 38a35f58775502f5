"""Every file of a design tells which design it is of, where its format has a place for it."""

import io
import json
import struct
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import pytest
import trimesh
from PIL import Image
from pypdf import PdfReader

from shapes.solids import STL_HEADER
from studies.answer.charts.section import section_figure
from studies.answer.charts.style import in_both_formats
from studies.answer.release import mark_of
from studies.design import Design, parse_design
from studies.questions.cut.question import cutting_files
from studies.questions.cut.study import cutting

PATH = Path(__file__).resolve().parents[4] / "studies" / "examples" / "reading_room.toml"
SVG = "{http://www.w3.org/2000/svg}"
CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"


@pytest.fixture(scope="module")
def design() -> Design:
    return parse_design(PATH.read_text(encoding="utf-8"), PATH)


@pytest.fixture(scope="module")
def mark(design: Design) -> str:
    return mark_of(design)


@pytest.fixture(scope="module")
def files(design: Design) -> dict[str, bytes]:
    return cutting_files(cutting(design, ["a4"]))


def test_the_mark_is_one_plain_line_with_the_whole_fingerprint(design: Design, mark: str) -> None:
    assert mark.isascii()
    assert mark.isprintable()
    assert mark.endswith(design.fingerprint)
    assert len(design.fingerprint) == 64


def test_another_design_has_another_mark(design: Design, mark: str) -> None:
    other = parse_design(design.text.replace("keep = 44", "keep = 43"), PATH)
    assert other.fingerprint != design.fingerprint
    assert mark_of(other) != mark


def test_pictures(design: Design, mark: str) -> None:
    drawn = in_both_formats(section_figure(design.assembly(), "Section", design.seats), mark)
    assert Image.open(io.BytesIO(drawn["png"])).text["Description"] == mark
    about = ElementTree.fromstring(drawn["svg"]).find(f"{SVG}metadata")
    assert mark in "".join(about.itertext())


def test_sheets_of_words(files: dict[str, bytes], mark: str) -> None:
    assert f'<meta name="description" content="{mark}">'.encode() in files["cut-lists.html"]


def test_paper(files: dict[str, bytes], mark: str) -> None:
    assert PdfReader(io.BytesIO(files["cut-a4.pdf"])).metadata.subject == mark


@pytest.mark.parametrize("name", ["reflector", "templates"])
def test_outlines(files: dict[str, bytes], mark: str, name: str) -> None:
    drawing = files[f"{name}.dxf"].decode("ascii")
    assert drawing.startswith(f"999\n{mark}\n")  # 999 is a comment
    assert len(ezdxf.read(io.StringIO(drawing)).modelspace()) > 0
    described = ElementTree.fromstring(files[f"{name}.svg"]).findall(f"{SVG}desc")
    assert [words.text for words in described] == [mark]


def test_solids(files: dict[str, bytes], mark: str) -> None:
    assert files["reflector.stl"][:STL_HEADER].decode("ascii") == mark[:STL_HEADER]
    assert not files["reflector.stl"].startswith(b"solid")  # which would say: no binary
    archive = zipfile.ZipFile(io.BytesIO(files["reflector.3mf"]))
    model = ElementTree.fromstring(archive.read("3D/3dmodel.model"))
    (about,) = model.findall(f"{CORE}metadata")
    assert (about.get("name"), about.text) == ("Description", mark)
    assert model[0] is about  # before what the model is made of
    for kind in ("stl", "3mf"):
        solid = trimesh.load_mesh(io.BytesIO(files[f"reflector.{kind}"]), file_type=kind)
        assert solid.is_watertight


def test_the_whole(files: dict[str, bytes], mark: str) -> None:
    content = files["assembly.glb"]
    (length,) = struct.unpack_from("<I", content, 12)
    assert json.loads(content[20 : 20 + length])["asset"]["extras"] == {"origin": mark}
    assert len(trimesh.load_scene(io.BytesIO(content), file_type="glb").geometry) > 3
