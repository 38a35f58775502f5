"""The measuring plan in sentences: places, limits, readings to take, when to stop cutting."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from dispersion.bands import band_label
from shapes.lengths import across_room, in_both, in_own, in_room_volume
from studies.answer import cautions
from studies.answer.columns import db_range, in_words
from studies.answer.evidence import balance_in_words
from studies.answer.standing import island_in_words
from studies.answer.table import joined
from studies.questions.meter.places import Stand
from studies.questions.meter.prediction import ROOM_MOST_DB
from studies.questions.meter.shaving import Shaving
from studies.questions.meter.stop_rule import StopRule
from studies.questions.meter.study import FIRST_TO_FILL, Meter, fit_option
from studies.solving.leaning import hung_in_words, left_out_in_words
from studies.solving.target import METER_DB
from studies.solving.uncertainty import AVERAGING_S, MODEL_DB

TURNED = (
    "Repeat with the reflector turned by half a post pitch: what turns with the reflector is the"
    " reflector, what stays with the posts is their shade."
)
LEAST_CHANCE = 0.05
"""No chance is said to be nearer to none or to certain: one in two dozen members is 0.04."""
POOR = 0.2
"""Probability of confusing two candidates from which on the readings do not separate them."""


def answer(meter: Meter) -> tuple[str, ...]:
    """Return the plan in sentences, the most important first."""
    return (
        *_first(meter),
        *_selected(meter),
        *_islands(meter),
        *_at_which_gap(meter),
        *stopping(meter),
        *_doubt(meter),
        *_places(meter),
        *_not_round(meter),
        *how_low(meter),
        *room_check(meter),
        *far_enough(meter),
        *(f"Left out, {name}: {reason}." for name, reason in meter.left_out.items()),
    )


def _not_round(meter: Meter) -> Iterator[str]:
    """What posts and [askew] change of the readings that are expected."""
    posts, askew = meter.predicted.posts, meter.predicted.askew
    if posts is not None:
        yield (
            f"Posts are solved ({balance_in_words(posts.balance)}): at the azimuths of the places"
            f" they change what is expected by up to {np.abs(posts.values).max():.1f} dB."
        )
    if askew is None:
        yield from left_out_in_words(meter.design)
        return
    yield (
        f"It hangs {hung_in_words(meter.design)}, which is solved with an axis for each part"
        f" ({balance_in_words(askew.balance)}): that changes what is expected by up to"
        f" {np.abs(askew.values).max():.1f} dB, of every candidate and build alike."
    )


def place_name(stand: Stand) -> str:
    """Name a place by name and elevation: "window's top (+19 deg)"."""
    return f"{stand.position.name} ({stand.elevation_deg:+z.0f} deg)"


def band_range(meter: Meter) -> str:
    """Name the bands that are compared at the reference: "400 Hz to 16 kHz"."""
    bands = meter.compared_centres
    return f"{band_label(bands[0])} to {band_label(bands[-1])}" if bands.size else "no band"


def _selected(meter: Meter) -> Iterator[str]:
    if meter.nothing_hangs:
        yield (
            "Nothing hangs over the driver, so no size is to be found out. These readings tell"
            " which driver this is: `roundcast overlay`, with --fit and the sheet filled in."
        )
        return
    sizes = [in_own(c.size) for c in meter.question.contenders]
    asked = f"The open question: which {meter.question.kind}, {joined(sizes, 'or')}?"
    if not meter.selected:
        yield (
            f"{asked} A meter cannot tell this: with this instrument, room and distance the"
            " candidates differ by less than a reading may be off."
        )
        return
    readings = []
    for reading in meter.selected:
        place, band = meter.place_and_band(reading)
        readings.append(
            f"{band_label(meter.centres[band])} at"
            f" {meter.stands[place].elevation_deg:+z.0f} degrees"
        )
    count = f"{len(readings)} readings tell" if len(readings) > 1 else "One reading tells"
    yield f"{asked} {count} most: {joined(readings)}."
    yield (
        "Chance of taking one for the other once they are read, of a driver that nobody knows:"
        f" {joined(chances(meter))}."
    )
    if meter.largest_confusion > POOR:
        nearer = "" if meter.measuring.gated else "come nearer, go outdoors, borrow a microphone, "
        yield (
            f"Where it is more than 20 % a meter cannot tell: {nearer}place the meter more exactly,"
            " or leave these sizes to what is easier to make."
        )


def _first(meter: Meter) -> Iterator[str]:
    """Which two measurements come before anything else: they find the driver."""
    if not meter.first_hung:
        return
    hung = "as the file has it"
    if meter.question.stops:
        hung = f"under the cap before its first cut, {in_both(meter.question.stops[0].size)}"
    yield (
        "First find your driver, which counts for more than most cuts: read every place over the"
        f" bare column (reflector, plate and posts off), and again {hung}, plate gap"
        f" {in_both(meter.assembly.plate_gap)}, at the same places and with every knob as it was:"
        " between the two all that is not known of driver and amplifier drops out. Where time is"
        " short the reference alone tells nearly as much. Fill in"
        f" {FIRST_TO_FILL}, ask `roundcast overlay` with {fit_option(meter.design)} and that file,"
        ' write known = "fitted.toml" with the path of the file that it made into [driver], and ask'
        " this again: all is then judged by what your driver can be."
    )


def _islands(meter: Meter) -> Iterator[str]:
    """Ranges as good as the best, but apart from it: they are asked about too."""
    apart = meter.question.islands
    if apart:
        yield (
            f"Scores alone leave more than one range of {meter.question.kind} open: apart from that"
            f" round the best also {joined([island_in_words(one) for one in apart])}; the best of"
            " each is among these sizes."
        )


def _at_which_gap(meter: Meter) -> Iterator[str]:
    """That heights are compared at one gap, where trim would give each its own."""
    if meter.question.kind == "keep" and meter.design.moves_plate:
        yield (
            f"Every keep hangs at the plate gap of the file, {in_both(meter.assembly.plate_gap)}: a"
            " meter reads what is built. `roundcast trim` gives each keep a gap of its own: write"
            " the gap that you build into the file (plate_gap) before you ask this."
        )


def chances(meter: Meter) -> list[str]:
    """Name all pairs of candidates with their confusion: "25.0 mm and 28.0 mm 6 %"."""
    sizes = [in_own(contender.size) for contender in meter.question.contenders]
    return [
        f"{sizes[i]} and {sizes[j]} {percent(chance)}" for (i, j), chance in meter.confusion.items()
    ]


def percent(chance: float) -> str:
    """Write a probability: "12 %", "less than 5 %", "more than 95 %"."""
    if chance < LEAST_CHANCE:
        return f"less than {100 * LEAST_CHANCE:.0f} %"
    if chance > 1.0 - LEAST_CHANCE:
        return f"more than {100 * (1.0 - LEAST_CHANCE):.0f} %"
    return f"{100 * chance:.0f} %"


def stopping(meter: Meter) -> tuple[str, ...]:
    """Return when to stop cutting, or that a meter cannot tell it; nothing if nothing is cut."""
    shaving = meter.shaving
    if shaving is None:
        return ()
    first, best = in_both(shaving.stops[0].size), in_both(shaving.stops[-1].size)
    way = f"Shaving from keep {first} to {best}"
    if shaving.rule is None:
        return (f"{way}: {_no_rule(shaving)}; stop by the tape measure.",)
    if not shaving.tells:
        return (
            f"{way}: a meter cannot tell when to stop. The best rule there is would stop within the"
            f" near-best range in {percent(shaving.chance)} of the drivers and builds that this"
            f" file may stand for: stop by the tape measure.",
        )
    return (
        f"{way}: read the reference after every cut and add up {sum_in_words(meter, shaving.rule)}"
        " since the first reading. It is time to stop at the first cut where the sum comes to"
        f" {shaving.rule.threshold_db:g} dB: in {percent(shaving.chance)} of the drivers and builds"
        f" that this file may stand for this stops within the near-best range,"
        f" {_near_best(meter)}.",
        *_too_far(shaving),
    )


def _no_rule(shaving: Shaving) -> str:
    if shaving.good[1:].all():
        return "every stop on the way is near-best, so there is nothing for a meter to tell"
    return "no band at the reference is honest enough to tell when to stop"


def _near_best(meter: Meter) -> str:
    found = meter.question.near_best
    return f"{in_own(found.low)} to {in_own(found.high)}" if found else "the best"


def _too_far(shaving: Shaving) -> tuple[str, ...]:
    if shaving.too_far is None:
        return ()
    low, high = shaving.sum_range_db[:, -1]
    return (
        f"Too much is gone at keep {in_both(shaving.too_far.size)}, where the sum is"
        f" {sum_range(low, high)} dB; foam does not grow back.",
    )


def sum_in_words(meter: Meter, rule: StopRule) -> str:
    """Name what is added up: "how far 1.25k and 1.6k have fallen and 5k has risen"."""
    said = []
    for sign, verb in ((-1, "fallen"), (1, "risen")):
        bands = [
            band_label(meter.centres[band])
            for band, own in sorted(zip(rule.bands, rule.signs, strict=True))
            if own == sign
        ]
        if bands:
            said.append(f"{joined(bands)} {'have' if len(bands) > 1 else 'has'} {verb}")
    return f"how far {joined(said)}"


def in_range(low: float, high: float) -> str:
    """Write what nine of ten drivers and builds show, dB: "+6 to +14", or its middle: "+1.2"."""
    if high - low >= METER_DB:
        return db_range(low, high)
    middle = 0.5 * (low + high)
    return db_range(middle, middle)


def sum_range(low: float, high: float) -> str:
    """Write the range of a sum of changes, dB, as finely as its threshold: "+8.2 to +9.1"."""
    ends = (f"{low:+z.1f}", f"{high:+z.1f}")
    return " to ".join(dict.fromkeys(ends))


def _doubt(meter: Meter) -> Iterator[str]:
    """What nobody knows of driver, build and air does to what is predicted."""
    place, band = meter.widest
    low, high = meter.relative_range_db[:, place, band]
    if high - low < METER_DB:
        return
    yield (
        "Every range is what nine of ten show of 24 drivers and builds that this file may stand"
        f" for. Widest for the design as written: {in_range(low, high)} dB at"
        f" {band_label(meter.centres[band])}, {place_name(meter.stands[place])}."
    )
    if meter.temperature is None:
        yield (
            "The room's temperature counts too, and is taken as anything from 10 to 30 degrees"
            " Celsius: read it, and ask again with --temperature, or write it into [measuring]."
        )
    else:
        yield f"The room is taken as at {meter.temperature:g} degrees Celsius, within 1 K."


def _places(meter: Meter) -> Iterator[str]:
    stand = meter.stands[0]
    yield (
        f"{len(meter.stands)} places, third octaves from {band_range(meter)}. The reference:"
        f" {in_both(stand.position.r)} from the axis, {in_both(stand.position.height)} above the"
        f" floor, {azimuth_words(meter, stand)}."
    )


def azimuth_words(meter: Meter, stand: Stand) -> str:
    """Describe the azimuth of a place: "60 degrees from the first post, between two posts"."""
    azimuth, posts = stand.azimuth_deg, meter.assembly.posts
    if posts is None:
        return f"{azimuth:g} degrees from a mark on the column"
    pitch = 360.0 / posts.count
    share = (azimuth / pitch) % 1.0
    where = "in line with a post" if share == 0.0 else "beside a post"
    if posts.count > 1 and abs(share - 0.5) < 1e-9:
        where = "between two posts"
    return f"{azimuth:g} degrees from the first post, {where}"


def how_low(meter: Meter) -> tuple[str, ...]:
    """Return the lowest frequencies at which a reading is valid, and why."""
    reference, bounce = meter.stands[0], meter.stands[0].first_bounce
    if not meter.measuring.gated:
        return (
            "A level meter with band noise has no gate: floor, ceiling and walls are in every"
            f" reading, the first {bounce.delay * 1e3:.1f} ms after the direct sound, off the"
            f" {bounce.surface}. Only near places and differences mean something. Left out is every"
            " band in which the room as stated may move a difference by more than"
            f" {ROOM_MOST_DB:g} dB.",
        )
    worst = meter.lowest_gate
    return (
        f"The honest lower limit: at the reference the first bounce, off the {bounce.surface},"
        f" comes {bounce.delay * 1e3:.2f} ms after the direct sound. Shut the gate before it: it"
        f" then holds one period of {reference.one_period_hz:.0f} Hz, and nothing below is honest;"
        f" at the worst place, {worst.position.name}, {worst.one_period_hz:.0f} Hz.",
        f"From there up to {in_words(reference.resolved_hz)} (4.3 periods in the gate) a third"
        " octave is narrower than the gate resolves: neighbouring bands run into each other, so"
        " read broad slopes there, not single bands.",
    )


def room_check(meter: Meter) -> tuple[str, ...]:
    """Return what the place twice as far shows of the room; empty where there is no such place."""
    check, measuring = meter.room_check, meter.measuring
    if check is None:
        return ()
    return (
        f"How much is the room: twice as far the level would fall by {-check.free_db:.1f} dB with"
        f" no room at all, and by about {-check.in_room_db:.1f} dB in a room of"
        f" {in_room_volume(measuring.volume)} that dies away in {measuring.reverberation:g} s. If"
        " it falls by less, the room is louder than assumed: come nearer, or go outdoors.",
    )


def far_enough(meter: Meter) -> tuple[str, ...]:
    """Return up to which frequency the pattern is that far away; empty where it is in all bands."""
    limit = meter.whole_pattern_below_hz
    if limit >= meter.centres[-1]:
        return ()
    return (
        f"Far enough? Up to about {in_words(limit)} (c R / D^2) the pattern is at this distance"
        " what it is far away. Above, a reading belongs to its place: it is fair against the"
        " prediction, made for that very point, but is not the level at a seat.",
    )


def order_of_work(meter: Meter) -> tuple[str, ...]:
    """Return what to do, step by step."""
    measuring, reference = meter.measuring, meter.stands[0]
    bands = meter.compared_centres
    lowest = band_label(bands[0]) if bands.size else "the lowest band"
    turning = "on the turntable" if measuring.turntable else "by hand, to marks on the floor"
    noise = (
        f"Play third-octave band noise, one band at a time, and read the mean over"
        f" {AVERAGING_S:g} s (slow, flat or Z weighting). Such a reading is the mean of |p|^2 over"
        " the band, which is what is predicted; pink noise over all bands needs a meter with"
        " filters."
    )
    sweep = (
        f"Sweep from {lowest} upwards, gate before the first bounce"
        f" ({reference.first_bounce.delay * 1e3:.1f} ms at the reference), take third-octave means"
        " of |p|^2; no other smoothing."
    )
    return (
        f"Set the column at least {across_room(measuring.wall)} from walls and large furniture;"
        " mark the"
        f" azimuths on it and turn it {turning}; the meter stays on its stand.",
        "Start very quietly and raise the level until every band is 15 dB over the background (at"
        " 10 dB it still adds 0.4 dB, at 15 dB 0.1 dB); then leave all knobs alone.",
        sweep if measuring.gated else noise,
        "Read the reference first, then the readings that tell most, then the rest.",
        "After every place go back to the reference and read one band: a change of more than"
        f" {max(2 * measuring.repeats_within_db, 0.5):.1f} dB is drift, of the driver, the"
        " amplifier or the meter; begin again.",
        *(() if meter.nothing_hangs else (TURNED,)),
    )


def to_write_down(meter: Meter) -> tuple[str, ...]:
    """Return what to note beside the readings."""
    shape = (
        "ball diameter as measured, keep, base diameter"
        if meter.design.ball is not None
        else "the reflector's base diameter and height as measured"
    )
    gate = "gate, smoothing" if meter.measuring.gated else "weighting, averaging time"
    return (
        f"{shape}; plate gap, at three places; which way up and round",
        "distance from the axis, height above the floor, azimuth: of the microphone's tip",
        f"instrument, {gate}; level setting; background in each band",
        "temperature of the room; what stands in it; date, who",
    )


def how_sure(meter: Meter) -> str:
    """Return what the uncertainties include."""
    measuring = meter.measuring
    room = "" if measuring.gated else ", the room as stated"
    return (
        f"uncertainty: standard deviation of a difference, from the reading"
        f" ({measuring.repeats_within_db:g} dB), the place ({in_own(measuring.placing)} each"
        f" way){room}, driver and build, and the model"
        f" ({MODEL_DB[0]:g} dB, {MODEL_DB[1]:g} dB where the cone is wider than a wave: a"
        " judgement)"
    )


def cautions_of(meter: Meter) -> tuple[str, ...]:
    """Return what to take care of, with the lowest frequency that is worth playing."""
    bands = meter.compared_centres
    lowest = (
        f"Nothing below {band_label(bands[0])} counts here: start there. " if bands.size else ""
    )
    return (lowest + cautions.SAFE_START, *cautions.MEASURING)
