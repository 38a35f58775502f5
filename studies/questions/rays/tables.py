"""Where the driver's energy goes, by rays, and which paths make the notches."""

from __future__ import annotations

import numpy as np

from dispersion.bands import band_label
from dispersion.checks import believed_as_round
from dispersion.paths.scene import CENTRED
from shapes.lengths import in_both
from studies.answer.columns import band, in_words, number, text, window_in_words
from studies.answer.table import Fact, Findings, Table, TableColumn, Value, joined
from studies.questions.rays.study import STEEP_DEG, RayStudy

MOST_HISTORIES = 8


def rays_tables(study: RayStudy) -> Findings:
    """Put the rays of a design into words and tables."""
    return Findings(
        command="rays",
        design=study.design,
        answer=tuple(_answer(study)),
        facts=tuple(_facts(study)),
        tables=(_histories(study), _directions(study), _around(study)),
        evidence=None,
    )


def _answer(study: RayStudy) -> list[str]:
    result = study.result
    order = np.argsort(result.by_history[-1])[::-1][:4]
    shares = ", ".join(
        f"{_spoken(result.histories[i].words)} {100 * result.by_history[-1, i]:.0f} %"
        for i in order
    )
    said = [
        f"At {in_words(result.frequencies[-1])}, of the driver's energy: {shares}.",
        f"Rays mean something above about {in_words(study.meaningful_above_hz)} (common practice,"
        " no source); they know no interference, and nothing that bends round an edge.",
        f"{result.rays} rays, {result.hits} bounces; every ray is accounted for,"
        f" {100 * float(result.trapped.max()):.2g} % still inside after the last bounce.",
    ]
    if study.mounting != CENTRED:
        said.append(
            f"Reflector and plate hang {in_both(study.mounting.dx)} off the axis and"
            f" {np.degrees(study.mounting.tilt):g} deg askew: by rays, without interference;"
            " `roundcast tolerance --askew waves` solves it. The dips below are those of the"
            " centred design."
        )
    said += _corners(study)
    for notch in study.notches:
        said.append(f"A dip of {notch.depth_db:.0f} dB by simple diffraction, {notch.words}.")
    return said


def _corners(study: RayStudy) -> list[str]:
    """What flat sides do above the range in which the wave solver may take them for round."""
    believed = believed_as_round(study.design.assembly(), study.design.air)
    if believed is None:
        return []
    above = max(study.meaningful_above_hz, believed[0])
    swings = [
        f"{np.ptp(level):.1f} dB at {in_words(frequency)}"
        for frequency, level in zip(study.result.frequencies, study.around_db, strict=True)
        if frequency > above
    ]
    said = "A column with sides is traced as it is built, a top plate with sides as a round one."
    if swings:
        said += (
            f" Above {in_words(believed[0])}, where equal area no longer holds in every direction,"
            " by rays the window's level swings round the column, posts included, by"
            f" {joined(swings)} (in steps of 5 degrees; error"
            f" {float(study.around_error_db.max()):.1f} dB)."
        )
    return [said]


def _spoken(words: str) -> str:
    if words in ("straight out", "trapped"):
        return words
    return f"{'after' if words[0].isdigit() else 'off'} {words.replace(', ', ' then ')}"


def _facts(study: RayStudy) -> list[Fact]:
    return [
        Fact("meaningful_above_hz", study.meaningful_above_hz, "below it rays mean nothing, Hz"),
        Fact("rays", study.result.rays, "rays traced"),
        Fact("bounces", study.result.hits, "reflections traced"),
    ]


def _share_columns(study: RayStudy) -> list[TableColumn]:
    return [
        number(
            f"share_{frequency:.0f}_hz_percent",
            band_label(frequency).replace(" ", "\n"),
            f"share of the driver's energy at {frequency:.0f} Hz, per cent",
            1,
        )
        for frequency in study.result.frequencies
    ]


def _histories(study: RayStudy) -> Table:
    result = study.result
    shares, errors = 100.0 * result.by_history, 100.0 * result.history_error
    order = np.argsort(shares.max(axis=0))[::-1]
    shown, others = order[:MOST_HISTORIES], order[MOST_HISTORIES:]
    rows = [
        (result.histories[i].words, *(float(s) for s in shares[:, i]), float(errors[:, i].max()))
        for i in shown
    ]
    if len(others):
        rest = shares[:, others].sum(axis=1)
        rows.append(("all others", *(float(value) for value in rest), None))
    return Table(
        "histories",
        "What the energy met before it left, per cent",
        (
            text("history", "surfaces met, in order", "surfaces met, in order"),
            *_share_columns(study),
            number("error_percent", "error", "largest standard error, per cent", 2),
        ),
        tuple(rows),
    )


def _around(study: RayStudy) -> Table:
    levels = zip(study.result.frequencies, study.around_db, study.around_error_db, strict=True)
    rows = [
        (
            float(frequency),
            float(level.min()),
            float(level.max()),
            float(study.azimuths_deg[int(np.argmin(level))]),
            float(error),
        )
        for frequency, level, error in levels
    ]
    return Table(
        "around",
        "In the window, round the column, dB re the mean of all azimuths",
        (
            band("at"),
            number("lowest_db", "lowest", "lowest level of any 5 degrees of azimuth, dB", 1),
            number("highest_db", "highest", "highest level, dB", 1),
            number("lowest_azimuth_deg", "lowest at, deg", "azimuth of the lowest", 0),
            number("error_db", "error", "standard error of a level, dB", 2),
        ),
        tuple(rows),
        "posts as rods that reflect; azimuth from the first post",
    )


def _directions(study: RayStudy) -> Table:
    zones, window = study.zones, study.design.window_deg
    shares = {
        f"above {window[1]:g} deg": zones.above,
        f"in the window, {window_in_words(window)}": zones.window,
        f"from the window down to {STEEP_DEG:g} deg": zones.low,
        f"below {STEEP_DEG:g} deg": zones.steep,
        "still inside": study.result.trapped,
    }
    rows: list[tuple[Value, ...]] = [
        (name, *(float(100.0 * share) for share in by_frequency))
        for name, by_frequency in shares.items()
    ]
    return Table(
        "directions",
        "Where it goes, per cent",
        (text("direction", "elevation", "range of elevation"), *_share_columns(study)),
        tuple(rows),
    )
