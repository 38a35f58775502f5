"""What every millimetre costs, and what a batch of speakers does."""

from __future__ import annotations

from studies.batch import seat_levels_db
from studies.charts import Worry, batch_figure, worries_figure
from studies.pictures.picture import Picture, Pictures
from studies.tables.tolerance_words import ends_in_words, plus_minus
from studies.tolerance import Tolerance

ESTIMATE = "Off-centre and tilt: estimate by rays,\nnot by the wave solver; summed with nothing."


def tolerance_pictures(found: Tolerance) -> Pictures:
    """Draw what every millimetre costs, and what a batch of speakers does."""
    return {"worries": _worries(found), "batch": _batch(found)}


def _worries(found: Tolerance) -> Picture:
    worries = [
        Worry(
            f"{size.dimension.name}, {ends_in_words(size.dimension)}",
            size.minus_db,
            size.plus_db,
            *size.curve_ends_db,
        )
        for size in found.sizes
    ]
    estimates = [
        (f"{case.name}, {plus_minus(case.tolerance, case.unit)}", case.largest_db)
        for case in found.askew
    ]
    title = f"{found.design.title}: what each size costs"
    return Picture(
        worries_figure(title, worries, found.ears, estimates, ESTIMATE),
        "Which size to watch: the longest bars, on either side of its tolerance. What hangs"
        " off-centre or tilted is an estimate by rays and stands apart.",
    )


def _batch(found: Tolerance) -> Picture:
    batch = found.batch
    figure = batch_figure(
        f"{found.design.title}: {len(batch.solved)} speakers, every size off, {found.ears}",
        batch.nominal.coverage.centres,
        seat_levels_db(batch.nominal),
        batch.seat_band_db,
        batch.scores_db,
        batch.nominal.score,
        batch.within_db,
        batch.doubt_db,
    )
    return Picture(
        figure, "How much speakers built to these tolerances differ: nine in ten lie in the band."
    )
