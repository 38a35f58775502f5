"""How big a gap to leave."""

from __future__ import annotations

from shapes.lengths import in_own
from studies.answer.charts.sweeps import ladder_figure, sweep_map_figure
from studies.answer.picture import (
    Picture,
    Pictures,
    choosing_picture,
    coverage_picture,
    ladder_of,
    section_picture,
    window_levels,
)
from studies.questions.gap.study import GapStudy


def gap_pictures(study: GapStudy) -> Pictures:
    """Draw how big a gap to leave."""
    design, best, present = study.design, study.best, study.design.tables.plate_gap * 1e3
    title = f"{design.title}: gap {in_own(best.plate_gap)}"
    sizes = [choice.plate_gap * 1e3 for choice in study.choices]
    rows = [choice.row for choice in study.choices]
    limits = [study.plate_limit_hz(choice) for choice in study.choices]
    scores = ladder_figure(
        f"{design.title}: score by plate gap",
        [ladder_of("", sizes, rows, rows)],
        "plate gap",
        (best.plate_gap * 1e3, best.row.score),
        study.near_best.within_db,
        [(one.low * 1e3, one.high * 1e3) for one in (study.near_best, *study.islands)],
        present,
    )
    sweep = sweep_map_figure(
        f"{design.title}: plate gap swept",
        sizes,
        "plate gap",
        best.row.coverage.centres,
        window_levels(rows, best.row),
        present,
        {"one wave up to here (c / 2H)": limits},
        best.plate_gap * 1e3,
    )
    return {
        "score": Picture(
            scores, "Every plate gap that was tried; lower is better, shaded: nearly as good."
        ),
        "section": section_picture(best.row.assembly, title, design),
        "sweep": Picture(sweep, "How peaks and dips move as the plate goes up."),
        "coverage": coverage_picture(title, study.whole),
        "choosing": choosing_picture(design, rows, best.row),
    }
