"""HTML pages from templates: one file each, nothing fetched, all that a user wrote is escaped."""

from __future__ import annotations

from functools import cache
from typing import Any

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from shapes.lengths import unbroken
from studies.answer.release import version

_OWN = "studies.answer.report"


@cache
def environment_of(package: str) -> Environment:
    """Return what renders the templates of a package, and those of the report.

    Text is escaped; a variable that is not given is an error.
    """
    loader = ChoiceLoader([PackageLoader(name) for name in dict.fromkeys((package, _OWN))])
    environment = Environment(
        loader=loader,
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )

    def verbatim(name: str) -> Markup:
        """Text of a file beside the templates, such as a stylesheet, as it stands."""
        return Markup(loader.get_source(environment, name)[0])

    environment.globals["verbatim"] = verbatim
    environment.filters["unbroken"] = unbroken
    return environment


def render(template: str, package: str = _OWN, **context: Any) -> str:
    """Fill a template with values.

    Parameters
    ----------
    template : str
        File name in the folder ``templates`` of the package, or of this one.
    package : str
        Whose template it is.
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
    return environment_of(package).get_template(template).render(version=version(), **context)
