"""Where the installed command begins: signals are answered before anything else is loaded."""

from studies.signals import run_answering


def enter() -> None:
    """Run the command `roundcast`."""
    run_answering(_command)


def _command() -> None:
    from studies.cli import main

    main(prog_name="roundcast")
