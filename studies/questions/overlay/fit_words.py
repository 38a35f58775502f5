"""What a fit found, in sentences."""

from __future__ import annotations

from collections.abc import Iterator

from studies.answer.table import joined
from studies.questions.overlay.fitted_file import fitted_name
from studies.questions.overlay.fitting import Fitted, SizeEstimate
from studies.questions.overlay.trials import MOST_EVALUATIONS

SAME_RMS_DB = 0.01
"""As it is printed: what differs by less is the same."""


def fit_words(fitted: Fitted) -> list[str]:
    """Return what the fit found in sentences, the most important first."""
    return [
        _sizes(fitted),
        *_cone(fitted),
        _gain(fitted),
        *_held_out(fitted),
        *_inseparable(fitted),
        *_several(fitted),
        *_undetermined(fitted),
        *_at_bound(fitted),
        _common(fitted),
        _scale(fitted),
        *_unsettled(fitted),
        _file(fitted),
    ]


def _sizes(fitted: Fitted) -> str:
    others = [one for one in fitted.estimates if one.differs]
    if not others:
        return (
            "The fit: every size as written lies within its 95 % interval, so these readings call"
            " for no other."
        )
    return f"The fit: {'; '.join(map(_size, others))}. All other sizes may be as written."


def _size(one: SizeEstimate) -> str:
    size = one.parameter
    low, high, written = map(size.in_words, (one.low, one.high, size.written))
    return (
        f"{size.name} {size.in_words(one.value)}, 95 % interval {low} to {high}, where {written}"
        " is written"
    )


def _cone(fitted: Fitted) -> Iterator[str]:
    """What the cone's admittance means for the sound that meets it."""
    if (cone := fitted.cone) is not None:
        low, found, high = (100.0 * share for share in cone.taken_head_on)
        yield (
            f"So above {fitted.fitted.tables.driver.lets_go_hz / 1e3:.2g} kHz the cone takes"
            f" {found:.0f} per cent of the sound that meets it head on; {low:.0f} to {high:.0f}"
            " per cent would fit as well."
        )


def _gain(fitted: Fitted) -> str:
    residuals = fitted.residuals
    return (
        f"With the fitted sizes the {fitted.reading_count} readings at"
        f" {fitted.position_count} positions differ from the model by"
        f" {residuals.rms_fitted_db:.2f} dB rms, as written by {residuals.rms_written_db:.2f} dB."
    )


def _held_out(fitted: Fitted) -> Iterator[str]:
    held = fitted.held_out
    if held is None:
        yield (
            "No angle could be left out to test the fit: readings at more positions would tell"
            " whether it is more than a fit to these few."
        )
        return
    errors = (
        f"Angles left out of the fit ({held.groups} times some of them) are foretold within"
        f" {held.rms_fitted_db:.2f} dB rms, with the sizes as written within"
        f" {held.rms_written_db:.2f} dB"
    )
    if abs(held.rms_fitted_db - held.rms_written_db) < SAME_RMS_DB:
        yield f"{errors}: the fit adds nothing to the sizes as written, and takes nothing away."
    elif held.improved:
        yield f"{errors}: the fit knows something of angles that it has not seen."
    else:
        yield (
            f"{errors}: the fit foretells them no better, so it has learned noise, or something"
            " that none of these sizes is. Do not use it."
        )


def _inseparable(fitted: Fitted) -> Iterator[str]:
    for pair in fitted.inseparable:
        one, other = pair.one.name, pair.other.name
        change = "and a larger" if pair.correlation < 0.0 else "and a smaller"
        yield (
            f"The readings cannot tell {one} from {other} (correlation"
            f" {pair.correlation:+z.2f}): a larger {one} {change} {other} undo each other, and"
            " what is written decides between them. Measure one of the two with a rule."
        )


def _several(fitted: Fitted) -> Iterator[str]:
    for one in fitted.estimates:
        if one.others_fit:
            found, low, high = map(one.parameter.in_words, (one.value, one.low, one.high))
            yield (
                f"Other values of the {one.parameter.name} fit about as well as {found}: anywhere"
                f" from {low} to {high} is possible."
            )


def _undetermined(fitted: Fitted) -> Iterator[str]:
    unknown = [one for one in fitted.estimates if not one.determined and not one.others_fit]
    names = [one.parameter.name for one in unknown]
    if names:
        yield (
            f"The readings say next to nothing of {joined(names)}: there the fit repeats what is"
            " written, give or take what such a size is usually off by."
        )


def _at_bound(fitted: Fitted) -> Iterator[str]:
    for one in fitted.estimates:
        if one.at_bound:
            yield (
                f"The {one.parameter.name} stands at the end of what it may be"
                f" ({one.parameter.in_words(one.value)}): look for a mistake in what is written,"
                " or for something that the model leaves out."
            )


def _common(fitted: Fitted) -> str:
    if fitted.level_db is None:
        return (
            "What all positions have in common in a band was removed before fitting, since it may"
            " be the driver's own curve: the level went with it, and only differences between"
            " positions count. Give the driver's curve in [driver] curve to use more."
        )
    return (
        f"One level was fitted along, {fitted.level_db:+z.1f} dB (give or take"
        f" {fitted.level_error_db:.1f} dB); the driver's own curve is"
        " taken as the design has it, so its errors are blamed on the sizes."
    )


def _scale(fitted: Fitted) -> str:
    return (
        f"The intervals take a reading to be off by {fitted.sigma_db:.2f} dB, one standard"
        f" deviation: {fitted.stated_db:.1f} dB stated for model and meter, weighed with what is"
        " left of the readings. A fault that all readings share is in no interval."
    )


def _unsettled(fitted: Fitted) -> Iterator[str]:
    if not fitted.settled:
        yield (
            f"The search was stopped after {fitted.evaluations} solves (at most"
            f" {MOST_EVALUATIONS}) before it stood still: take the values as a direction."
        )


def _file(fitted: Fitted) -> str:
    return (
        f"{fitted_name(fitted)} is the design with these sizes, a new file that every command"
        f" takes; it took {fitted.evaluations} solves of the band. Measure what the fit says is"
        " off before you believe it."
    )
