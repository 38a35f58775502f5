"""`roundcast draft`, `examples` and `schema`: to begin with."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from studies.answer.command_options import Refusal, example, metres

SCHEMAS = ("design", "results", "directivity")
"""What `studies.answer.schemas` describes; a test holds them against it."""
EXAMPLE_FILES = (".toml", ".txt", ".csv")


_OPTIONS = {"board_width": "board", "board_thickness": "board", "post_diameter": "posts"}
"""Options in which more than one size is given."""


@dataclass(frozen=True, kw_only=True)
class Brief:
    """What a builder has; None is not known yet (metres).

    Attributes
    ----------
    driver, ball, gap : float
        Nominal diameter of the driver, taken as that of its frame; the ball to cut; baffle to
        underside of the top plate.
    column, height : float, optional
        Outside width, across the flats if there are sides; floor to baffle.
    sides : int, optional
        So many boards; left out, a round column.
    board_width, board_thickness : float, optional
        Outside face of a board; with sides only.
    baffle : float, optional
        Diameter of a round baffle.
    post_count : int, optional
    post_diameter : float, optional
    coaxial : bool
        Whether a tweeter stands in the middle of the cone.
    unit : {"mm", "cm", "m", "in"}
        In which the file is written.
    title : str, optional
    """

    driver: float
    ball: float
    gap: float
    column: float | None = None
    height: float | None = None
    sides: int | None = None
    board_width: float | None = None
    board_thickness: float | None = None
    baffle: float | None = None
    post_count: int | None = None
    post_diameter: float | None = None
    coaxial: bool = False
    unit: str = "mm"
    title: str | None = None


@click.command(epilog=example("draft --driver 130mm --ball 180mm --gap 60mm --to mine.toml"))
@click.option(
    "--driver",
    metavar="LENGTH",
    required=True,
    help='Nominal diameter, such as "130mm" or "5 1/8 in".',
)
@click.option("--ball", metavar="LENGTH", required=True, help="Diameter of the ball to cut.")
@click.option(
    "--gap",
    metavar="LENGTH",
    required=True,
    help="From the baffle to the underside of the top plate.",
)
@click.option(
    "--column",
    metavar="LENGTH",
    help="Outside width of the column. [default: fits the driver]",
)
@click.option(
    "--height",
    metavar="LENGTH",
    help="From the floor to the baffle. [default: 900 mm]",
)
@click.option(
    "--sides", type=click.IntRange(4, 12), help="A column of so many boards. [default: round]"
)
@click.option(
    "--board",
    metavar="WIDTH [x THICKNESS]",
    help='Outside face of each board, such as "4 3/4 x 5/8 in"; with --sides.',
)
@click.option("--baffle", metavar="LENGTH", help="Diameter of a round baffle. [default: as column]")
@click.option(
    "--posts",
    metavar="COUNT [x DIAMETER]",
    help='How many, and how thick, such as 4 or "4 x 7/16 in". [default: 3]',
)
@click.option("--coaxial", is_flag=True, help="A tweeter stands in the middle of the cone.")
@click.option("--title", help="One line that names the design.")
@click.option(
    "--to",
    type=click.Path(path_type=Path),
    default=Path("design.toml"),
    show_default=True,
    metavar="PATH",
    help="File to write.",
)
@click.option("--force", is_flag=True, help="Write over a file that exists.")
def draft(to: Path, force: bool, **given: Any) -> None:
    """Write a first design file from the few numbers you have, in the unit you give them in."""
    from studies.questions.draft.study import draft_design, write_draft

    write_draft(to, draft_design(brief_of(**given)), overwrite=force)
    click.echo(
        f"Wrote {to}. Every guess in it says so: measure, and put it right.\n"
        f"Then ask: roundcast section {to}, roundcast trim {to}"
    )


def brief_of(
    *, board: str | None, posts: str | None, sides: int | None, coaxial: bool, title: str | None,
    **lengths: str | None,
) -> Brief:  # fmt: skip
    """Read what was given; Refusal names the option that cannot be read."""
    from shapes.lengths import unit_of

    if board is not None and sides is None:
        raise Refusal("--board: how many are there? Add --sides 6, say")
    given = {name: text for name, text in lengths.items() if text is not None}
    given |= _board_sizes(board)
    count, _, post = (posts or "").partition("x")
    if post:
        given["post_diameter"] = post.strip()
    if posts is not None and not (count.strip().isdecimal() and 1 <= int(count) <= 24):
        raise Refusal(f'--posts: {posts!r} is no number of posts: write 4 or "4 x 7/16 in"')
    sizes = {name: metres(_OPTIONS.get(name, name), text) for name, text in given.items()}
    units = [unit_of(text) for text in given.values()]
    return Brief(
        **sizes,
        sides=sides,
        post_count=int(count) if posts is not None else None,
        coaxial=coaxial,
        unit=max(units, key=units.count),
        title=title,
    )


def _board_sizes(board: str | None) -> dict[str, str]:
    """Split "4 3/4 x 5/8 in" at its x; a width without a unit takes that of the thickness."""
    if board is None:
        return {}
    width, _, thickness = (part.strip() for part in board.partition("x"))
    if not thickness:
        return {"board_width": width}
    unit = thickness.lstrip("0123456789./- ")
    bare = not width.lstrip("0123456789./- ")
    return {"board_width": f"{width} {unit}" if bare else width, "board_thickness": thickness}


@click.command(epilog=example("examples my-examples"))
@click.argument("folder", type=click.Path(path_type=Path), default=Path("roundcast-examples"))
def examples(folder: Path) -> None:
    """Copy the example designs, and invented measurements to go with one, into a folder.

    Files that exist are left alone.
    """
    from importlib import resources

    from studies.answer.writing import make_folder, write_files

    installed = resources.files("studies.examples")
    for part, source in ((Path(), installed), (Path("measured"), installed / "measured")):
        here = sorted(source.iterdir(), key=lambda file: file.name)
        new = {}
        for file in here:
            target = folder / part / file.name
            if not file.name.endswith(EXAMPLE_FILES):
                continue
            if target.exists():
                click.echo(f"{target} exists already: left alone")
            else:
                new[file.name] = file.read_bytes()
        make_folder(folder / part)
        write_files(folder / part, new)
        for name in new:
            click.echo(f"{folder / part / name}")


@click.command(epilog=example("schema > design.schema.json"))
@click.argument("what", type=click.Choice(SCHEMAS), default=SCHEMAS[0])
def schema(what: str) -> None:
    """Print a JSON Schema: of design files, for editors, unless you name another.

    results is the JSON document that every command writes; directivity is that of `roundcast
    export`.
    """
    from studies.answer.schemas import schema_text

    click.echo(schema_text(what), nl=False)
