"""How the two ways of a coaxial driver add, as written and at best, in words and a table."""

from __future__ import annotations

from dispersion.sources import Way
from shapes.lengths import in_both
from studies.answer.columns import in_words, length, mm, number, text
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
        return [f"{about} {below}: no other delay or polarity gains {NO_DIFFERENCE_DB:g} dB."]
    speed = spread.design.air.speed
    return [
        f"{about} {below}. Best is {_set_against(found.best, speed)}: {_below(found.best)},"
        f" {found.gain_db:.1f} dB gained. Write {joined(_keys(found))}."
    ]


def _below(timing: Timing) -> str:
    return (
        f"{abs(timing.summed_db):.1f} dB below what they would in step (worst"
        f" {timing.worst_db:+.1f} dB at {in_words(timing.worst_hz)})"
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
    found = spread.alignment
    if found is None:
        return ()
    return (
        Fact("crossing_hz", found.crossing_hz, "where the ways are equally loud in the window, Hz"),
        Fact("alignment_gain_db", found.gain_db, "what the best delay and polarity gain, dB"),
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
