"""The section on the explorer's page: one lower part, a reflector for every size."""

from __future__ import annotations

from shapes.lengths import in_both
from studies.answer.outlines import (
    Data,
    foot_of,
    half_width,
    lower_outline,
    moving_lines,
    plate_outline,
    posts_outline,
    reflector_outline,
    rounded,
)
from studies.questions.explore.study import Explore


def section_of(found: Explore) -> Data:
    """Outlines in mm, both halves; what hangs is drawn for a plate gap of zero."""
    built = found.design.assembly()
    solids = [row.drawn for row in found.rows if row.drawn is not None]
    return {
        "lower": lower_outline(built),
        "moving": moving_lines(built),
        "reflectors": _reflectors(found),
        "plate": plate_outline(built),
        "posts": posts_outline(built),
        "foot": rounded(foot_of(built) * 1e3),
        "column": rounded(built.column.face.radius * 1e3),
        "half": rounded(1e3 * max(half_width(assembly) for assembly in solids)),
        "top": rounded(
            1e3 * (found.gap.sizes[-1] + (built.plate.thickness if built.plate else 0.0))
        ),
        "names": [in_both(size) for size in found.gap.sizes],
    }


def _reflectors(found: Explore) -> list[Data | None]:
    """Outline of the reflector of every size; None for one that cannot be made."""
    count = len(found.gap.sizes)
    drawn = (found.rows[first].drawn for first in range(0, len(found.rows), count))
    return [None if built is None else reflector_outline(built) for built in drawn]
