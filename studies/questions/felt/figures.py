"""What felt does, and how much of it is worth while."""

from __future__ import annotations

from shapes.lengths import in_own
from studies.answer.charts.curves import Trace, curves_figure
from studies.answer.charts.sweeps import Ladder, ladder_figure
from studies.answer.picture import (
    Picture,
    Pictures,
    choosing_picture,
    coverage_picture,
    ladder_of,
    section_picture,
)
from studies.questions.felt.study import NO_FELT, PLACES, THICKNESSES, FeltChoice, FeltStudy


def felt_pictures(study: FeltStudy) -> Pictures:
    """Draw what felt does."""
    design, chosen = study.design, study.chosen
    title = f"{design.title}: {chosen.row.name}"
    return {
        "score": _scores(study),
        "section": section_picture(chosen.row.assembly, title, design),
        "changes": _changes(study),
        "coverage": coverage_picture(title, chosen.row),
        "choosing": choosing_picture(design, [c.row for c in study.choices], chosen.row),
    }


def _scores(study: FeltStudy) -> Picture:
    chosen = study.chosen
    figure = ladder_figure(
        f"{study.design.title}: score by felt",
        [
            _ladder(study, place, thick)
            for place in PLACES
            for thick in THICKNESSES[study.design.unit]
        ],
        "width of felt, both rings together",
        (chosen.width * 1e3, chosen.row.score),
        study.design.target.near_best_db,
    )
    return Picture(figure, "Every ring that was tried, from no felt at the left; lower is better.")


def _ladder(study: FeltStudy, place: str, thickness: float) -> Ladder:
    def belongs(choice: FeltChoice) -> bool:
        return choice.place == NO_FELT or (choice.place, choice.thickness) == (place, thickness)

    choices = [choice for choice in study.choices if belongs(choice)]
    name = f"{place}, {in_own(thickness)}"
    among = [choice.row for choice in study.choices]
    return ladder_of(name, [c.width * 1e3 for c in choices], [c.row for c in choices], among)


def _changes(study: FeltStudy) -> Picture:
    traces = [
        Trace(
            f"{choice.place}, {in_own(choice.thickness)}, {in_own(choice.width)} wide",
            choice.row.coverage.centres,
            study.window_change_db(choice),
            by_band=True,
        )
        for choice in study.best_of_each
        if choice.place != NO_FELT
    ]
    figure = curves_figure(
        f"{study.design.title}: what the best ring in each place changes",
        traces
        or [Trace("no ring", study.bare.row.coverage.centres, study.window_change_db(study.bare))],
        "mean of the window, dB re no felt",
        15.0,
    )
    return Picture(figure, "What felt takes from each pitch, and where it fills a dip.")
