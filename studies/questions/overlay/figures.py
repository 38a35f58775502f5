"""A measurement over the model: every position, what differs where, which size would explain it."""

from __future__ import annotations

import numpy as np

from studies.charts import (
    Laid,
    Moved,
    differences_figure,
    laid_over_figure,
    sizes_off_figure,
)
from studies.overlay import Overlay
from studies.pictures.fitting import fitting_pictures
from studies.pictures.picture import Picture, Pictures

MOST_PANELS = 12


def overlay_pictures(found: Overlay) -> Pictures:
    """Draw whether a measurement bears the model out."""
    pictures = {"positions": _laid_over(found), "differences": _differences(found)}
    if found.tried:
        pictures["sizes"] = _sizes(found)
    return pictures if found.fitted is None else fitting_pictures(found.fitted) | pictures


def _laid_over(found: Overlay) -> Picture:
    held = found.comparison
    above = 20.0 * np.log10(found.distances)[:, None]
    every = [
        Laid(at.name, measured, predicted, compared, float(rms))
        for at, measured, predicted, compared, rms in zip(
            found.positions,
            found.aligned_db + above,
            found.predicted.level_db + above,
            held.compared,
            held.rms_by_position_db,
            strict=True,
        )
    ]
    removed = _removed(found)
    caption = f"Measured, {removed}, over predicted: how well the shapes agree at each position."
    if len(every) > MOST_PANELS:
        order = np.argsort(-np.nan_to_num(held.rms_by_position_db), kind="stable")[:MOST_PANELS]
        every = [every[at] for at in sorted(order)]
        caption += f" The {MOST_PANELS} positions that differ most; the map has them all."
    title = f"{found.design.title}: measured over predicted, {removed}"
    return Picture(laid_over_figure(title, found.measured.centres, every), caption)


def _removed(found: Overlay) -> str:
    return "level and driver curve removed" if found.comparison.driver_removed else "level removed"


def _differences(found: Overlay) -> Picture:
    held = found.comparison
    figure = differences_figure(
        f"{found.design.title}: measured less predicted, {_removed(found)}",
        found.measured.centres,
        [at.name for at in found.positions],
        held.difference_db,
        held.driver_db if held.driver_removed else None,
    )
    return Picture(
        figure,
        "Where measurement and model part: a row that is coloured throughout is a position, a"
        " column a band, to look into.",
    )


def _sizes(found: Overlay) -> Picture:
    names = dict.fromkeys(one.dimension.name for one in found.tried)
    moved = []
    for name in names:
        some = [one for one in found.tried if one.dimension.name == name]
        unit = some[0].dimension.unit
        label = name if unit.symbol == "mm" else f"{name} ({unit.symbol})"
        changes = [one.change / unit.per_symbol for one in some]
        moved.append(Moved(label, changes, [one.rms_db for one in some]))
    figure = sizes_off_figure(
        f"{found.design.title}: what one size off would leave",
        moved,
        found.tried_rms_db,
        found.comparison.expected_db,
        "mm"
        + ", angles in degrees" * any(one.dimension.unit.symbol != "mm" for one in found.tried),
    )
    return Picture(
        figure,
        "A line that dips far below the point as written names a size to measure again; solved at"
        " four frequencies in each third octave.",
    )
