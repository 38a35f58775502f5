"""`roundcast draft`, `examples` and `schema`: to begin with."""

from __future__ import annotations

from pathlib import Path

import click

from studies.answer.command_options import as_metres, example

SCHEMAS = ("design", "results", "directivity")
"""What `studies.answer.schemas` describes; a test holds them against it."""
EXAMPLE_FILES = (".toml", ".txt", ".csv")


@click.command(epilog=example("draft --driver 130mm --ball 180mm --gap 60mm --to mine.toml"))
@click.option(
    "--driver",
    callback=as_metres,
    metavar="LENGTH",
    required=True,
    help='Nominal diameter, such as "130mm" or "5 1/8 in".',
)
@click.option("--ball", callback=as_metres, required=True, help="Diameter of the ball to cut.")
@click.option(
    "--gap",
    callback=as_metres,
    metavar="LENGTH",
    required=True,
    help="From the baffle to the underside of the top plate.",
)
@click.option(
    "--column",
    callback=as_metres,
    metavar="LENGTH",
    help="Outside width of the column. [default: fits the driver]",
)
@click.option(
    "--height",
    callback=as_metres,
    metavar="LENGTH",
    help="From the floor to the baffle. [default: 900 mm]",
)
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
def draft(
    driver: float,
    ball: float,
    gap: float,
    column: float | None,
    height: float | None,
    title: str | None,
    to: Path,
    force: bool,
) -> None:
    """Write a first design file from the few numbers you have."""
    from studies.questions.draft.study import draft_design, write_draft

    text = draft_design(driver, ball, gap, column_width=column, column_height=height, title=title)
    write_draft(to, text, overwrite=force)
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

    from studies.answer.exports import make_folder, write_files

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
                click.echo(f"{target}")
        make_folder(folder / part)
        write_files(folder / part, new)


@click.command(epilog=example("schema > design.schema.json"))
@click.argument("what", type=click.Choice(SCHEMAS), default=SCHEMAS[0])
def schema(what: str) -> None:
    """Print a JSON Schema: of design files, for editors, unless you name another.

    results is the JSON document that every command writes; directivity is that of `roundcast
    export`.
    """
    from studies.answer.schemas import schema_text

    click.echo(schema_text(what), nl=False)
