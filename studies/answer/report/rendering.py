"""HTML pages from templates: one file each, nothing fetched, everything a user wrote escaped."""

from __future__ import annotations

from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from studies.release import version

_TEMPLATES = PackageLoader("studies.pages")


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=_TEMPLATES,
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.globals["verbatim"] = _verbatim
    return environment


def _verbatim(name: str) -> Markup:
    """Text of a file beside the templates, such as a stylesheet, as it stands."""
    return Markup(_TEMPLATES.get_source(_environment(), name)[0])


def render(template: str, **context: Any) -> str:
    """Fill a template of this package.

    Parameters
    ----------
    template : str
        File name in ``templates``.
    **context
        Its variables; `version` is always there. Text is escaped unless it is ``Markup``.

    Returns
    -------
    str
        The same for the same input: no time stamps, no random names.

    Raises
    ------
    jinja2.UndefinedError
        If the template asks for a variable that is not given.
    """
    return _environment().get_template(template).render(version=version(), **context)
