"""Outlines for the bench: read back by an independent reader they have the card's dimensions."""

import io
import math
import re
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
from shapely.geometry import LineString, Point

from shapes import ball_cap, base_of_cap, cone
from shapes.pieces import Arc
from shapes.profiles import turned
from shapes.reflector import Reflector
from shapes.templates import (
    Outline,
    coordinates,
    dxf_bytes,
    female_template,
    full_section,
    male_template,
    svg_bytes,
)

D, H = 0.18, 0.044
CAP = ball_cap(D, H)
BELL = turned([(0, 0), (0.006, 0.003), (0.02, 0.014), (0.045, 0.029), (0.078, 0.04)])
REFLECTORS = (CAP, ball_cap(0.2, 0.12), cone(0.075, height=0.05, tip_radius=0.004), BELL)


def drawing(*outlines: Outline) -> ezdxf.document.Drawing:
    return ezdxf.read(io.StringIO(dxf_bytes(outlines).decode("ascii")))


def area(outline: Outline) -> float:
    x, y = outline.points(1e-6).T
    return 0.5 * abs(np.dot(x[:-1], y[1:]) - np.dot(x[1:], y[:-1]))


@pytest.mark.parametrize("reflector", REFLECTORS, ids=lambda r: r.label)
def test_outlines_are_closed_and_fit_together(reflector: Reflector) -> None:
    section, male, female = (
        make(reflector) for make in (full_section, male_template, female_template)
    )
    for outline in (section, male, female):
        points = outline.points()
        assert points[0] == pytest.approx(points[-1], abs=1e-12)
        for before, after in zip(outline.pieces, outline.pieces[1:], strict=False):
            assert before.end == pytest.approx(after.start, abs=1e-9)
    assert area(section) == pytest.approx(2 * area(male), rel=1e-4)
    _, low, right, _ = female.bounds
    assert area(male) + area(female) == pytest.approx(-low * right, rel=1e-4)


def test_dxf_is_in_millimetres_with_true_arcs_and_the_base_of_the_card() -> None:
    document = drawing(full_section(CAP))
    assert document.units == ezdxf.units.MM
    model = document.modelspace()
    arcs = list(model.query("ARC"))
    assert [arc.dxf.radius for arc in arcs] == pytest.approx([D / 2 * 1e3] * 2, abs=1e-6)
    (flat,) = model.query("LWPOLYLINE")
    (x0, y0), (x1, y1) = ([point[0], point[1]] for point in flat.get_points())
    assert y0 == pytest.approx(y1, abs=1e-9)
    # 2 sqrt(h (D - h)): intersecting chords, Euclid III.35.
    assert abs(x1 - x0) == pytest.approx(2e3 * math.sqrt(H * (D - H)), abs=1e-6)
    assert abs(x1 - x0) == pytest.approx(1e3 * base_of_cap(D, H), abs=1e-6)


def test_dxf_is_sound_and_has_a_layer_for_each_outline(tmp_path: Path) -> None:
    path = tmp_path / "templates.dxf"
    path.write_bytes(dxf_bytes((male_template(BELL), female_template(BELL)), "a mark"))
    document = ezdxf.readfile(path)
    audit = document.audit()
    assert not audit.errors and not audit.fixes
    names = {entity.dxf.layer for entity in document.modelspace()}
    assert (
        names
        == {"male", "female"}
        == {layer.dxf.name for layer in document.layers}
        - {
            "0",
            "Defpoints",
        }
    )
    low, high = (document.header[name] for name in ("$EXTMIN", "$EXTMAX"))
    # Male (78 mm) and female (20 mm wider) with 20 mm between them; 20 mm of board below the tip.
    assert (*low, *high) == pytest.approx((0, -60, 0, 196, 0, 0), abs=1e-6)


def test_dxf_is_the_same_every_time_and_bears_no_date() -> None:
    outlines = (male_template(BELL), female_template(BELL))
    first = dxf_bytes(outlines)
    assert dxf_bytes(outlines) == first
    stamps = re.findall(rb"\$TDU?(?:CREATE|UPDATE)\n 40\n([\d.]+)", first)
    assert {float(stamp) for stamp in stamps} == {2451545.0}  # Julian day of 1 January 2000


def test_arcs_pass_through_the_points_of_their_outline() -> None:
    outline = full_section(cone(0.075, height=0.05, tip_radius=0.004))
    arcs = drawing(outline).modelspace().query("ARC")
    drawn = [piece for piece in outline.pieces if isinstance(piece, Arc)]
    for arc, piece in zip(arcs, drawn, strict=True):
        read = np.array([tuple(point) for point in arc.vertices(arc.angles(3))])[:, :2]
        if piece.clockwise:
            read = read[::-1]
        true = (piece.point(np.array([0.0, 0.5, 1.0])) + (0.075, 0.0)) * 1e3
        assert read == pytest.approx(true, abs=1e-6)


def test_curves_stay_within_a_twentieth_of_a_millimetre() -> None:
    line = LineString(male_template(BELL).points())
    true = BELL.profile.sample(1e-7)
    assert max(line.distance(Point(point)) for point in true[::20]) < 5e-5


def test_svg_prints_at_true_size() -> None:
    root = ElementTree.fromstring(svg_bytes([full_section(CAP)]))
    width, height = (float(root.get(side).removesuffix("mm")) for side in ("width", "height"))
    _left, top, across, down = (float(number) for number in root.get("viewBox").split())
    assert (across, down) == pytest.approx((width, height), abs=1e-4)  # one unit is 1 mm
    line = 0.2
    assert width == pytest.approx(1e3 * base_of_cap(D, H) + 2 * line, abs=1e-3)
    assert height == pytest.approx(1e3 * H + 2 * line, abs=1e-3)
    drawn = [path.get("d") for path in root.iter("{http://www.w3.org/2000/svg}path")]
    assert len(drawn) == 3
    ys = [-float(y) for stroke in drawn for y in re.findall(r"[\d.]+[ ,](-?[\d.]+)(?=L|$)", stroke)]
    assert all(top <= y <= top + down for y in ys)
    assert svg_bytes([full_section(CAP)]) == svg_bytes([full_section(CAP)])


def test_coordinates_lie_on_the_ball_at_every_five_millimetres() -> None:
    points = coordinates(CAP)
    assert (points[0].radius, points[0].depth) == pytest.approx((0.0, H), abs=1e-9)
    assert (points[-1].radius, points[-1].depth) == pytest.approx((base_of_cap(D, H) / 2, 0.0))
    assert [p.radius for p in points[:-1]] == pytest.approx([0.005 * n for n in range(16)])
    for point in points:
        depth = H - D / 2 + math.sqrt((D / 2) ** 2 - point.radius**2)
        assert point.depth == pytest.approx(depth, abs=2e-6)


def test_a_profile_that_doubles_back_gives_a_radius_twice() -> None:
    more_than_half = coordinates(ball_cap(0.2, 0.12))
    radii = [round(point.radius * 1e3, 6) for point in more_than_half]
    assert max(radii) > 95
    depths = [point.depth for point in more_than_half]
    assert depths == sorted(depths, reverse=True)


def test_a_cap_is_one_arc_in_every_outline() -> None:
    assert sum(isinstance(piece, Arc) for piece in male_template(CAP).pieces) == 1
    assert sum(isinstance(piece, Arc) for piece in full_section(CAP).pieces) == 2
