"""Sentences of an overlay: does the measurement agree with the model, and if not, why?"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from dispersion.bands import band_label
from shapes.lengths import in_both, in_degrees, in_own, own_unit
from studies.answer.columns import in_words
from studies.answer.evidence import balance_in_words
from studies.answer.table import joined
from studies.design.moves import Unit
from studies.measured.comparing import LEAST_POSITIONS, MODEL_DB, READING_DB
from studies.measured.hung import AS_WRITTEN
from studies.measured.index import PERIODS
from studies.measured.positions import by_hung
from studies.questions.overlay.off_axis import SURE
from studies.questions.overlay.one_size_off import STEPS, SizeOff
from studies.questions.overlay.study import LEAST_GAIN, LEAST_GAIN_DB, Overlay
from studies.solving.leaning import hung_in_words, left_out_in_words
from studies.solving.target import METER_DB

ONE_IN = 20
FEW = 20
"""With fewer degrees of freedom than this the verdict is no more than a hint."""
POSTS_TELL = (
    '`roundcast posts` tells what posts do, and with posts = "solved" in [target] they count'
)
ASKEW_TELLS = "parts off the centre count only as [askew] in the file says"
LITTLE_DB = READING_DB
"""Predicted differences between positions below this make a weak test, dB."""


def answer(found: Overlay) -> list[str]:
    """Return the sentences, the most important first."""
    return [
        _verdict(found),
        *_beyond(found),
        *_culprits(found),
        *_doubt(found),
        *_what_was_removed(found),
        *_hung(found),
        *_how_much_it_tests(found),
        *_limits(found),
        *_azimuth(found),
        *_off_axis(found),
        *dict.fromkeys(f"{note}." for one in found.measurements for note in one.notes),
    ]


def _verdict(found: Overlay) -> str:
    held = found.comparison
    due = (
        f"the {held.expected_db:.1f} dB that model ({MODEL_DB:g} dB), meter ({READING_DB:g} dB) and"
        " a driver and build that nobody knows may be off by"
    )
    left = f"{held.rms_db:.1f} dB rms over {held.count} band levels at {_positions(found)}"
    if held.explained:
        return f"The model explains this measurement: what is left, {left}, is no more than {due}."
    return (
        f"The model does not explain this measurement: what is left, {left}, is more than {due}."
        f" {_worst(found)}"
    )


def _positions(found: Overlay) -> str:
    count = found.comparison.position_count
    return "1 position" if count == 1 else f"{count} positions"


def _worst(found: Overlay) -> str:
    held = found.comparison
    position, band = held.worst_at
    return (
        f"The largest difference is {held.worst_db:+z.1f} dB at"
        f" {band_label(found.measured.centres[band])}, {found.positions[position].name}."
    )


def _beyond(found: Overlay) -> Iterator[str]:
    """Single bands that stand out although the whole agrees."""
    held = found.comparison
    if not held.explained:
        return
    if not held.beyond:
        yield _worst(found)
        return
    many = f"{held.beyond} of {held.count} differ by more than two standard deviations"
    if held.beyond <= max(1, held.count // ONE_IN):
        yield f"{many}, where one in {ONE_IN} may by chance. {_worst(found)}"
    else:
        yield f"But {many}, where one in {ONE_IN} may by chance: look there. {_worst(found)}"


def _culprits(found: Overlay) -> Iterator[str]:
    names = joined([one.dimension.name for one in found.best_by_size])
    if not found.culprits:
        yield (
            f"No one size being off would explain the rest better: {names} were moved one at a"
            f" time, by up to {_farthest(found)} either way, and none brings it down by"
            f" {LEAST_GAIN_DB:g} dB and {100 * LEAST_GAIN:.0f} %{_weighed(found)}."
        )
        return
    best, *others = found.culprits
    need = "Though nothing needs explaining, one" if found.comparison.explained else "One"
    yield (
        f"{need} size off would fit better: with the {change_in_words(best)} the rms falls from"
        f" {found.comparison.weighed_db:.2f} to {best.weighed_db:.2f} dB{_weighed(found)}. Measure"
        f" the {best.dimension.name} before you believe it."
    )
    if others:
        named = "; ".join(f"{change_in_words(one)} ({one.weighed_db:.2f} dB)" for one in others)
        yield f"This measurement can hardly tell it from the {named}."


def _weighed(found: Overlay) -> str:
    """Say that an rms is weighed, where that makes a difference."""
    if not len(found.members_db):
        return ""
    return " (weighed: what another driver or build would leave as well counts little)"


def _doubt(found: Overlay) -> Iterator[str]:
    """What nobody knows of driver and build does to prediction and residuals."""
    low, high = found.range_db
    width = np.where(found.comparison.compared, high - low, 0.0)
    if found.fitted is not None or width.max() < METER_DB:
        return
    at, band = np.unravel_index(int(np.argmax(width)), width.shape)
    rms = found.members_rms_db
    left = " to ".join(dict.fromkeys(f"{end:.1f}" for end in (rms.min(), rms.max())))
    yield (
        f"Of {len(rms)} drivers and builds that this file may stand for nine in ten lie up to"
        f" {width[at, band]:.1f} dB apart ({band_label(found.measured.centres[band])},"
        f" {found.positions[at].name}), and would leave {left} dB rms:"
        " --fit finds which of them this is."
    )


def _farthest(found: Overlay) -> str:
    units = dict.fromkeys(one.dimension.unit for one in found.tried)
    return " or ".join(step_in_words(unit, max(STEPS)) for unit in units)


def step_in_words(unit: Unit, steps: float) -> str:
    """Write so many steps of a size: "4 mm", "1/8 in", "2 deg"."""
    if unit.symbol == "mm" and own_unit() == "in":
        return in_own(steps * unit.size)
    return f"{steps * unit.size / unit.per_symbol:g} {unit.symbol}"


def removed_in_words(found: Overlay) -> str:
    """Name what was removed from the measured levels before comparing."""
    return "level and driver curve removed" if found.comparison.driver_removed else "level removed"


def change_in_words(size: SizeOff) -> str:
    """Name a size and how far it is moved: "plate gap 2.0 mm (3/32 in) larger"."""
    if size.dimension.unit.symbol == "mm":
        amount = in_both(abs(size.change))
    else:
        amount = in_degrees(abs(size.change))
    return f"{size.dimension.name} {amount} {'larger' if size.change > 0 else 'smaller'}"


def _what_was_removed(found: Overlay) -> Iterator[str]:
    held = found.comparison
    yield (
        f"Removed before comparing: the level, {held.offset_db:+z.1f} dB at all positions alike"
        " (median of all differences); and any delay, which has no part in the levels of bands."
    )
    if held.driver_removed:
        low, high = held.driver_range_db
        yield (
            "Removed as well: the driver's own curve, that is what all positions have in common"
            f" band by band ({low:+z.1f} to {high:+z.1f} dB, mean over positions,"
            " shown in picture and table). With it goes every fault that is the same at all"
            " positions: only differences between them are tested."
        )
    else:
        yield (
            f"The driver's own curve is not removed, which takes {LEAST_POSITIONS} positions: its"
            " bumps are among the differences, unless [driver] has a curve."
        )


def _hung(found: Overlay) -> Iterator[str]:
    """What hung over the driver, where it is not only what the file says."""
    groups = by_hung(found.positions)
    if set(groups) == {AS_WRITTEN}:
        return
    said = [f"{hung.in_words(found.design)} at {len(own)}" for hung, own in groups.items()]
    yield (
        f"Over the driver hung {joined(said)} of the positions: each is held against its own solve,"
        " and what is removed is one for all, so no knob may have been touched between them."
    )


def _how_much_it_tests(found: Overlay) -> Iterator[str]:
    alone, held = found.distance_only, found.comparison
    yield (
        f"The distances alone, with a speaker that sounds alike in all directions, would leave"
        f" {alone.rms_db:.1f} dB rms; the model leaves {held.rms_db:.1f} dB."
    )
    if held.free < FEW:
        yield (
            f"Only {held.free} of these numbers can still differ once that is removed:"
            " take all of this as a hint, and measure more bands or positions."
        )
    if held.driver_removed and found.predicted_spread_db < LITTLE_DB:
        yield (
            f"This tests little: the model itself foresees differences of only"
            f" {found.predicted_spread_db:.1f} dB rms between these positions, distance aside."
            " Measure at other heights too: lower, level with the ring, steeply above."
        )


def _limits(found: Overlay) -> Iterator[str]:
    limits = found.gate_limits_hz
    if limits:
        span = " to ".join(in_words(limit) for limit in dict.fromkeys((limits[0], limits[-1])))
        yield (
            f"Bands that reach below the gate's limit ({span}) are shown in grey and not compared:"
            f" {PERIODS:g} periods must fit before the first bounce; with one, a resonance is cut"
            " off while it still rings."
        )
    if any(not one.gate_limit_hz for one in found.measurements):
        yield (
            "Without first_bounce nothing is known of a gate: floor, ceiling and walls may be in"
            " the measurement, and the model stands in the open air."
        )
    if found.sparse_hz.size:
        yield (
            f"Not compared, since fewer than {LEAST_POSITIONS} positions have them:"
            f" {joined([band_label(band) for band in found.sparse_hz])}."
        )


def _off_axis(found: Overlay) -> Iterator[str]:
    """What shift the azimuths call for."""
    fit = found.off_axis
    if fit is None:
        return
    sure, off = in_own(SURE * fit.uncertainty), in_own(fit.shift)
    if not fit.there:
        yield (
            f"The fit of azimuths ({fit.count} readings, what their places share left free) calls"
            f" for no reflector off the centre: {off}, and {sure} would be chance."
        )
        return
    yield (
        f"The fit of azimuths ({fit.count} readings, what their places share left free): reflector"
        f" and plate hang {off} (to within {sure}) off the centre towards azimuth"
        f" {fit.towards_deg:.0f}; between azimuths {fit.rms_db:.2f} dB rms are left of"
        f" {fit.rms_straight_db:.2f}. A tilt to that side looks much alike: measure. The fitted"
        " file has it as [askew], which counts round the column wherever it is solved."
    )


def _azimuth(found: Overlay) -> Iterator[str]:
    noted = [at for at in found.positions if at.azimuth_deg is not None]
    at_these = f"at {len(noted)} of {len(found.positions)} positions with an azimuth"
    if found.askew is None:
        yield from left_out_in_words(found.design)
    else:
        yield (
            f"It hangs {hung_in_words(found.design)}, which is solved with an axis for each"
            f" part ({balance_in_words(found.askew.balance)}): {at_these} that"
            f" changes the prediction by up to {np.abs(found.askew.values).max():.1f} dB"
            + ("." if found.posts is not None else f"; posts are not in it: {POSTS_TELL}.")
        )
    if found.posts is not None:
        yield (
            f"Posts are solved ({balance_in_words(found.posts.balance)}): {at_these} they"
            f" change the prediction by up to {np.abs(found.posts.values).max():.1f} dB"
            + ("." if found.askew is not None else f"; {ASKEW_TELLS}.")
        )
    if found.askew is not None or found.posts is not None:
        return
    about = f"the model is the same all round: posts are not in it, and {ASKEW_TELLS}"
    if not noted:
        yield f"No azimuth is noted, and {about}; {POSTS_TELL}."
        return
    yield (
        f"Azimuth is noted at {len(noted)} of {len(found.positions)} positions, but {about};"
        f" {POSTS_TELL}."
    )
    if not math.isnan(found.round_db):
        yield (
            f"Positions that differ in azimuth only scatter by {found.round_db:.1f} dB: so much no"
            " model that is the same all round explains."
        )
