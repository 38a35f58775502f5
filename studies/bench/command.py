"""`roundcast bench`: its options."""

from __future__ import annotations

from pathlib import Path

import click

from studies.answer.command_options import example, ledger_option, no_ledger_option, workers_option
from studies.solving.options import SolverOptions


@click.command(epilog=example("bench mine.toml"))
@click.argument("path", metavar="[DESIGN]", required=False, type=click.Path(path_type=Path))
@click.option("--no-open", is_flag=True, help="Print the address only; open no browser.")
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=0,
    metavar="N",
    help="On this machine. [default: any that is free]",
)
@click.option(
    "--allow-outside",
    is_flag=True,
    help="Let the design name files outside of its own folder: for files that you trust.",
)
@workers_option
@ledger_option
@no_ledger_option
def bench(
    path: Path | None,
    no_open: bool,
    port: int,
    allow_outside: bool,
    workers: int | None,
    ledger: Path,
    no_ledger: bool,
) -> None:
    """Ask everything on a page in your browser.

    Without a design it begins with three sizes: driver, ball and gap. The page shows the section
    and the answer as you change a size, and asks every question of the other commands, with the
    same files. It runs on this machine only and nobody else can reach it; designs and answers lie
    in the folder of the design, or in the current one.
    """
    from studies.bench.serving import serve

    serve(
        path,
        SolverOptions(workers=workers, ledger=ledger, no_ledger=no_ledger, yes=True),
        port=port,
        open_page=not no_open,
        allow_outside=allow_outside,
        say=click.echo,
    )
