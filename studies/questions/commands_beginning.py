"""To begin with: a first file, examples, the section, the schema."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from studies.commands.options import example, metres, output_options

SCHEMAS = ("design", "results", "directivity")
"""What `studies.formats.schemas` describes; a test holds them against it."""

EXAMPLE_FILES = (".toml", ".txt", ".csv")


@click.command(epilog=example("draft --driver 130mm --ball 180mm --gap 60mm --to mine.toml"))
@click.option("--driver", required=True, help='Nominal diameter, such as "130mm" or "5 1/8 in".')
@click.option("--ball", required=True, help="Diameter of the ball to cut.")
@click.option("--gap", required=True, help="From the baffle to the underside of the top plate.")
@click.option("--column", help="Outside width of the column. [default: fits the driver]")
@click.option("--height", help="From the floor to the baffle. [default: 900 mm]")
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
def draft(to: Path, force: bool, title: str | None, **lengths: str | None) -> None:
    """Write a first design file from the few numbers you have."""
    from studies.draft import draft_design, write_draft
    from studies.exports import write_text

    sizes = {option: metres(option, text) for option, text in lengths.items() if text is not None}
    named = {"column": "column_width", "height": "column_height"}
    extra = {named[option]: sizes[option] for option in named if option in sizes}
    text = draft_design(sizes["driver"], sizes["ball"], sizes["gap"], title=title, **extra)
    if force:
        write_text(to, text)
    else:
        write_draft(to, text)
    click.echo(
        f"Wrote {to}. Every guess in it says so: measure, and put it right.\n"
        f"Then ask: roundcast section {to}, roundcast trim {to}"
    )


@click.command(epilog=example("examples my-examples"))
@click.argument("folder", type=click.Path(path_type=Path), default=Path("roundcast-examples"))
def examples(folder: Path) -> None:
    """Copy the example designs, and invented measurements to go with one, into a folder.

    Files that exist are left alone.
    """
    from importlib import resources

    from studies.exports import make_folder, write_files

    installed = resources.files("studies.examples")
    for part, room in ((Path(), installed), (Path("measured"), installed / "measured")):
        here = sorted(room.iterdir(), key=lambda file: file.name)
        new = {}
        for file in here:
            target = folder / part / file.name
            if not file.name.endswith(EXAMPLE_FILES):
                continue
            if target.exists():
                click.echo(f"{target} exists already: left alone")
            else:
                new[file.name] = file.read_bytes()
                click.echo(f"{target}")
        make_folder(folder / part)
        write_files(folder / part, new)


@click.command(epilog=example("section mine.toml"))
@output_options
def section(**given: Any) -> None:
    """Draw the section, its three gaps and all clearances.

    Solves nothing, so it comes at once.
    """
    from studies.running import answer

    answer("section", **given)


@click.command(epilog=example("schema > design.schema.json"))
@click.argument("what", type=click.Choice(SCHEMAS), default=SCHEMAS[0])
def schema(what: str) -> None:
    """Print a JSON Schema: of design files, for editors, unless you name another.

    results is the JSON document that every command writes; directivity is that of `roundcast
    export`.
    """
    from studies.formats.schemas import schema_text

    click.echo(schema_text(what), nl=False)
