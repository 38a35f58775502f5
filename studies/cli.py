"""The command `roundcast`: parse, call, print. No physics, no geometry.

Whatever is heavy to import is imported inside the command that needs it, so that help comes at
once.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import Any, NoReturn

import click

METHODS = ("waves", "edges", "rays", "images")
"""Names in `dispersion.solvers.SOLVERS`; a test holds them against it."""
PAPERS = ("a4", "letter", "a3", "tabloid", "a2", "none")
"""Names in `studies.shed.paper.PAPERS`; a test holds them against it."""
USER_MISTAKE, FAULT, INTERRUPTED = 2, 1, 130
OWN_PACKAGES = ("shapes", "dispersion", "studies")


class _Refusal(click.ClickException):
    """A mistake of the user, told in one message."""

    exit_code = USER_MISTAKE


class _Fault(click.ClickException):
    """A mistake of the program, told without a traceback."""

    exit_code = FAULT


class _PlainSpoken(click.Group):
    """Tells every error in words: no traceback unless --debug asks for one."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Commands in the order of the work."""
        return list(self.commands)

    def invoke(self, ctx: click.Context) -> Any:
        """Run, and turn what goes wrong into words and an exit status."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            click.echo("\nInterrupted. No half-written file is left.", err=True)
            ctx.exit(INTERRUPTED)
        except (click.ClickException, click.exceptions.Exit, click.Abort, BrokenPipeError):
            raise
        except Exception as error:
            if ctx.params.get("debug"):
                raise
            _tell(error)


def _tell(error: Exception) -> NoReturn:
    if isinstance(error, OSError):
        raise _Refusal(str(error)) from error
    ours = type(error).__module__.partition(".")[0] in OWN_PACKAGES
    if ours and isinstance(error, ValueError):
        raise _Refusal(str(error)) from error
    raise _Fault(
        f"this is a fault in roundcast, not in your design ({type(error).__name__}: {error})."
        " No half-written file is left. To see where it happened: roundcast --debug ..."
    ) from error


def _print_version(ctx: click.Context, option: click.Parameter, asked: bool) -> None:
    """Show the version and exit."""
    if asked:
        from studies.release import version

        click.echo(f"roundcast {version()}")
        ctx.exit()


@click.group(
    "roundcast", cls=_PlainSpoken, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print_version,
    help="Show the version and exit.",
)
@click.option("--debug", is_flag=True, hidden=True)
def main(debug: bool) -> None:
    """Choose the reflector of a loudspeaker that radiates all round.

    A driver faces up; above it a ball cap, cone or curve hangs under a top plate. Describe it in
    a short file, and ask. No file yet? Begin with `roundcast draft` or `roundcast examples`.
    """


def _output_options(command: Callable[..., None]) -> Callable[..., None]:
    """Options of every command that answers a question about a design."""
    options = (
        click.argument("path", metavar="DESIGN", type=click.Path(path_type=Path)),
        click.option(
            "--out",
            type=click.Path(path_type=Path),
            metavar="DIR",
            help="Folder for the report (HTML), tables (CSV), data (JSON) and pictures (PNG, SVG)."
            " [default: named after the design and the command, in the current folder]",
        ),
        click.option(
            "--json", "as_json", is_flag=True, help="Print one JSON document in place of tables."
        ),
        click.option(
            "--dated",
            is_flag=True,
            help="Put today's date on the report; without it the same input gives the same bytes.",
        ),
    )
    return _with_options(command, options)


_workers_option = click.option(
    "--workers",
    type=click.IntRange(min=1),
    metavar="N",
    help="Threads; the result is the same for any number. [default: all processors]",
)
_per_band_option = click.option(
    "--per-band",
    type=click.IntRange(min=4, max=96),
    metavar="N",
    help="Frequencies in each third-octave band, 4 or more; trim and gap solve their"
    " leaders at 12 or more in any case. [default: trim, gap,"
    " explore and posts 4, trust 8, others 12]",
)


_finer_option = click.option(
    "--finer",
    type=click.FloatRange(min=1.0, max=4.0),
    default=1.0,
    metavar="FACTOR",
    help="Mesh of the wave solver this many times finer, as a proof that the mesh does not decide.",
)


_ledger_option = click.option(
    "--ledger",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    envvar="ROUNDCAST_LEDGER",
    default=lambda: Path(click.get_app_dir("roundcast"), "ledger.sqlite"),
    help="Where finished solves are kept and found again, so that a run that was stopped goes on"
    " where it was. [default: a file among your programs' data, see `roundcast ledger`]",
)


def _solver_options(command: Callable[..., None]) -> Callable[..., None]:
    """Options of every command that solves something."""
    options = (
        _workers_option,
        _per_band_option,
        click.option(
            "--method",
            type=click.Choice(METHODS),
            default=METHODS[0],
            help="How to solve; `roundcast trust` tells how far each method can be believed.",
        ),
        _finer_option,
        _ledger_option,
        click.option(
            "--no-ledger", is_flag=True, help="Look nothing up and keep nothing in the ledger."
        ),
    )
    return _with_options(command, options)


def _with_options(command: Callable[..., None], options: tuple[Any, ...]) -> Callable[..., None]:
    return functools.reduce(lambda made, option: option(made), reversed(options), command)


@main.command()
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

    sizes = {option: _metres(option, text) for option, text in lengths.items() if text is not None}
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


def _metres(option: str, text: str) -> float:
    from shapes.lengths import LengthError, parse_length

    try:
        return parse_length(text)
    except LengthError as error:
        raise _Refusal(f"--{option}: {error}") from error


@main.command()
@_output_options
def section(**given: Any) -> None:
    """Draw the section, its three gaps and all clearances.

    Solves nothing, so it comes at once.
    """
    from studies.running import answer

    answer("section", **given)


@main.command()
@_output_options
@_solver_options
def spread(**given: Any) -> None:
    """Where the sound of this design goes.

    Level by elevation and third octave, and the curve at each seat.
    """
    from studies.running import answer

    answer("spread", **given)


@main.command()
@_output_options
@_solver_options
def trim(**given: Any) -> None:
    """How much of the ball to keep, and how to shave it.

    Tries every height, and every ball on sale where the file lists several.
    """
    from studies.running import answer

    answer("trim", **given)


@main.command()
@_output_options
@_solver_options
def contest(**given: Any) -> None:
    """Cone or dome or a curve of your own.

    Same column, same driver, same scale, absolute level.
    """
    from studies.running import answer

    answer("contest", **given)


@main.command()
@_output_options
@_solver_options
def gap(**given: Any) -> None:
    """How big a gap between baffle and top plate.

    Sweeps it: notches, choking, a recommended gap and the post length that follows.
    """
    from studies.running import answer

    answer("gap", **given)


@main.command()
@_output_options
@_solver_options
@click.option(
    "--samples",
    type=int,
    default=32,
    show_default=True,
    metavar="N",
    help="Speakers of the batch, a power of two.",
)
@click.option(
    "--batch-per-band",
    type=click.IntRange(min=4, max=96),
    default=12,
    show_default=True,
    metavar="N",
    help="Frequencies in a third octave for the batch; 4 is quicker, and can be off by tenths.",
)
def tolerance(**given: Any) -> None:
    """What a millimetre costs.

    Every size moved a little, alone and all at once: which one to watch, and how much a batch of
    speakers differs.
    """
    from studies.running import answer

    answer("tolerance", **given)


@main.command()
@_output_options
@_solver_options
def explore(**given: Any) -> None:
    """Walk through two sizes at once with sliders.

    Solves up to 200 pairs (keep by plate gap, half angle by plate gap) and writes one page that
    works without a network.
    """
    from studies.running import answer

    answer("explore", **given)


@main.command()
@_output_options
@click.option(
    "--paper",
    "papers",
    type=click.Choice(PAPERS),
    multiple=True,
    help="Paper of the sheets, may be repeated; none makes outlines and solids only."
    " [default: a4 and letter]",
)
def cut(papers: tuple[str, ...], **given: Any) -> None:
    """Print what goes to the shed, at true scale.

    Trim card, templates, drill plan, gap gauge and lists for A4 and Letter; STL, 3MF, DXF and SVG
    of the reflector, GLB of the whole.
    """
    from studies.running import answer

    answer("cut", papers=[name for name in papers or PAPERS[:2] if name != "none"], **given)


@main.command("slice")
@_output_options
@click.option(
    "--at",
    multiple=True,
    metavar="FREQUENCY",
    help='Such as "2 kHz"; may be repeated. [default: 500 Hz, 2 kHz and 8 kHz]',
)
@_workers_option
@_finer_option
def slice_(at: tuple[str, ...], **given: Any) -> None:
    """Show the wave inside and round the ring.

    The pressure in a slice through the axis, still and as a looping animation.
    """
    from studies.running import answer

    answer("slice", at=[_hertz(text) for text in at], **given)


def _hertz(text: str) -> float:
    from shapes.lengths import LengthError, parse_frequency

    try:
        return parse_frequency(text)
    except LengthError as error:
        raise _Refusal(f"--at: {error}") from error


@main.command()
@_output_options
@_workers_option
@click.option(
    "--rays",
    type=int,
    default=2**19,
    show_default=True,
    metavar="N",
    help="Rays that are counted.",
)
@click.option("--shift", help="Reflector and plate off the axis, towards the first post: 3mm.")
@click.option(
    "--tilt",
    type=click.FloatRange(-30.0, 30.0),
    default=0.0,
    metavar="DEG",
    help="Reflector and plate askew, down on the side of the first post.",
)
@click.option(
    "--stl",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A reflector of any form in place of the design's: watertight, its base at z = 0, its tip"
    " hanging down.",
)
@click.option(
    "--stl-unit",
    type=click.Choice(("mm", "cm", "m", "in")),
    default="mm",
    show_default=True,
    help="Unit of the STL file's numbers.",
)
def rays(shift: str | None, **given: Any) -> None:
    """Why the sound goes where it goes.

    Rays through the section, where the energy goes and over which surfaces, and which paths make
    the notches. In the time of a click.
    """
    from studies.running import answer

    answer("rays", shift=0.0 if shift is None else _metres("shift", shift), **given)


@main.command()
@_output_options
@click.option(
    "--also",
    multiple=True,
    metavar='"N x DIAMETER"',
    help='Other posts to hold against, such as "4 x 12mm"; may be repeated.'
    " [default: one more post, and both counts at twice the diameter]",
)
@_per_band_option
def posts(also: tuple[str, ...], **given: Any) -> None:
    """How far the level swings round the column.

    For the posts in the file and for others on the same circle: an estimate.
    """
    from studies.running import answer

    answer("posts", also=[_count_and_diameter(text) for text in also], **given)


def _count_and_diameter(text: str) -> tuple[int, float]:
    count, times, diameter = text.partition("x")
    if not times or not count.strip().isdigit() or int(count) < 1:
        raise _Refusal(f'--also: "{text}" is not posts: write count x diameter, such as "4 x 12mm"')
    return int(count), _metres("also", diameter.strip())


@main.command()
@_output_options
@_per_band_option
@_workers_option
def trust(**given: Any) -> None:
    """How far each quick method can be believed.

    Holds every method against the wave solver, for this design and a spread of caps, cones and
    gaps round it.
    """
    from studies.running import answer

    answer("trust", **given)


@main.command()
@click.argument("folder", type=click.Path(path_type=Path), default=Path("roundcast-examples"))
def examples(folder: Path) -> None:
    """Copy the example designs into a folder.

    Files that exist are left alone.
    """
    from importlib import resources

    from studies.exports import make_folder, write_text

    make_folder(folder)
    installed = sorted(resources.files("studies.examples").iterdir(), key=lambda file: file.name)
    for file in installed:
        if file.name.endswith(".toml"):
            target = folder / file.name
            if target.exists():
                click.echo(f"{target} exists already: left alone")
            else:
                write_text(target, file.read_text(encoding="utf-8"))
                click.echo(f"{target}")


@main.command()
@_ledger_option
@click.option("--prune", is_flag=True, help="Drop the solves of other versions, shrink the file.")
@click.option(
    "--most",
    type=click.IntRange(min=0),
    metavar="MB",
    help="With --prune: drop the least recently used as well until no more than this is left.",
)
def ledger(ledger: Path, prune: bool, most: int | None) -> None:
    """Show how many finished solves are kept, and shrink them.

    Deleting the file does no harm: what is missing is solved again.
    """
    from studies.running import show_ledger

    if most is not None and not prune:
        raise _Refusal("--most goes with --prune")
    show_ledger(ledger, prune, most)


@main.command()
def schema() -> None:
    """Print the JSON Schema of design files, for editors."""
    import json

    from studies.design import design_schema

    click.echo(json.dumps(design_schema(), indent=1))


if __name__ == "__main__":
    main(prog_name="roundcast")
