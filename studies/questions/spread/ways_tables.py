"""How the two ways of a coaxial driver add, as written and at best, in words and a table."""

from __future__ import annotations

from dispersion.sources import Way
from shapes.lengths import in_both
from studies.answer.columns import in_words, length, mm, number, text
from studies.answer.standing import verdict_in_words
from studies.answer.table import Fact, Table, Value, joined
from studies.questions.spread.study import Spread
from studies.solving.alignment import Alignment, Timing
from studies.solving.target import NO_DIFFERENCE_DB

CAPTION = (
    "below in step: power of the sum over the window and an octave either way of the crossover,"
    " over that of both ways in step in every direction; path: what sound travels in the delay. A"
    " Linkwitz-Riley is made for ways in step; Butterworths of odd order add up flat a quarter of a"
    " period apart, and rise in step. Levels re 0 dB tell little of it: the driver alone adds alike"
)


def ways_in_words(spread: Spread) -> list[str]:
    """Say with which delay and polarity the ways add best; nothing unless there are two."""
    found = spread.alignment
    if found is None:
        return []
    about = f"About the crossover, {in_words(found.crossing_hz)} in the window, the ways as written"
    below = f"add up {_below(found.written)}"
    if found.gain_db < NO_DIFFERENCE_DB:
        return [
            f"{about} {below}: with the very sizes of the file no other delay or polarity gains"
            f" {NO_DIFFERENCE_DB:g} dB."
        ]
    speed = spread.design.air.speed
    return [
        f"{about} {below}. Best is {_set_against(found.best, speed)}: {_below(found.best)},"
        f" {found.gain_db:.1f} dB gained with the very sizes of the file{_sure(spread)}"
    ]


def _sure(spread: Spread) -> str:
    """Say in how many drivers and builds that holds, and what to do."""
    lead = spread.alignment_lead
    keys = joined(_keys(spread.alignment)) if spread.alignment else ""
    if lead is None:
        return f". Write {keys}."
    said = (
        f", {abs(lead.lead_db):.1f} dB {'gained' if lead.lead_db >= 0.0 else 'LOST'} in the mean of"
        f" {lead.members} drivers and builds that this file may stand for:"
        f" {verdict_in_words(lead)}."
    )
    if lead.gains:
        return f"{said} Write {keys}."
    return f"{said} Leave it as it is until the driver is measured; then it would be {keys}."


def _below(timing: Timing) -> str:
    return (
        f"{abs(timing.summed_db):.1f} dB below what they would in step (worst"
        f" {timing.worst_db:+z.1f} dB at {in_words(timing.worst_hz)})"
    )


def _set_against(timing: Timing, speed: float) -> str:
    held = max(timing.ways, key=lambda way: way.delay)
    if held.delay == 0.0:
        late = "no delay"
    else:
        path = in_both(speed * held.delay)
        late = f"the {held.name} {1e3 * held.delay:.4g} ms later, {path} of path"
    return f"{late}, {_polarity(timing)} polarity"


def _polarity(timing: Timing) -> str:
    return "opposite" if timing.reversed else "equal"


def _keys(found: Alignment) -> list[str]:
    """List the keys that must be changed, each with the table it belongs to."""
    pairs = zip(found.written.ways, found.best.ways, strict=True)
    return [line for old, new in pairs for line in _changed(old, new)]


def _changed(old: Way, new: Way) -> list[str]:
    lines = []
    if old.delay != new.delay:
        lines.append(f'delay = "{1e3 * new.delay:.4g} ms" below [{new.name}]')
    if old.polarity != new.polarity:
        word = "normal" if new.polarity > 0 else "reversed"
        lines.append(f'polarity = "{word}" below [{new.name}]')
    return lines


def ways_facts(spread: Spread) -> tuple[Fact, ...]:
    """Return the crossover and what the best alignment gains, for scripts."""
    found, lead = spread.alignment, spread.alignment_lead
    if found is None:
        return ()
    facts = (
        Fact("crossing_hz", found.crossing_hz, "where the ways are equally loud in the window, Hz"),
        Fact("alignment_gain_db", found.gain_db, "what the best delay and polarity gain, dB"),
    )
    if lead is None:
        return facts
    return (
        *facts,
        Fact("alignment_mean_gain_db", lead.lead_db, "the same in the mean of all members, dB"),
        Fact("alignment_holds", lead.holds, "share of the members that agree with its sign"),
        Fact("alignment_verdict", lead.verdict, "how surely the best delay and polarity gain"),
    )


def ways_tables(spread: Spread) -> tuple[Table, ...]:
    """Tabulate the sum of the ways as written, at best, and at best with the other polarity."""
    found = spread.alignment
    if found is None:
        return ()
    columns = (
        text("set", "set", "as written, best of all, or best with the other polarity"),
        text("polarity", "polarity", "of one way against the other"),
        *(
            number(
                f"{way.name}_delay_ms", f"{way.name}\nms later", f"delay of the {way.name}, ms", 3
            )
            for way in found.written.ways
        ),
        length("path_mm", "path", "what sound travels in the longer delay", short=True),
        number("summed_db", "below in\nstep, dB", "sum of the ways over both in step, mean, dB", 1),
        number("worst_db", "worst\ndB", "the same where it is least, dB", 1),
        number("worst_hz", "at\nHz", "where that is, Hz", 0),
    )
    sets = {
        "as written": found.written,
        "best": found.best,
        "other polarity": found.other,
    }
    speed = spread.design.air.speed
    rows = tuple(_row(name, timing, speed) for name, timing in sets.items())
    title = f"How the ways add about {in_words(found.crossing_hz)}"
    return (Table("ways", title, columns, rows, CAPTION),)


def _row(name: str, timing: Timing, speed: float) -> tuple[Value, ...]:
    return (
        name,
        _polarity(timing),
        *(1e3 * way.delay for way in timing.ways),
        mm(speed * abs(timing.later)),
        timing.summed_db,
        timing.worst_db,
        timing.worst_hz,
    )
