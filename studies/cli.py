"""The command `roundcast`: parse, call, print. No physics, no geometry.

The commands stand in `studies.questions`, that of the page in `studies.bench`. Whatever is heavy to
import is imported inside the command that needs it, so that help comes at once.
"""

from __future__ import annotations

import contextlib
import errno
import functools
import logging
import os
import sys
from typing import Any, NoReturn

import click

from studies.answer.command_options import Refusal
from studies.bench.command import bench
from studies.questions import COMMANDS
from studies.signals import SIGNALS, WORDS, run_answering

FAULT = 1
NO_FILE_YET = "No file yet? `roundcast draft` writes a first one, `roundcast examples` copies some."
OWN_PACKAGES = ("shapes", "dispersion", "studies")


class _Fault(click.ClickException):
    """A mistake of the program, shown without a traceback."""

    exit_code = FAULT


class _PlainSpoken(click.Group):
    """Shows every error in words: no traceback unless --debug asks for one."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Commands in the order of the work."""
        return list(self.commands)

    def invoke(self, ctx: click.Context) -> Any:
        """Run, and turn what goes wrong into words and an exit status."""
        try:
            found = super().invoke(ctx)
            sys.stdout.flush()
            return found
        except BrokenPipeError:  # whoever reads has seen enough, and files come before words
            _forget_standard_output()
            ctx.exit()
        except KeyboardInterrupt:
            _end_interrupted(ctx)
        except click.MissingParameter as error:
            if error.param is None or error.param.human_readable_name != "DESIGN":
                raise
            raise click.MissingParameter(NO_FILE_YET, error.ctx, error.param) from error
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except Exception as error:
            if SIGNALS.came:  # which raises whatever it meets
                _end_interrupted(ctx)
            if ctx.params.get("debug"):
                raise
            _refuse(error)


def _end_interrupted(ctx: click.Context) -> NoReturn:
    with contextlib.suppress(OSError):  # the terminal may be gone
        click.echo(f"\n{WORDS}", err=True)
    ctx.exit(SIGNALS.status)


def _refuse(error: Exception) -> NoReturn:
    """Raise the error's message: a Refusal if the user can mend it, else a fault of the program."""
    if isinstance(error, OSError):
        if error.errno == errno.ENOSPC and error.filename is None:
            _forget_standard_output()
            raise Refusal(f"standard output is full: {error.strerror}") from error
        raise Refusal(str(error)) from error
    ours = type(error).__module__.partition(".")[0] in OWN_PACKAGES
    if ours and isinstance(error, ValueError):
        raise Refusal(str(error)) from error
    raise _Fault(
        f"this is a fault in roundcast, not in your design ({type(error).__name__}: {error})."
        " No half-written file is left. To see where it happened: roundcast --debug ..."
    ) from error


def _forget_standard_output() -> None:
    """Have nothing more written there, at the end of the process neither."""
    with contextlib.suppress(OSError, ValueError):  # of a test, it has no number
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _print_version(ctx: click.Context, option: click.Parameter, asked: bool) -> None:
    """Show the version and exit."""
    if asked:
        from studies.answer.release import version

        click.echo(f"roundcast {version()}")
        ctx.exit()


@click.group(
    "roundcast",
    cls=_PlainSpoken,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Exit status: 0 answered, 2 a mistake in what was given, 1 a fault of the program, 130"
    " interrupted (143 and 129 by SIGTERM and SIGHUP); a second time ends it at once.",
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
    if not debug:
        # Libraries log what we say in our own words, some with a traceback.
        logging.getLogger().addHandler(logging.NullHandler())


for command in (bench, *COMMANDS):
    main.add_command(command)

if __name__ == "__main__":
    run_answering(functools.partial(main, prog_name="roundcast"))
