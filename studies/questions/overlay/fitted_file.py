"""The design file of a fit: the user's own, its comments kept, with the sizes that were found."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import tomlkit
from tomlkit.items import AoT, Table

from shapes.lengths import in_mm
from studies.design.companions import files_beside, names_beside, rename
from studies.questions.overlay.fitting import Fitted
from studies.questions.overlay.off_axis import SURE, OffAxis

PREFIX = "Fitted: "
"""Begins the title, so that no page of the fitted design passes for one of the old."""


def fitted_name(fitted: Fitted) -> str:
    """Name of the file: never that of the design itself, which may lie in the same folder."""
    return "fitted.toml" if fitted.design.path.name != "fitted.toml" else "fitted_again.toml"


def fitted_files(fitted: Fitted, off_axis: OffAxis | None = None) -> dict[str, bytes]:
    """Write the fitted design as a new design file, with the files that it names beside it."""
    own = fitted_name(fitted)
    beside = names_beside(fitted.design, own)
    text = fitted_text(fitted, beside, off_axis)
    return {**files_beside(fitted.design, beside), own: text.encode("utf-8")}


def fitted_text(
    fitted: Fitted,
    renamed: Mapping[str, str] | None = None,
    off_axis: OffAxis | None = None,
) -> str:
    """Text of the fitted design, which makes the very assembly that was solved.

    Parameters
    ----------
    fitted : Fitted
    renamed : mapping, optional
        New names of the files that the design names.
    off_axis : OffAxis, optional
        How far off the centre it hangs: written as [askew] where that is more than chance.
    """
    document = tomlkit.parse(fitted.fitted.text)
    if not fitted.design.title.startswith(PREFIX):
        document["title"] = PREFIX + fitted.design.title
    rename(document, renamed or {})
    hangs = off_axis is not None and off_axis.there
    if off_axis is not None and hangs:
        document["askew"] = _askew(off_axis)
    document["fit"] = _found(fitted)
    origin = [
        f"# Fitted by roundcast to measurements, from {fitted.design.path.name}: only title"
        f"{', [askew]' * hangs} and these sizes are new."
    ]
    for one in fitted.estimates:
        size = one.parameter
        low, value, high, written = map(size.in_words, (one.low, one.value, one.high, size.written))
        origin.append(f"# {size.name}: {value}, 95 % interval {low} to {high}; was {written}")
    own = fitted_name(fitted)
    origin.append(f'# known = "{own}" in [driver] of another file of this driver takes it over.')
    return "\n".join([*origin, "", tomlkit.dumps(document)])


def _askew(off_axis: OffAxis) -> Table:
    """How it hangs as the table that a design has for it."""
    table = tomlkit.table()
    table.comment(f"found from azimuths, to within {in_mm(SURE * off_axis.uncertainty, 2)}")
    table["shift"] = in_mm(off_axis.shift, 2)
    table["towards"] = round(off_axis.towards_deg) % 360
    return table


def _found(fitted: Fitted) -> AoT:
    """What was found as tables that `known` reads: mm, Hz, degrees or per cent."""
    deviation = np.sqrt(np.diag(fitted.covariance))
    correlations = fitted.covariance / np.outer(deviation, deviation)
    listed = tomlkit.aot()
    for one, own, row in zip(fitted.estimates, deviation, correlations, strict=True):
        size, table = one.parameter, tomlkit.table()
        prior = size.prior if size.octaves else size.in_print(size.prior)
        table["size"] = size.name
        table["written"] = float(size.in_print(size.written))
        table["found"] = float(size.in_print(one.value))
        table["deviation"] = round(float(own) * prior, 6)
        table["correlations"] = [round(float(each), 4) for each in row]
        listed.append(table)
    return listed
