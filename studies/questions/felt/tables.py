"""Whether felt pays: the answer in words, every ring tried, what each takes."""

from __future__ import annotations

from dispersion.bands import band_label
from dispersion.sliding import MIDDLE_HZ
from shapes.lengths import in_both
from shapes.parts import FeltBand
from studies.answer import cautions, levels
from studies.answer.columns import (
    REASON,
    SCORE_CAPTION,
    SCORE_COLUMNS,
    band,
    mm,
    number,
    own_length,
    score_cells,
    target_in_words,
    text,
)
from studies.answer.evidence import evidence_of
from studies.answer.judging import judged_table
from studies.answer.standing import behind, gained, verdict_in_words
from studies.answer.table import Fact, Findings, Table, TableColumn, Value
from studies.answer.unbeaten import unbeaten_table
from studies.answer.voiced import filters_table
from studies.design.walls_table import FELT_RESISTIVITY
from studies.questions.felt.felted_file import felted_name
from studies.questions.felt.study import IN_WORDS, NO_FELT, FeltChoice, FeltStudy
from studies.solving.verdicts import compared

AUDIBLE_DB = 0.05
"""Losses that print as 0.1 dB or more are named."""


def felt_tables(study: FeltStudy) -> Findings:
    """Put the answer to "does felt pay?" into words and tables."""
    rows = [choice.row for choice in study.choices]
    shown = [(choice.row.name, choice.row) for choice in study.best_of_each]
    return Findings(
        command="felt",
        design=study.design,
        answer=tuple(_answer(study)),
        facts=_facts(study),
        tables=(
            _rings(study),
            _octaves(study),
            _bands(study),
            *judged_table(study.judged, study.chosen.row),
            unbeaten_table(rows, study.chosen.row),
            filters_table(study.chosen.row, study.design.target),
            levels.band_levels(study.design, shown, "levels", "Levels by third octave"),
            levels.curves(study.design, shown),
            levels.elevations(shown),
        ),
        evidence=evidence_of(rows, _evident(study).row),
        cautions=(cautions.FELT,),
    )


def _evident(study: FeltStudy) -> FeltChoice:
    """What the evidence is about: the best felt, whose walls it names."""
    return study.best_felt or study.bare


def _answer(study: FeltStudy) -> list[str]:
    best = study.best_felt
    if best is None:
        reason = next(choice.row.reason for choice in study.choices if not choice.row.solved)
        return [f"No felt: there is no room for a ring ({reason}).", *target_in_words(study.design)]
    said = [_verdict(study, best), _taken(study, best), *_members(study)]
    least = study.least
    if least is not None and least is not best:
        lead = compared(least.row.score - best.row.score)
        said.append(f"Nearly as good with less felt, {behind(lead)}: {_laid(least)}.")
    others = [choice for choice in study.best_of_each if choice not in (study.bare, best)]
    said += [
        f"Best {IN_WORDS[choice.place]}: {gained(study.gain(choice))},"
        f" {_lost(study, choice)} dB of level lost."
        for choice in others
    ]
    source = (
        "common practice, no source"
        if study.flow_resistivity == FELT_RESISTIVITY
        else "as in the file"
    )
    said.append(
        f"Felt of {study.flow_resistivity:g} Pa s/m2 ({source}), laid on the boards: it also takes"
        " its thickness from the gap."
    )
    if study.pays:
        said.append(
            f"{felted_name(study.design)} is the design with it, a new file that every command"
            " takes: ask trim and gap again, since with felt another keep or gap may be better."
        )
    return [*said, *target_in_words(study.design)]


def _verdict(study: FeltStudy, best: FeltChoice) -> str:
    bare, found = study.bare.row.score, study.gain(best)
    if found.gains:
        return (
            f"Felt pays: {_laid(best)}. The score goes from {bare:.2f} to {best.row.score:.2f} dB"
            f" for the very sizes of the file; {gained(found)}."
        )
    said, sure = f"No felt: the best ring, {_laid(best)},", verdict_in_words(found)
    if found.verdict == "no difference":
        return f"{said} makes no difference ({found.lead_db:+z.2f} dB)."
    if found.told_apart:
        return f"{said} still costs {-found.lead_db:.2f} dB of score, {sure}."
    return f"{said} is not sure to pay: {gained(found)}."


def _members(study: FeltStudy) -> list[str]:
    judged = study.judged
    if judged is None:
        return []
    return [
        f"Judged by {judged.scores.shape[1]} drivers and builds that this file may stand for: the"
        " best ring in each place, and none."
    ]


def _lost(study: FeltStudy, choice: FeltChoice) -> str:
    return f"{round(study.mean_lost_db(choice), 1) + 0.0:.1f}"  # no -0.0


def _taken(study: FeltStudy, choice: FeltChoice) -> str:
    """What felt takes from the level, over the band and by octave."""
    octaves = study.lost_by_octave(choice)
    named = [
        f"{_signed(one.window_db)} dB at {band_label(one.centre)}"
        f" ({_signed(one.power_db)} of the power)"
        for one in octaves
        if max(abs(one.window_db), abs(one.power_db)) >= AUDIBLE_DB
    ]
    by_octave = f" By octave: {', '.join(named)}; a minus is a gain." if named else ""
    return (
        f"It takes {_lost(study, choice)} dB from the level in the window, in the mean"
        f" over the band.{by_octave}{_lifted(study, choice)}"
    )


def _lifted(study: FeltStudy, choice: FeltChoice) -> str:
    """What an equaliser has to do about it."""
    lift, before = (c.row.scorecard.term("boost").measured for c in (choice, study.bare))
    if abs(lift - before) < AUDIBLE_DB:
        return ""
    return (
        f" An equaliser has to lift what lies above {MIDDLE_HZ[1] / 1e3:g} kHz by {lift:.1f} dB in"
        f" the mean, {before:.1f} without felt."
    )


def _signed(db: float) -> str:
    return f"{db:+z.1f}"


def _laid(choice: FeltChoice) -> str:
    """Say where felt lies, how thick, from which diameter to which."""
    built = choice.row.assembly
    rings = [
        f"{board} from {_across(ring)}"
        for board, ring in (
            ("on the baffle", built.baffle_felt),
            ("under the plate", built.plate_felt),
        )
        if ring is not None
    ]
    return f"{in_both(choice.thickness)} thick, {' and '.join(rings)}"


def _across(ring: FeltBand) -> str:
    return f"{in_both(2 * ring.inner)} to {in_both(2 * ring.outer)} across"


def _facts(study: FeltStudy) -> tuple[Fact, ...]:
    best = study.best_felt
    return (
        Fact("pays", study.pays, "whether felt gains, probably at least"),
        Fact("gain_db", study.gain_db, "what the best felt gains over none, dB"),
        Fact("place", best.place if best else None, "where the best felt lies"),
        Fact("thickness_mm", mm(best.thickness) if best else None, "of the best felt, mm"),
        Fact(
            "width_on_baffle_mm",
            mm(best.widths[0]) if best else None,
            "width of its ring on the baffle, mm; 0 for none",
        ),
        Fact(
            "width_under_plate_mm",
            mm(best.widths[1]) if best else None,
            "width of its ring under the plate, mm; 0 for none",
        ),
        Fact(
            "level_lost_db",
            study.mean_lost_db(best) if best else None,
            "what it takes from the mean level in the window, dB",
        ),
        Fact("flow_resistivity", study.flow_resistivity, "of the felt, Pa s/m2"),
    )


def _rings(study: FeltStudy) -> Table:
    columns = (
        text("candidate", "", "name of the candidate", shown=False),
        text("place", "felt on", "where it lies"),
        own_length("thickness_mm", "thick", "of the felt"),
        own_length("width_on_baffle_mm", "baffle", "width of the ring on it, 0 for none"),
        own_length("width_under_plate_mm", "plate", "width of the ring under it, 0 for none"),
        number("level_lost_db", "level\nlost", "of the mean level in the window, dB", 1),
        *SCORE_COLUMNS,
        REASON,
    )
    failed = [choice for choice in study.choices if not choice.row.solved]
    return Table(
        "rings",
        "Every ring tried: the leaders, solved again more finely, then the others",
        columns,
        tuple(_ring(study, choice) for choice in (*study.solved, *failed)),
        f"widths of the rings from frame and reflector outwards; {SCORE_CAPTION}",
        note_key="reason",
        mark_key="score_db",
    )


def _ring(study: FeltStudy, choice: FeltChoice) -> tuple[Value, ...]:
    row, (on_baffle, under_plate) = choice.row, choice.widths
    return (
        row.name,
        choice.place,
        mm(choice.thickness),
        mm(on_baffle),
        mm(under_plate),
        study.mean_lost_db(choice) if row.solved else None,
        *score_cells(row),
        row.reason,
    )


def _octaves(study: FeltStudy) -> Table:
    columns = (
        text("candidate", "", "name of the candidate", shown=False),
        text("place", "felt on", "where it lies"),
        TableColumn("frequency_hz", "octave", "exact centre of the octave, Hz", band_label),
        number("window_lost_db", "window\nlost", "of the window's level, dB", 1),
        number("power_lost_db", "power\nlost", "of the sound power, dB", 1),
    )
    rows = tuple(
        (choice.row.name, choice.place, one.centre, one.window_db, one.power_db)
        for choice in study.best_of_each
        if choice.place != NO_FELT
        for one in study.lost_by_octave(choice)
    )
    return Table(
        "octaves",
        "What the best ring in each place takes, by octave, dB",
        columns,
        rows,
        "a minus is a gain; mean power of the octave's third octaves in the band",
    )


def _bands(study: FeltStudy) -> Table:
    columns = (
        text("candidate", "", "name of the candidate"),
        band(),
        number("window_change_db", "window", "window level with felt less that without, dB"),
        number("power_change_db", "power", "sound power with felt less that without, dB"),
    )
    rows = tuple(
        (choice.row.name, float(centre), float(window), float(power))
        for choice in study.solved
        for centre, window, power in zip(
            choice.row.coverage.centres,
            study.window_change_db(choice),
            study.power_change_db(choice),
            strict=True,
        )
    )
    return Table("changes", "What every ring changes by third octave", columns, rows, scope="data")
