"""The map of reflector size and plate gap in sentences: what to build, what else would do."""

from __future__ import annotations

from collections.abc import Iterator

from shapes.assembly import Assembly
from shapes.lengths import in_both, in_degrees
from shapes.reflectors import Reflector
from studies.answer.columns import target_in_words
from studies.answer.judging import hollow_in_words, members_in_words
from studies.answer.standing import behind, best_at_end, out_of_reach_in_words
from studies.questions.explore.study import Explore, Knob


def answer(found: Explore) -> Iterator[str]:
    """Answer what to build, what is nearly as good, and what was tried, in sentences."""
    yield what_to_build(found.best_row.assembly)
    yield from _alike(found)
    yield from hollow_in_words(found.best_row, found.design)
    yield from members_in_words(found.judged, found.best_row)
    yield from out_of_reach_in_words(found.design)
    yield from _ends(found)
    yield _as_written(found)
    yield how_coarse(found)
    yield from _not_for_choice(found)
    yield from target_in_words(found.design)


def what_to_build(assembly: Assembly) -> str:
    """Say what to cut and how to hang it, in one or two sentences."""
    return f"{_what_to_cut(assembly.hung_reflector)} {_how_to_hang(assembly)}"


def _what_to_cut(reflector: Reflector) -> str:
    fact = reflector.fact
    if reflector.kind == "ball cap":
        return (
            f"Keep {in_both(fact('keep'))} of the ball of {in_both(fact('ball diameter'))}, cut off"
            f" {in_both(fact('cut off'))}. Check: the flat is {in_both(fact('base diameter'))}"
            " across."
        )
    if reflector.kind == "cone":
        return (
            f"Cone: half angle {in_degrees(fact('half angle'))} from the axis, included angle"
            f" {in_degrees(fact('included angle'))}, slope {in_degrees(fact('slope'))};"
            f" {in_both(fact('height'))} high on a base of {in_both(fact('base diameter'))}."
        )
    return (
        f"{reflector.kind.capitalize()}: {in_both(reflector.height)} high on a base of"
        f" {in_both(fact('base diameter'))}, slope {in_degrees(reflector.tip_slope)} at the tip and"
        f" {in_degrees(reflector.rim_slope)} at the rim."
    )


def _how_to_hang(assembly: Assembly) -> str:
    hung = f"Plate gap {in_both(assembly.plate_gap)}"
    if assembly.posts is None:
        return f"{hung}."
    return f"{hung}: posts {in_both(assembly.post_length)} long, sockets included."


def _alike(found: Explore) -> Iterator[str]:
    """What cannot be told from the best: judged pairs; then what this file's scores say."""
    if found.like_best:
        others = [found.rows[place].name for place in found.like_best]
        yield f"Cannot be told apart from it: {'; '.join(others)}."
    if found.judged is None:
        yield near_best_in_words(found)
    elif found.lowest == found.best:
        yield f"The very sizes of the file choose the same. {near_best_in_words(found)}"
    else:
        lead = -found.behind_db(found.lowest)
        yield (
            f"The very sizes of the file would choose {found.rows[found.lowest].name},"
            f" {lead:.2f} dB better there. {near_best_in_words(found)}"
        )


def near_best_in_words(found: Explore) -> str:
    """Say how many pairs are near-best, and between which sizes they lie."""
    which = "best" if found.best == found.lowest else "lowest score"
    within = f"within {found.design.target.near_best_db:g} dB of the {which}"
    count = int(found.region.sum())
    if count == 1:
        return f"No other pair tried is {within}: cut with care, or try smaller steps."
    knobs = zip(found.knobs, found.near_best_reach, strict=True)
    ranges = ", ".join(_reach(knob, *ends) for knob, ends in knobs)
    return f"{count} pairs are {within}: {ranges}; which goes with which, see the map."


def _reach(knob: Knob, low: float, high: float) -> str:
    end = f" to {knob.in_words(high)}" if high > low else ""
    return f"{knob.name} {knob.in_words(low)}{end}"


def how_coarse(found: Explore) -> str:
    """Say how many pairs of which sizes were tried, and which sizes were left out."""
    said = f"{len(found.rows)} pairs tried: {_tried(found.knob)}, {_tried(found.gap)}."
    thinned = [knob for knob in found.knobs if len(knob.sizes) < knob.wanted]
    if not thinned:
        return said
    left = " and ".join(
        f"{len(knob.sizes)} of {knob.wanted} sizes of {knob.name}" for knob in thinned
    )
    return f"{said} That is {left}: for a finer map write a narrower range in [explore]."


def _tried(knob: Knob) -> str:
    low, high = knob.in_words(knob.sizes[0]), knob.in_words(knob.sizes[-1])
    if len(knob.sizes) == 1:
        return f"{knob.name} {low}"
    steps = {round(b - a, 7) for a, b in zip(knob.sizes, knob.sizes[1:], strict=False)}
    if len(steps) > 1:
        return f"{knob.name} {low} to {high} in {len(knob.sizes)} sizes"
    return f"{knob.name} {low} to {high} in steps of {knob.in_words(steps.pop())}"


def _ends(found: Explore) -> Iterator[str]:
    """Warn where the best lies at an end of the map."""
    built = zip(*(found.sizes_at(place) for place in found.contenders), strict=True)
    sizes = found.sizes_at(found.best)
    for knob, best, possible in zip(found.knobs, sizes, built, strict=True):
        short = knob is found.gap and found.design.gaps_out_of_reach and best == knob.sizes[-1]
        key = "posts.longest" if short else f"explore.{knob.key}"
        for warning in best_at_end(key, best, knob.sizes, possible):
            yield f"{knob.name.capitalize()}: {warning[0].lower()}{warning[1:]}"


def _as_written(found: Explore) -> str:
    row = found.rows[found.written]
    what = "The design as written"
    if not found.is_written_tried:
        what = f"Nearest to the design as written, {row.name}"
    if not row.solved:
        return f"{what}: not solved ({row.reason})."
    if found.written == found.best:
        return f"{what}: it is the best."
    return f"{what}: {behind(found.compare_at(found.written))}."


def _not_for_choice(found: Explore) -> Iterator[str]:
    if found.failed:
        first = found.failed[0]
        yield (
            f"Marked, since they cannot be built or solved: {len(found.failed)} of"
            f" {len(found.rows)}; the first, {first.name}: {first.reason.split('; ')[0]}."
        )
    if found.choked:
        count = len(found.choked)
        yield f"Marked, since the ring is smaller than the driver and loads it: {count}."
    leaking = sum(row.scorecard.leaks_too_much for row in found.solved)
    if leaking and found.best_row.is_contender:
        yield f"Not recommended, since more leaks above the window than is wanted: {leaking}."
    hollow = sum(row.scorecard.too_hollow for row in found.solved)
    if hollow and found.best_row.is_contender:
        yield f"Not recommended, since the treble is hollower than an equaliser lifts: {hollow}."


def verdict(found: Explore, place: int) -> str:
    """Say in one line how the pair at a place in `found.rows` compares with the best."""
    row, standing = found.rows[place], found.standing_at(place)
    if not row.solved:
        return "cannot be built"
    choked = "; chokes the driver" if row.assembly.is_choked else ""
    if standing == "best":
        return f"score {row.score:.2f} dB, the best{choked}"
    lead = found.behind_db(place)
    way = "behind" if lead >= 0 else "better than"
    near = "; near-best" if standing else ""
    sure = ""
    if found.judged is not None and found.judged.knows(row):
        sure = f"; over drivers and builds: {behind(found.compare_at(place))}"
    return f"score {row.score:.2f} dB, {abs(lead):.2f} dB {way} the best{near}{choked}{sure}"
