"""The section on the explorer's page: one lower part, a reflector for every size."""

from __future__ import annotations

from shapes.assembly import Assembly
from shapes.lengths import in_both
from studies.answer.outlines import (
    Data,
    felt_outline,
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
    by_size = [row.drawn for row in found.rows[:: len(found.gap.sizes)]]
    solids = [row.drawn for row in found.rows if row.drawn is not None]
    return {
        "lower": lower_outline(built),
        "moving": moving_lines(built),
        "felt": None if (felt := built.baffle_felt) is None else felt_outline(felt, hung=False),
        "reflectors": [None if one is None else reflector_outline(one) for one in by_size],
        "hung_felts": [_hung_felt(one) for one in by_size],
        "plate": plate_outline(built),
        "posts": posts_outline(built),
        "foot": rounded(foot_of(built) * 1e3),
        "column": rounded(built.column.face.radius * 1e3),
        "half": rounded(1e3 * max(half_width(assembly) for assembly in solids)),
        "top": rounded(
            1e3 * (found.gap.sizes[-1] + (built.plate.thickness if built.plate else 0.0))
        ),
        "heights": rounded([1e3 * size for size in found.gap.sizes]),
        "names": [in_both(size) for size in found.gap.sizes],
    }


def _hung_felt(built: Assembly | None) -> Data | None:
    """Felt under the plate, which begins where the reflector ends; None where there is none."""
    felt = None if built is None else built.plate_felt
    return None if felt is None else felt_outline(felt, hung=True)
