"""Which version of the program this is."""

from importlib import metadata


def version() -> str:
    """Version of the installed program."""
    try:
        return metadata.version("roundcast")
    except metadata.PackageNotFoundError:
        return "not installed"
