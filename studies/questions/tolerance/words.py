"""What a millimetre costs, in sentences."""

from __future__ import annotations

import numpy as np

from dispersion.bands import band_label
from shapes.lengths import in_own, own_unit
from studies.answer.columns import in_words, target_in_words
from studies.answer.evidence import balance_in_words
from studies.answer.standing import verdict_in_words
from studies.answer.table import joined
from studies.design.moves import Leeway, Unit, step_of_lengths
from studies.questions.tolerance.askew import Askew
from studies.questions.tolerance.batch import Batch
from studies.questions.tolerance.sensitivity import Sensitivity
from studies.questions.tolerance.study import Tolerance
from studies.solving.target import METER_DB, NO_DIFFERENCE_DB

MOST_TOLD = 3
"""Unknowns of the driver that are told in words; the table has all."""
BY_RAYS, SOLVED = "estimate by rays", "solved"


def answer(found: Tolerance) -> list[str]:
    """Answer "what does a millimetre cost?" in sentences, the most important first."""
    return [
        *_driver_in_words(found),
        _worry(found),
        *_other_worries(found),
        *_calm_driver(found),
        *(f"{_name(s)} at an end of its tolerance: {s.reason}." for s in found.sizes if s.reason),
        *_askew_in_words(found),
        *_batch_in_words(found),
        f"Tolerances are those of [tolerance]; what it leaves out is {_left_out(found)}, half a"
        " degree and 5 K, common practice, no source.",
        *target_in_words(found.design),
    ]


def _good_enough(found: Tolerance) -> str:
    """Name the finest tolerance of a length: "1 mm is"; all of them where there is no length."""
    dimensions = [size.dimension for size in found.sizes if size.dimension.unit.symbol == "mm"]
    widths = [dimension.up for dimension in dimensions if dimension.up > 0.0]
    return f"{plus_minus(min(widths), dimensions[0].unit)} is" if widths else "the tolerances are"


def _left_out(found: Tolerance) -> str:
    step = step_of_lengths(found.design.tables)
    return plus_minus(step.size, step)


def _worry(found: Tolerance) -> str:
    first = found.worst
    calm = [size.dimension.name for size in found.harmless]
    if len(calm) == len(found.sizes):
        return (
            f"Nothing here matters: {_good_enough(found)} good enough. Within its tolerance no size"
            f" alone worsens the score by {NO_DIFFERENCE_DB:g} dB or moves a third octave at"
            f" {ears(found)} by {METER_DB:g} dB;"
            f" the most costly, {first.dimension.name}, worsens it by {first.cost_db:.2f} dB."
        )
    if first.cost_db < NO_DIFFERENCE_DB and not first.reason:
        loud = found.loudest
        said = (
            f"No size off within its tolerance worsens the score by {NO_DIFFERENCE_DB:g} dB. What"
            f" shows at {ears(found)} is the {loud.dimension.name}: {_within(loud)} off, the curve"
            f" moves by up to {abs(loud.largest_db):.1f} dB, at {band_label(loud.largest_at_hz)}"
        )
    else:
        said = (
            f"{'In the workshop worry' if _driver_in_words(found) else 'Worry'} most about the"
            f" {first.dimension.name}: {_within(first)} off, {_cost(first)}{_verdict(found)}"
        )
    if not calm:
        return f"{said}; no size can be left to chance."
    return f"{said}; do not worry about {joined(calm)}, which neither score nor meter shows."


def _verdict(found: Tolerance) -> str:
    """How many drivers and builds agree that the most costly size costs something."""
    lead = found.worst_lead
    if lead is None:
        return ""
    if not lead.gains:
        return (
            f"; but over {lead.members} drivers and builds {verdict_in_words(lead)}: what it costs"
            " hangs on the driver"
        )
    return (
        f"; by {lead.lead_db:.2f} dB in the mean of {lead.members} drivers and builds,"
        f" {verdict_in_words(lead)}"
    )


def _within(size: Sensitivity) -> str:
    return plus_minus(max(size.dimension.down, size.dimension.up), size.dimension.unit)


def _other_worries(found: Tolerance) -> list[str]:
    """Sentences on what costs as much as the worst, and on what moves the curve more."""
    said = []
    if found.weather is not None:
        said.append(
            f"No saw mends the {found.weather.dimension.name}: {_within(found.weather)} off,"
            f" {_cost(found.weather)}."
        )
    if found.as_costly and found.worst.cost_db >= NO_DIFFERENCE_DB:
        names = joined([size.dimension.name for size in found.as_costly])
        said.append(
            f"Within {NO_DIFFERENCE_DB:g} dB of that cost, which is no difference: {names}."
        )
    loudest = found.loudest
    if loudest is not found.worst and loudest.matters and found.worst.cost_db >= NO_DIFFERENCE_DB:
        said.append(
            f"The curve at {ears(found)} moves most with the {loudest.dimension.name}:"
            f" {loudest.curve_rms_db:.1f} dB rms over the bands,"
            f" {abs(loudest.largest_db):.1f} dB at {band_label(loudest.largest_at_hz)}."
        )
    return said


def _cost(size: Sensitivity) -> str:
    if np.isnan(size.minus_db) and np.isnan(size.plus_db):
        return "neither end can be built"
    built = "one end cannot be built, and at the other " if size.reason else ""
    return (
        f"{built}the score worsens by up to {size.cost_db:.2f} dB and the curve moves by up to"
        f" {abs(size.largest_db):.1f} dB, at {band_label(size.largest_at_hz)}"
    )


def _name(size: Sensitivity) -> str:
    return size.dimension.name.capitalize()


def ears(found: Tolerance) -> str:
    """Name where the curve is heard: "the main seat (armchair, near)", or "the window"."""
    return f"the main seat ({found.ears})" if found.design.seats else "the window"


def _driver_in_words(found: Tolerance) -> list[str]:
    """What it costs that nobody knows the driver, before what a saw may be off by."""
    telling = [one for one in found.unknowns if one.matters]
    if not telling:
        return []
    said = "; ".join(
        f"{one.dimension.name}, {ends_in_words(one.dimension)}: {_moves(one)}"
        for one in telling[:MOST_TOLD]
    )
    known = found.design.known
    mend = (
        "Measure the driver first: roundcast meter, then overlay --fit, and known in [driver]."
        if known is None
        else f"That is what {known.file} leaves of the doubt."
    )
    return [
        f"First what nobody knows of the driver, each alone, which no saw mends: {said}. {mend}"
        " None of it is in the yield."
    ]


def _calm_driver(found: Tolerance) -> list[str]:
    if not found.unknowns or any(one.matters for one in found.unknowns):
        return []
    return ["Nothing that nobody knows of the driver matters here: neither score nor meter."]


def _moves(one: Sensitivity) -> str:
    worse = f"worse by up to {one.cost_db:.2f} dB" if round(one.cost_db, 2) > 0.0 else "no worse"
    return (
        f"score {worse}, curve off by up to"
        f" {abs(one.largest_db):.1f} dB at {band_label(one.largest_at_hz)}"
    )


def _askew_in_words(found: Tolerance) -> list[str]:
    if not found.askew:
        return [
            "Off-centre and tilt: not told. Rays mean something only above the band asked for, or"
            " there is nothing that can hang askew; --askew waves solves what hangs."
        ]
    sizes = "; ".join(f"{_off(case)} up to {_estimate(case)}" for case in found.askew)
    if all(case.solved for case in found.askew):
        balances = [case.balance for case in found.askew if case.balance is not None]
        return [
            "Off-centre and tilt, solved with an axis for each part (no posts;"
            f" {balance_in_words(*balances)}), summed with nothing else: a seat on the"
            f" worst side gains or loses, {sizes}; lowest to highest round the column,"
            f" {_swings(found)}."
        ]
    return [
        f"Off-centre and tilt, {BY_RAYS} (--askew waves solves them), above"
        f" {in_words(found.meaningful_above_hz)} only and summed with nothing else: a seat on the"
        f" worst side gains or loses, {sizes}. Rays know no interference, so the truth may well be"
        " more."
    ]


def _swings(found: Tolerance) -> str:
    said = []
    for case in found.askew:
        if case.swing_db is not None:
            at = int(np.argmax(case.swing_db))
            said.append(
                f"{case.name} {case.swing_db[at]:.1f} dB at {band_label(case.frequencies[at])}"
            )
    return "; ".join(said)


def askew_by(found: Tolerance) -> str:
    """How off-centre and tilt are told."""
    return SOLVED if all(case.solved for case in found.askew) else BY_RAYS


def _off(case: Askew) -> str:
    return f"{case.name} by {plus_minus(case.tolerance, case.unit)}"


def _estimate(case: Askew) -> str:
    if not case.shows:
        return f"{case.largest_db:.2f} dB, no more than the rays' own scatter"
    return f"{case.largest_db:.2f} dB at {band_label(case.largest_at_hz)}"


def _batch_in_words(found: Tolerance) -> list[str]:
    batch = found.batch
    count, failed = len(batch.speakers), len(batch.speakers) - len(batch.known)
    said = [
        f"Yield: {_passing(batch)} of {count} speakers with every size in the ranking off at once,"
        " each anywhere within its tolerance with equal chance, score no more than"
        f" {batch.within_db:g} dB (near_best_db) worse than the design as written"
        f"{_borne_out(batch)}."
    ]
    if failed:
        said.append(
            f"{failed} of these cannot be built and count as failures; the files give the reasons."
        )
    said.append(_found_in_words(batch))
    if batch.known:
        low, middle, high = batch.score_band_db
        width = batch.seat_width_db
        widest = int(np.argmax(width))
        said.append(
            f"Nine in ten score {low:.2f} to {high:.2f} dB, half below {middle:.2f} dB (as"
            f" written {batch.nominal.score:.2f} dB); at {ears(found)} nine in ten"
            f" lie within {width[widest]:.1f} dB of each other at worst, at"
            f" {band_label(batch.nominal.coverage.centres[widest])}{_of_which(batch, widest)}."
        )
    return said


def _of_which(batch: Batch, at: int) -> str:
    doubt = batch.curve_doubt_db[at]
    if not doubt >= METER_DB:
        return ""
    return f" (where reading puts a level off by up to {doubt:.1f} dB)"


def _found_in_words(batch: Batch) -> str:
    """How levels and scores of the speakers were found, and what that leaves in doubt."""
    settling = batch.nominal.response.settling
    if settling is None:
        return (
            f"Every speaker is solved at {batch.nominal.per_band} frequencies in each third octave,"
            " which may miss narrow resonances: by need (without --per-band) none is missed."
        )
    if not batch.reads:
        return f"Every speaker is solved, each third octave within {settling.within_db:g} dB."
    least, most = (f"{100.0 * share:.0f}" for share in batch.passing_between)
    pass_then = "as many" if least == most else f"{least} to {most} %"
    return (
        f"Speakers are read, each third octave for itself, from the sizes moved one at a time"
        f"{_but_for(batch)}. On {len(batch.throughout)} that were solved throughout this puts a"
        f" score off by up to {batch.doubt_db:.2f} dB: if every score were off by that,"
        f" {pass_then} would pass."
    )


def _passing(batch: Batch) -> str:
    if batch.passing in (0.0, 1.0):
        return "all" if batch.passing else "none"
    return f"{100 * batch.passing:.0f} % (give or take {100 * batch.passing_error:.0f})"


def _borne_out(batch: Batch) -> str:
    """What it means that all or none of N pass: a share s does so once in twenty times, s^N."""
    if batch.passing not in (0.0, 1.0):
        return ""
    surely = 100.0 * 0.05 ** (1.0 / len(batch.speakers))
    share = f"more than {surely:.0f}" if batch.passing else f"less than {100.0 - surely:.0f}"
    return f": which bears out {share} %"


def _but_for(batch: Batch) -> str:
    if not batch.solved.any():
        return ""
    bands = joined([band_label(hz) for hz in batch.nominal.coverage.centres[batch.solved]])
    return (
        f", but for {bands}, where every one is solved: there sizes act on each other, and reading"
        f" is off by {METER_DB:g} dB or more"
    )


def plus_minus(size: float, unit: Unit) -> str:
    """Write a tolerance: "1 mm", "1/32 in", "0.5 deg", "5 K"."""
    if unit.symbol == "mm" and own_unit() == "in":
        return in_own(size)
    return f"{_counted(size, unit)} {unit.symbol}"


def ends_in_words(dimension: Leeway) -> str:
    """Write both ends of a tolerance: "±1 mm", or "-0, +1 mm" where one is cut short."""
    down, up = (plus_minus(size, dimension.unit) for size in (dimension.down, dimension.up))
    if down == up:
        return f"±{up}"
    unit = dimension.unit.symbol
    if down.endswith(f" {unit}") and up.endswith(f" {unit}"):
        down = down.removesuffix(f" {unit}")
    return f"-{down}, +{up}"


def _counted(size: float, unit: Unit) -> str:
    digits = 1 if unit.symbol == "octaves" else 3
    return f"{round(size / unit.per_symbol, digits):g}"
