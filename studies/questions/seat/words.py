"""What reaches the seats, in sentences."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from dispersion.bands import band_label
from dispersion.impulse import PERIODS, RATE
from shapes.lengths import across_room, in_both
from studies.answer.columns import in_words
from studies.answer.evidence import balance_in_words
from studies.answer.table import joined
from studies.questions.seat.impulses import WITHIN_DB
from studies.questions.seat.listener import EARLY_S, FLOOR, RUG_HZ, Listener
from studies.questions.seat.shadows import SURE_GAPS
from studies.questions.seat.study import SeatStudy
from studies.solving.leaning import hung_in_words

WHERE_IT_STOPS = (
    "This is no room simulator: it stops at the first bounce off bare, plane surfaces. No second"
    " bounces, no room modes (below a few hundred hertz they rule), no furniture, no decay."
)


CANCELS_DB = 3.0
"""So far below the direct sound alone, direct sound and bounces are said to cancel, dB."""
FAINT_DB = -15.0
"""A bounce so far below the direct sound is not worth a rug: common practice, no source."""


def answer(study: SeatStudy) -> tuple[str, ...]:
    """Say what reaches the seats, the main seat first."""
    main = study.main
    return (
        *_to_do(study, main),
        _arrivals(main),
        _early(study, main),
        *_summed(study, main),
        _ears(study, main),
        _behind(study, main),
        *_shadows(study, main),
        *_floor(study, main),
        *_posts(study),
        *_askew(study),
        *_late(main),
        _impulses(study),
        WHERE_IT_STOPS,
    )


def posture(listener: Listener) -> tuple[str, str]:
    """What the seat is as written, and the other: "sitting" and "standing", or the reverse."""
    return ("standing", "sitting") if listener.standing else ("sitting", "standing")


def _to_do(study: SeatStudy, main: Listener) -> tuple[str, ...]:
    """Say what to lay where: the floor's bounce is the one that is easily taken."""
    rug = study.rug
    if rug is None:
        return ()
    floor = next(one for one in main.bounces if one.path.surface == FLOOR)
    high = study.centres >= RUG_HZ
    re_direct = float(np.mean(main.re_direct_db(floor)[high])) if high.any() else -np.inf
    if re_direct < FAINT_DB:
        return (
            f"Nothing to do about the floor at {main.name}: above {in_words(RUG_HZ)} its bounce is"
            f" {re_direct:+z.0f} dB re the direct sound.",
        )
    return (
        f"To do for {main.name}: a thick rug on the floor, its middle {across_room(rug.middle)}"
        f" from the column's axis towards the seat, {across_room(rug.along)} long and"
        f" {across_room(rug.across)} wide, takes the floor's bounce above some"
        f" {in_words(RUG_HZ)}, which is {re_direct:+z.0f} dB re the direct sound there (the"
        " first Fresnel zone: where the bounce to that ear meets the floor).",
    )


def _arrivals(main: Listener) -> str:
    bounces = [
        f"{one.path.surface} {one.path.delay_ms:.1f} ms later"
        f" ({main.mean_re_direct_db(one):+z.1f} dB)"
        for one in main.bounces
    ]
    return (
        f"At {main.name}: after the direct sound the {joined(bounces)}; levels re the direct sound,"
        " mean along the band."
    )


def _early(study: SeatStudy, main: Listener) -> str:
    early = main.early_to_direct_db
    most, least = int(np.argmax(early)), int(np.argmin(early))
    return (
        f"Together the bounces within {EARLY_S * 1e3:.0f} ms bring {main.early_mean_db:+z.1f} dB re"
        f" the direct sound, from {early[least]:+z.1f} dB at {band_label(study.centres[least])} to"
        f" {early[most]:+z.1f} dB at {band_label(study.centres[most])}: what differs by band"
        " colours the sound even where the direct sound is even."
    )


def _summed(study: SeatStudy, main: Listener) -> tuple[str, ...]:
    """Name the deepest cancellation, if there is one."""
    summed = main.summed_db
    least = int(np.argmin(summed))
    if summed[least] > -CANCELS_DB:
        return ()
    return (
        "Wave by wave, direct sound and first bounces together are weakest in the"
        f" {band_label(study.centres[least])} band, {summed[least]:+z.1f} dB re the direct sound"
        " alone: they cancel there, which no equaliser mends.",
    )


def _ears(study: SeatStudy, main: Listener) -> str:
    _, there = posture(main)
    change = main.ears_change_db
    at = int(np.argmax(np.abs(change)))
    return (
        f"{there.capitalize()} there (ears at {in_both(main.sitter.other_ears)} in place of"
        f" {in_both(main.sitter.seat.ear_height)}): direct sound {change.mean():+z.1f} dB on"
        f" average, {change[at]:+z.1f} dB at {band_label(study.centres[at])}."
    )


def _behind(study: SeatStudy, main: Listener) -> str:
    behind, distance = main.behind_db, study.seating.near_wall
    low, high = int(np.argmin(behind)), int(np.argmax(behind))
    return (
        f"A wall {in_both(distance)} behind the column's axis, against the free room:"
        f" {behind[high]:+z.1f} dB at {band_label(study.centres[high])}, {behind[low]:+z.1f} dB at"
        f" {band_label(study.centres[low])} (a quarter wave is"
        f" {in_both(distance)} at {study.quarter_wave_hz:.0f} Hz)."
    )


def _shadows(study: SeatStudy, main: Listener) -> Iterator[str]:
    """Say what the column makes of the bounces that meet it on their way to the seat."""
    changes = []
    for surface, exact in main.shadows_db.items():
        shadow = np.round(exact, 1) + 0.0  # no -0.0
        least, most = int(np.argmin(shadow)), int(np.argmax(shadow))
        changes.append(
            f"the one off the {surface} by {shadow[least]:+z.1f} dB"
            f" ({band_label(study.centres[least])}) to {shadow[most]:+z.1f} dB"
            f" ({band_label(study.centres[most])})"
        )
    if not changes:
        return
    sure = 1e-3 * SURE_GAPS * study.design.air.speed / study.assembly.plate_gap
    yield (
        f"The column changes bounces that meet it on their way to {main.name}: {joined(changes)};"
        " solved, and counted above, as if each came from one point, sure to about 1 dB up to"
        f" {sure:.0f} kHz, to several above."
    )


def _floor(study: SeatStudy, main: Listener) -> tuple[str, ...]:
    if main.floor is None:
        return ()
    off = main.floor.off_db
    at = int(np.argmax(np.abs(off)))
    verdict = "tells the same" if main.floor.agrees else "does not tell all of it"
    return (
        "Solved exactly on a rigid floor, against direct sound and the floor's bounce:"
        f" {main.floor.rms_db:.2f} dB (rms), at worst {off[at]:+z.2f} dB at"
        f" {band_label(study.centres[at])}; the bounce {verdict}.",
    )


def _posts(study: SeatStudy) -> tuple[str, ...]:
    ripple = study.main.posts
    if ripple is None:
        return ()
    swing = ripple.peak_to_peak_db
    balanced = "" if ripple.balance is None else f", {balance_in_words(ripple.balance)}"
    at = int(np.argmax(swing))
    return (
        f"As the column is turned, its posts (solved{balanced}) make the direct sound at"
        f" {study.main.name} swing by at most {swing[at]:.1f} dB, at"
        f" {band_label(ripple.centres[at])}: {ripple.turn_advice()}",
    )


def _late(main: Listener) -> tuple[str, ...]:
    """Say which band of the direct sound comes most out of step, against what is heard."""
    found = main.delays
    at = found.worst
    if at is None:
        return ()
    late, audible = 1e3 * found.late_s[at], 1e3 * found.audible_s[at]
    heard = "which may be heard" if abs(late) >= audible else "which is not heard"
    return (
        f"In time: the direct sound's {band_label(found.centres[at])} band comes"
        f" {abs(late):.2f} ms {'later' if late > 0 else 'earlier'} than the rest (group delay,"
        f" crossover and driver included; just audible there: {audible:.1f} ms, Blauert and Laws"
        f" 1978 [from memory]), {heard}.",
    )


def _askew(study: SeatStudy) -> tuple[str, ...]:
    levels = study.main.askew
    if levels is None:
        return ()
    at = int(np.argmax(levels.swing_db))
    return (
        f"It hangs {hung_in_words(study.design)}: as the column is turned, that (solved with an"
        f" axis for each part, {balance_in_words(levels.balance)}) makes the"
        f" direct sound at {study.main.name} swing by at most"
        f" {levels.swing_db[at]:.1f} dB, at {band_label(levels.centres[at])}, and a seat on the"
        f" worst side gains or loses {levels.side_db.max():.1f} dB; bands are nearest their"
        f" means {levels.best_azimuth_deg:.0f} degrees beside the side that it hangs to. All else"
        " here, impulse responses too, is as if it hung straight.",
    )


def _impulses(study: SeatStudy) -> str:
    impulses = [listener.impulse for listener in study.listeners]
    limits, least = impulses[0].limits, max(one.least_s for one in impulses)
    off, cut = max(one.off_db for one in impulses), max(one.cut_db for one in impulses)
    words = (
        f"Impulse responses: {impulses[0].length_ms:.0f} ms each (at least"
        f" {math.ceil(1e3 * least)} ms, so that the latest bounce and {PERIODS:g} periods of"
        f" {limits.low:.0f} Hz fit), {RATE // 1000} kHz, 32-bit float. Nothing below"
        f" {limits.low:.0f} Hz or above {limits.high / 1e3:.1f} kHz is solved: there they fade."
        f" Third octaves of the direct part, read back, are within {max(off, 0.01):.2f} dB of the"
        f" solver's; what the end cuts off holds {cut:.0f} dB of the energy."
    )
    if off > WITHIN_DB:
        words += f" That is more than {WITHIN_DB:g} dB: take longer ones with --wav-length."
    return words
