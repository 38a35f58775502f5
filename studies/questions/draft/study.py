"""A first design file from the few numbers a newcomer has.

Everything that is not known yet is guessed by a rule of thumb (`sizes`); the file says so beside
each guess, so that it can be measured and put right, and in the unit in which sizes were given.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

from shapes.lengths import INCH, LENGTH_UNITS, written_in
from studies.answer.writing import write_text
from studies.design import DesignError, parse_design
from studies.questions.draft.command import Brief
from studies.questions.draft.sizes import DraftError, Sizes, covers, sizes_of

FINEST = 64
"""Inches are written as fractions down to so many parts."""
CROSSOVER = '{ kind = "linkwitz-riley", order = 4, frequency = "3 kHz" }'


def draft_design(brief: Brief) -> str:
    """Write a complete, commented design file for a driver under a ball cap.

    Parameters
    ----------
    brief : Brief
        What a builder has.

    Returns
    -------
    str
        Text of the file: it loads, and it is free of clashes.

    Raises
    ------
    DraftError
        Naming the number that does not fit.
    """
    with written_in(brief.unit):
        text = "\n".join(_lines(sizes_of(brief))) + "\n"
    try:
        parse_design(text, "draft.toml")
    except DesignError as error:
        raise DraftError(f"these numbers do not make a design:\n{error}") from error
    return text


def write_draft(path: Path, text: str, *, overwrite: bool) -> None:
    """Write a draft to a file: all of it or nothing.

    Raises
    ------
    DraftError
        If the file exists already and is not to be overwritten.
    ExportError
        If it cannot be written.
    """
    if path.exists() and not overwrite:
        raise DraftError(f"{path} exists already: name another file, or move that one away")
    write_text(path, text)


def written(metres: float, unit: str) -> str:
    """Write a length as a value of the file: bare, or a fraction of an inch in quotes."""
    if unit != "in":
        return f"{metres / LENGTH_UNITS[unit]:.6g}"
    parts = Fraction(metres / INCH).limit_denominator(FINEST)
    if abs(float(parts) * INCH - metres) > 1e-9 or FINEST % parts.denominator:
        return f"{metres / INCH:.6g}"
    whole, rest = divmod(parts, 1)
    if not rest:
        return str(whole)
    return f'"{whole} {rest} in"' if whole else f'"{rest} in"'


def _lines(sizes: Sizes) -> Iterator[str]:
    brief = sizes.brief
    yield "# A first draft. What you gave is marked so; every other value is a guess."
    yield '# "guess" marks a rule of thumb (common practice, no source): measure it, put it right.'
    yield ""
    driver, ball = (_named(size, brief.unit) for size in (brief.driver, brief.ball))
    title = brief.title or f"Draft: {driver} driver, {ball} ball"
    # A title in JSON is one in TOML too, quotes and all.
    yield f"title = {json.dumps(title, ensure_ascii=False)}"
    yield f'unit = "{brief.unit}"  # of every length without a unit: mm, cm, m or in'
    about = "baffle face to underside of the top plate, where the cap's flat side hangs"
    yield _size("plate_gap", brief.gap, sizes, about, given=True)
    for table in (_column, _baffle, _foot_and_port, _driver, _tweeter, _top, _rest):
        yield ""
        yield from table(sizes)


def _named(size: float, unit: str) -> str:
    return written(size, unit).strip('"').removesuffix(" in") + f" {unit}"


def _size(key: str, metres: float, sizes: Sizes, about: str, *, given: bool = False) -> str:
    """One line: a key, its length, whether it was given or guessed, what it is."""
    return _line(key, written(metres, sizes.brief.unit), about, given=given)


def _line(key: str, value: object, about: str, *, given: bool = False) -> str:
    mark = f"as given; {about}" if given else f"guess: {about}"
    return f"{key} = {value}".ljust(30) + f"  # {mark}"


def _column(sizes: Sizes) -> Iterator[str]:
    brief = sizes.brief
    yield "[column]"
    if brief.sides is None:
        yield 'shape = "round"  # or sides = 6 (4 to 12) with board_width and board_thickness'
    else:
        yield _line("sides", brief.sides, "so many boards, mitred", given=True)
    rule = "1.5 x the driver, or room for driver and posts"
    if brief.board_width is not None:
        about = "outside face of each board, edge to edge"
        yield _size("board_width", brief.board_width, sizes, about, given=True)
    else:
        key = "width" if brief.sides is None else "across_flats"
        given = brief.column is not None
        about = "outside" if given else rule
        yield _size(key, sizes.width, sizes, about, given=given)
    if brief.sides is not None:
        given = brief.board_thickness is not None
        about = "as measured, not as sold"
        yield _size("board_thickness", sizes.board, sizes, about, given=given)
    about = "floor to baffle; brings the ring near the ears of people who sit"
    yield _size("height", sizes.height, sizes, about, given=brief.height is not None)
    if brief.baffle is None:
        yield _line("edge_radius", 0, "rounding of the baffle's outer edge")


def _baffle(sizes: Sizes) -> Iterator[str]:
    brief = sizes.brief
    if brief.baffle is None:
        yield "# [baffle]  # a board of its own on the column; left out, as the column"
        yield f"# diameter = {written(sizes.plate, brief.unit)}"
        return
    corners = "" if covers(sizes) else "; the column's corners poke past it"
    yield "[baffle]"
    yield _size("diameter", brief.baffle, sizes, f"round{corners}", given=True)
    yield _size("thickness", sizes.board, sizes, "as the boards")
    yield _line("edge_radius", 0, "rounding of its upper edge")


def _foot_and_port(sizes: Sizes) -> Iterator[str]:
    """Offer what is often there and was not given."""
    unit, foot = sizes.brief.unit, sizes.raised(1.5 * sizes.face)
    yield "# [foot]  # a board under the column; left out, there is none"
    yield f"# diameter = {written(foot, unit)}"
    yield f"# thickness = {written(sizes.board, unit)}"
    yield ""
    yield "# [port]  # `roundcast cut` tells at which frequency it swings with the air inside"
    yield f"# diameter = {written(sizes.rounded(0.4 * sizes.brief.driver), unit)}"
    yield f"# depth = {written(sizes.rounded(0.6 * sizes.brief.driver), unit)}"


def _driver(sizes: Sizes) -> Iterator[str]:
    unit = sizes.brief.unit
    yield "[driver]"
    about = "0.8 x nominal; measure cone plus half the surround"
    yield _size("effective_diameter", sizes.effective, sizes, about)
    about = "outside of the frame, taken as the nominal size"
    yield _size("frame_diameter", sizes.brief.driver, sizes, about, given=True)
    yield _size("cutout_diameter", sizes.cutout, sizes, "0.9 x nominal")
    about = "0.2 x effective; from the cone's rim to its neck"
    yield _size("cone_depth", sizes.depth, sizes, about)
    cap, dome = (written(size, unit) for size in (sizes.dust_cap, sizes.dust_dome))
    if not sizes.brief.coaxial:
        value = f"{{ diameter = {cap}, height = {dome} }}"
        yield _line("dust_cap", value, "0.33 x effective, dome 0.25 x its own")
    yield _size("proud", sizes.proud, sizes, "0.02 x nominal; frame or gasket above the baffle")
    yield _line("recess", 0, "cone rim below the baffle")
    yield _size("excursion", sizes.excursion, sizes, "0.03 x nominal; peak travel, one way")
    yield '# moving_mass = "9 g"  # published, with its air (Mms): what the air in the gap takes'
    yield "# sensitivity_db = 88  # published, 1 W at 1 m: `roundcast seat` tells how loud it gets"
    if sizes.brief.coaxial:
        yield _line("crossover", CROSSOVER, "low pass")
    yield f'# lets_go = {{ above = "3 kHz", down_to = {cap} }}  # a cone that lets go in the treble'
    yield '# curve = "my_driver.txt"  # measured curve: Hz, dB, optional phase'


def _tweeter(sizes: Sizes) -> Iterator[str]:
    lines = (
        _size("dome_diameter", sizes.dome, sizes, "0.2 x the driver's effective diameter"),
        _size("dome_height", sizes.dome_height, sizes, "0.2 x its diameter"),
        _size("face_height", sizes.proud, sizes, "the dome's edge above the baffle"),
        _size("housing_diameter", sizes.pod, sizes, "0.3 x the driver's effective diameter"),
        _line("crossover", CROSSOVER, "high pass; the driver takes a low pass"),
    )
    if sizes.brief.coaxial:
        yield "[tweeter]"
        yield from lines
        yield '# polarity = "reversed"  # wired the other way round'
        yield '# delay = "0.05 ms"  # of this way, or below [driver]: `roundcast spread` finds both'
    else:
        yield "# [tweeter]  # of a coaxial driver: a dome on a pod, in place of the dust cap"
        yield from (f"# {line}" for line in lines)


def _top(sizes: Sizes) -> Iterator[str]:
    brief, usual = sizes.brief, sizes.usual
    yield "[reflector]"
    yield 'kind = "ball"'
    about = "measured three ways it is [a, b, c], and the mean is taken"
    yield _size("ball_diameter", brief.ball, sizes, about, given=True)
    about = "flat side 1.5 x effective, if ball, gap and posts leave room"
    yield _size("keep", sizes.keep, sizes, about)
    yield ""
    yield "[plate]"
    yield _size("diameter", sizes.plate, sizes, "as wide as the baffle")
    yield _size("thickness", sizes.board, sizes, "as the boards")
    yield _size("edge_radius", usual.plate_edge, sizes, "rounding of both edges")
    yield ""
    yield "[posts]"
    yield _line("count", sizes.posts, "how many", given=brief.post_count is not None)
    given = brief.post_diameter is not None
    yield _size("diameter", sizes.post, sizes, "how thick" if given else "0.045 x nominal",
                given=given)  # fmt: skip
    yield _size("circle_diameter", sizes.circle, sizes, "well inside the baffle's edge")
    socket = min(usual.socket, sizes.floored(2 / 3 * sizes.board))
    yield _size("socket_plate", socket, sizes, "how deep they enter the plate")
    yield _size("socket_baffle", socket, sizes, "how deep they enter the baffle")
    longest = written(sizes.raised(sizes.most_gap + 2.0 * socket), brief.unit)
    yield f"# longest = {longest}  # post that the rods at hand give: no larger gap is tried"


def _rest(sizes: Sizes) -> Iterator[str]:
    unit, usual = sizes.brief.unit, sizes.usual
    sitting, standing, away = (
        written(size, unit) for size in (usual.sitting, usual.standing, usual.away)
    )
    keeps = (sizes.first_keep, sizes.tallest_keep, sizes.keep_step)
    first, last, step = (written(size, unit) for size in keeps)
    balls = "[4, 5, 6, 7, 8]" if unit == "in" else '["100 mm", "150 mm", "180 mm", "200 mm"]'
    gaps = (sizes.least_gap, sizes.most_gap, sizes.gap_step)
    least, most, gap_step = (written(size, unit) for size in gaps)
    values = {
        "sitting": sitting,
        "standing": standing,
        "away": away,
        "keeps": f"{{ from = {first}, to = {last}, step = {step} }}",
        "balls": balls,
        "least": least,
        "most": most,
        "step": gap_step,
        "cone": written(sizes.cone, unit),
    }
    yield _REST.format_map(values).rstrip("\n")


_REST = """\
# [walls]           # what surfaces take of the sound; left out, hard with the air's own friction
# reflector = "bare foam"  # or painted wood, bare plywood, sealed foam, cork, carpet, felt 5 mm
# plate = "painted wood"   # suggested values: common practice, no source
# cone = {{ admittance = 0.03 }}                   # above lets_go only; 0.006 to 0.05 are possible
# felt_on_baffle = {{ material = "felt 5 mm" }}    # a ring from the frame to the edge
# losses = "none"          # no losses at all: sharper peaks than any meter shows

[air]
temperature = 20   # guess: degrees Celsius
humidity = 50      # guess: per cent

[[seats]]
name = "sofa"
ear_height = {sitting}  # guess: 1.0 to 1.1 m (42 in) for people who sit
distance = {away}     # guess: from the speaker's axis

[[seats]]
name = "standing"
ear_height = {standing}   # guess
distance = {away}     # guess

# [room]               # for `roundcast seat`; left out, floor and a ceiling of 2.5 m
# apart = "2.2 m"      # of a pair of columns: what differs off the middle seat, the first above

[target]
# window = [0, 20]     # elevations that count, degrees; left out, it follows from the seats
band = ["100 Hz", "16 kHz"]  # guess
wanted_tilt = 0        # guess: dB per octave
near_best_db = 0.3     # guess: candidates this close to the best count as equally good

[trim]
keep = {keeps}  # guess: up to what ball, gap and posts leave room for
# balls_on_sale = {balls}
hold = "nothing"       # every keep at its own gap; or "plate gap", "tip clearance"

[gap]
from = {least}  # guess: just above the tip
to = {most}     # guess
step = {step}   # guess

[[contest]]
name = "cone"          # chooses slope and base; with hold = "sizes" it stays as it is here
# guess: as wide as the moving part, or as tall as the gap leaves room for
reflector = {{ kind = "cone", base_diameter = {cone}, half_angle = 45 }}  # guess

[[contest]]
name = "bare top plate"
reflector = {{ kind = "none" }}
"""
