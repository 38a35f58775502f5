"""Design files as tables of TOML: valid ones by construction, and valid ones with one damage."""

from __future__ import annotations

import math
from typing import Any

import tomlkit
from hypothesis import strategies as st

Tables = dict[str, Any]

WORDS = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Cn", "Zl", "Zp")),
    min_size=1,
    max_size=40,
).filter(str.strip)


def toml(tables: Tables) -> str:
    """Write tables as the text of a file."""
    return tomlkit.dumps(tables)


def sizes(least: float, most: float) -> st.SearchStrategy[float]:
    """Sizes in mm, to a micrometre."""
    return st.floats(least, max(least, most)).map(lambda size: round(size, 3))


@st.composite
def designs(draw: st.DrawFn) -> Tables:
    """Draw a design in which everything fits, with a band of three thirds at most."""
    column = draw(columns())
    flat = column["width"] / 2 - column.get("edge_radius", 0.0)
    baffle = draw(baffles(column))
    if baffle is not None:
        flat = baffle["diameter"] / 2 - baffle["edge_radius"]
    # Below a thin baffle the cone has to have room in the column.
    driver, tweeter, top = draw(drivers(min(flat, column["width"] / 2) if baffle else flat))
    reflector, widest, height = draw(reflectors(flat))
    plate = draw(plates(widest))
    if plate is None and reflector["kind"] == "none":
        plate = {"diameter": 100.0, "thickness": 10.0, "edge_radius": 0.0}
    gap = height + max(top, 0.0) + driver.get("excursion", 0.0) + draw(sizes(2.0, 80.0))
    tables: Tables = {"title": draw(WORDS), "unit": "mm", "plate_gap": round(gap, 3)}
    tables |= {"column": column, "driver": driver, "reflector": reflector}
    tables |= {"plate": plate} if plate else {}
    tables |= {"baffle": baffle} if baffle else {}
    tables |= {"tweeter": tweeter} if tweeter else {}
    posts = draw(standing_posts(flat, driver, widest, plate))
    tables |= {"posts": posts} if posts else {}
    return tables | draw(asked())


@st.composite
def columns(draw: st.DrawFn) -> Tables:
    width = draw(sizes(80.0, 420.0))
    column: Tables = {"width": width, "height": draw(sizes(400.0, 3000.0))}
    if draw(st.booleans()):
        column["edge_radius"] = draw(st.just(0.0) | sizes(0.001, width / 8))
    if draw(st.booleans()):
        column["shape"] = draw(st.sampled_from(("round", "square", "hexagonal")))
    elif draw(st.booleans()):
        column["sides"] = draw(st.integers(4, 12))
    return column


@st.composite
def baffles(draw: st.DrawFn, column: Tables) -> Tables | None:
    """Draw a round baffle that covers the room between the walls, or none."""
    if column.get("edge_radius") or draw(st.integers(0, 2)):
        return None
    thickness = draw(sizes(2.0, 40.0))
    diameter = draw(sizes(1.42 * column["width"], 2.0 * column["width"]))
    edge = draw(st.just(0.0) | sizes(0.001, min(thickness - 1.0, diameter / 8)))
    return {"diameter": diameter, "thickness": thickness, "edge_radius": edge}


@st.composite
def drivers(draw: st.DrawFn, flat: float) -> tuple[Tables, Tables | None, float]:
    """Draw a driver, perhaps a tweeter, and how high the highest of them stands at rest, mm."""
    frame = draw(sizes(0.5 * flat, 2 * flat - 1.0))
    across = round(frame * draw(st.floats(0.6, 0.95)), 3)
    driver: Tables = {"effective_diameter": across, "frame_diameter": frame}
    driver["cone_depth"] = depth = draw(st.just(0.0) | sizes(0.0, across / 4))
    raised = draw(st.sampled_from(("flush", "proud", "recess")))
    if raised != "flush":
        driver[raised] = draw(sizes(0.001, 8.0))
    if draw(st.booleans()):
        driver["excursion"] = draw(sizes(0.0, 6.0))
    neck = -depth - driver.get("recess", 0.0)
    top, tweeter = driver.get("proud", 0.0), None
    centre = draw(st.sampled_from(("bare", "dust_cap", "tweeter")))
    if centre == "dust_cap":
        cap = draw(sizes(5.0, across / 2))
        driver["dust_cap"] = {"diameter": cap, "height": draw(sizes(0.0, cap / 2 - 0.001))}
        top = max(top, neck + driver["dust_cap"]["height"])
    elif centre == "tweeter":
        pod = draw(sizes(6.0, across / 2))
        dome = draw(sizes(5.0, pod))
        tweeter = {"dome_diameter": dome, "housing_diameter": pod}
        tweeter["dome_height"] = draw(sizes(0.1, dome / 2 - 0.001))
        tweeter["face_height"] = round(neck + draw(sizes(1.0, 20.0)), 3)
        top = max(top, tweeter["face_height"] + tweeter["dome_height"])
    return driver, tweeter, top


@st.composite
def reflectors(draw: st.DrawFn, flat: float) -> tuple[Tables, float, float]:
    """Draw a reflector with its largest radius and its height, mm."""
    kind = draw(st.sampled_from(("ball", "cone", "flared", "turned", "none")))
    if kind == "none":
        return {"kind": kind}, 0.0, 0.0
    if kind == "ball":
        ball = draw(sizes(40.0, 400.0))
        keep = draw(sizes(ball / 50, 0.9 * ball))
        base = math.sqrt(keep * (ball - keep))
        return {"kind": kind, "ball_diameter": ball, "keep": keep}, max(base, ball / 2), keep
    base = draw(sizes(10.0, 3 * flat))
    if kind == "cone":
        steepest = max(5.0, math.degrees(math.atan2(base / 2, 800.0)) + 0.01)
        angle = draw(st.floats(steepest, 85.0).map(lambda angle: round(angle, 2)))
        height = base / 2 / math.tan(math.radians(angle))
        given = {"half_angle": angle} if draw(st.booleans()) else {"height": round(height, 3)}
        return {"kind": kind, "base_diameter": base} | given, base / 2, height + 0.001
    height = draw(sizes(1.0, base / 2))
    if kind == "flared":
        return {"kind": kind, "base_diameter": base, "height": height}, base / 2, height
    points = [[0, 0], [round(base / 6, 3), round(height / 2, 3)], [base / 2, height]]
    return {"kind": kind, "points": points, "smooth": False}, base / 2, height


@st.composite
def plates(draw: st.DrawFn, widest: float) -> Tables | None:
    if draw(st.integers(0, 4)) == 0:
        return None
    thickness = draw(sizes(1.0, 40.0))
    plate: Tables = {"thickness": thickness}
    plate["edge_radius"] = edge = draw(st.just(0.0) | sizes(0.001, thickness / 2 - 0.001))
    plate["diameter"] = round(2 * (widest + edge) + draw(sizes(2 * edge + 5.0, 200.0)), 3)
    return plate


@st.composite
def standing_posts(
    draw: st.DrawFn, flat: float, driver: Tables, widest: float, plate: Tables | None
) -> Tables | None:
    """Draw posts where there is room for some."""
    radius = draw(sizes(1.0, 6.0))
    inner = max(driver["frame_diameter"] / 2, widest) + radius
    if plate is None:
        return None
    outer = min(flat, plate["diameter"] / 2 - plate["edge_radius"]) - radius
    if outer < inner + 0.1:
        return None
    circle = 2 * draw(sizes(inner + 0.05, outer - 0.05))
    return {
        "count": draw(st.integers(1, 4)),
        "diameter": 2 * radius,
        "circle_diameter": round(circle, 3),
    }


@st.composite
def asked(draw: st.DrawFn) -> Tables:
    """Draw air, ears and target."""
    low = draw(st.sampled_from((100.0, 250.0, 500.0, 1000.0, 2000.0)))
    tables: Tables = {"target": {"band": [low, 2 * low]}}
    if draw(st.booleans()):
        bottom = draw(st.floats(-90.0, 89.0))
        tables["target"]["window"] = [bottom, draw(st.floats(bottom + 0.5, 90.0))]
    else:
        seat = {"ear_height": "1.1 m", "distance": f"{draw(st.floats(1.0, 9.0)):.2f} m"}
        tables["seats"] = [{"name": draw(WORDS)} | seat]
    if draw(st.booleans()):
        temperature, humidity = draw(st.floats(0.0, 30.0)), draw(st.floats(1.0, 100.0))
        tables["air"] = {"temperature": temperature, "humidity": humidity}
    return tables


NO_SIZE = (-1.0, math.nan, math.inf, True, "", "12 furlongs", "1/0 in", 10**30, [], {}, "9" * 400)
NEEDED = ("title", "plate_gap", "column", "driver", "reflector", "column.width", "column.height")
NEEDED_TOO = ("driver.frame_diameter", "driver.effective_diameter", "reflector.kind")
SIZES = ("plate_gap", "column.width", "column.height", "driver.frame_diameter", "driver.cone_depth")
HEADINGS = ("column", "driver", "reflector", "target")


@st.composite
def damaged(draw: st.DrawFn) -> tuple[Tables, str]:
    """Draw a design with one damage, and the key that has it."""
    tables = draw(designs())
    how = draw(st.sampled_from(("missing", "unknown", "no size", "no table", "unprintable")))
    if how == "missing":
        key = draw(st.sampled_from((*NEEDED, *NEEDED_TOO)))
        _home(tables, key).pop(key.rpartition(".")[2])
    elif how == "unknown":
        key = f"{draw(st.sampled_from(HEADINGS))}.\u03b1 \x1b[31m"
        _home(tables, key)[key.partition(".")[2]] = 1
    elif how == "no size":
        key = draw(st.sampled_from(SIZES))
        _home(tables, key)[key.rpartition(".")[2]] = draw(st.sampled_from(NO_SIZE))
    elif how == "no table":
        key = draw(st.sampled_from(HEADINGS))
        tables[key] = draw(st.sampled_from((1, "round", [], [1, 2])))
    else:
        key = "title"
        tables[key] = draw(st.sampled_from(("a\x00b", "two\nlines", " ", "\uffff", "x" * 300)))
    return tables, key


def _home(tables: Tables, key: str) -> Tables:
    table = key.rpartition(".")[0]
    return tables[table] if table else tables
