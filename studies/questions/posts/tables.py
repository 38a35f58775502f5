"""Which posts: how far the level swings round the column."""

from __future__ import annotations

import numpy as np

from dispersion.bands import band_label
from dispersion.gliding import ARC_DEG, iso_limit_db
from dispersion.ripple import Ripple
from studies.answer import cautions
from studies.answer.columns import band, length, number, posts_name, text, window_in_words
from studies.answer.evidence import Evidence, mended_in_words, outline_sentences
from studies.answer.table import Fact, Findings, Table, TableColumn, joined
from studies.design.walls_table import walls_in_words
from studies.questions.posts.study import PostsStudy

ESTIMATE = (
    "Method: rods in the gap's vertical modes, an estimate. Against boundary elements in three"
    " dimensions its ripple was 0.2 dB off with one mode in the gap and 0.8 dB off with two; above"
    " 4 kHz it is low by up to 1.4 dB against the exact way (leave out --estimate).",
    "The rim's reflection back into the gap is left out, and so is what the reflector sends back.",
)
EXACT = (
    "Method: the wave solver, and posts as circles among all modes of the gap: exact for round rods"
    " that stand wholly on the flat of baffle and plate. Square or slotted ones count as round.",
    "All posts count as alike and evenly spaced.",
)


SWING = number("ripple_db", "most it\nswings, dB", "largest swing of any band, dB", 1)
HEARD = (
    TableColumn(
        "audible_from_hz",
        "over 1 dB\nfrom",
        "lowest band that swings by more than 1 dB, Hz",
        band_label,
    ),
    number("best_azimuth_deg", "best seen\nat, deg", "from the first post, degrees", 0),
)
MIDWAY_DEG = 3.0
"""So near to the middle between two posts a direction is called midway."""


def posts_tables(study: PostsStudy) -> Findings:
    """Put the ripple of every choice of posts into words and tables."""
    return Findings(
        command="posts",
        design=study.design,
        answer=tuple(_answer(study)),
        facts=tuple(_facts(study)),
        tables=(
            _choices(study),
            *(_on_sale(study), _single(study)) * study.exact,
            *_arcs(study),
            _by_band(study),
        ),
        evidence=_evidence(study),
        cautions=(cautions.posts_alike(study.design.post_tolerance),),
    )


def _answer(study: PostsStudy) -> list[str]:
    said = [_where_to_sit(study)]
    for name, ripple in study.ripples.items():
        heard = ripple.audible_centres
        most = float(ripple.peak_to_peak_db.max())
        if heard.size:
            said.append(
                f"{name}: the level swings by more than 1 dB round the column in"
                f" {_bands_from(heard)}; at most {most:.1f} dB."
            )
        else:
            size = f"{most:.1f}" if most >= 0.05 else "0.05"
            said.append(f"{name}: nowhere more than {size} dB round the column.")
    said += _omnidirectional(study)
    said += [f"{name} does not fit: {reason}." for name, reason in study.left_out.items()]
    window = window_in_words(study.design.window_deg)
    said.append(f"Level over that without posts, mean of {window} of elevation.")
    method = EXACT if study.exact else ESTIMATE
    return [*said, *outline_sentences(study.design.assembly(), study.design.air), *method]


def _bands_from(heard: np.ndarray) -> str:
    """Write how many bands, and which is the lowest."""
    if heard.size == 1:
        return f"one band, {band_label(heard[0])}"
    return f"{heard.size} bands, the lowest {band_label(heard[0])}"


def _where_to_sit(study: PostsStudy) -> str:
    """Say first what to do: where between the posts a listener should sit."""
    own, posts = study.own, study.own.posts
    advice = f"With the posts in the file, {own.turn_advice()}"
    half = 180.0 / posts.count
    if own.audible_centres.size and abs(own.best_azimuth_deg - half) <= MIDWAY_DEG:
        advice = (
            f"Sit midway between two posts, {half:g} degrees from either. With the posts in the"
            f" file: {own.turn_advice()}"
        )
    return advice


def _evidence(study: PostsStudy) -> Evidence | None:
    around = study.around
    if around is None:
        return None
    answers, frequencies = around.answers, around.problem.frequencies
    return Evidence(
        method="waves, posts exactly",
        solved=1,
        lowest_hz=float(frequencies[0]),
        highest_hz=float(frequencies[-1]),
        unknowns_lowest=answers[0].unknowns,
        unknowns_highest=answers[-1].unknowns,
        worst_power_error_db=around.balance.power_error_db,
        settings=around.settings.summary(),
        remarks=(
            f"{len(answers)} frequencies, up to {len(answers[-1].orders)} azimuthal orders and"
            f" {len(answers[-1].kappa)} modes of the gap at the highest; the power is that with the"
            " posts of the file",
            *mended_in_words([around.finer]),
            *walls_in_words(around.problem.walls),
            "the posts' own sides count as hard",
        ),
        reference="the same design without posts, in the same direction",
    )


def _omnidirectional(study: PostsStudy) -> list[str]:
    """Say how the posts in the file stand against the limits of ISO 3382-1, if they reach any."""
    arcs = study.own_arcs
    if not arcs:
        return []
    by = "" if study.exact else "by this estimate "
    over = [band_label(arc.octave_hz) for arc in arcs if arc.is_beyond]
    verdict = f"go beyond that at {joined(over)}" if over else "keep within that"
    return [
        f"ISO 3382-1 would call it the same all round if no arc of {ARC_DEG:.0f} degrees departed"
        f" from the circle by more than 1 to 6 dB (octaves from {band_label(arcs[0].octave_hz)} to"
        f" {band_label(arcs[-1].octave_hz)}): {by}the posts in the file {verdict}, at"
        f" most {max(arc.off_db for arc in arcs):.2f} dB off."
    ]


def _facts(study: PostsStudy) -> list[Fact]:
    own = study.own
    heard = own.audible_centres
    return [
        Fact("ripple_db", float(own.peak_to_peak_db.max()), "largest swing round the column, dB"),
        Fact(
            "audible_from_hz",
            float(heard[0]) if heard.size else None,
            "lowest band that swings by more than 1 dB; none if no band does",
        ),
        Fact(
            "best_azimuth_deg",
            own.best_azimuth_deg,
            "direction from the first post where all bands are nearest their means, degrees",
        ),
    ]


def _choices(study: PostsStudy) -> Table:
    columns = (text("candidate", "posts", "count and diameter"), SWING, *HEARD)
    rows = [(name, _most(own), *_heard(own)) for name, own in study.ripples.items()]
    return Table("choices", "Posts side by side", columns, tuple(rows))


def _on_sale(study: PostsStudy) -> Table:
    """Every rod on sale, and the file's posts nearer and farther."""
    columns = (
        text("candidate", "posts", "count and diameter"),
        length("circle_mm", "circle", "diameter of the circle of their axes", short=True),
        SWING,
        number("usual_ripple_db", "middle\nband, dB", "median over the bands of the swing, dB", 2),
        *HEARD,
    )
    rows = [
        (
            posts_name(ripple.posts),
            2e3 * ripple.posts.circle_radius,
            _most(ripple),
            ripple.median_peak_to_peak_db,
            *_heard(ripple),
        )
        for ripple in (study.own, *study.on_sale)
    ]
    caption = "First the file's posts; then usual rods on its circle; its own nearer and farther."
    return Table("on_sale", "Other rods and circles", columns, tuple(rows), caption)


def _most(ripple: Ripple) -> float:
    return float(ripple.peak_to_peak_db.max())


def _heard(ripple: Ripple) -> tuple[float | None, float]:
    """Cells of `HEARD`."""
    heard = ripple.audible_centres
    return float(heard[0]) if heard.size else None, ripple.best_azimuth_deg


def _single(study: PostsStudy) -> Table:
    """Swing of the file's posts at single elevations, band by band."""
    columns = [band(), number("window_db", "window", "swing, mean power of the window, dB", 1)]
    for ripple in study.single:
        elevation = ripple.window_deg[0]
        key = f"at_{elevation:.1f}_deg_db".replace(".", "_").replace("-", "minus_")
        columns.append(
            number(key, f"{elevation:.0f} deg", f"swing at {elevation:.1f} degrees up, dB", 1)
        )
    own = study.own
    swings = [own.peak_to_peak_db, *(ripple.peak_to_peak_db for ripple in study.single)]
    rows = tuple(zip(*([*map(float, x)] for x in (own.centres, *swings)), strict=True))
    title = f"Swing of {study.own_name} at single elevations, dB"
    caption = "0, 10 and 20 degrees and those of the seats, seen from the ring."
    return Table("elevations", title, tuple(columns), rows, caption)


def _arcs(study: PostsStudy) -> tuple[Table, ...]:
    """Departure of an arc from the circle by octave, beside the limit of the standard."""
    if not study.octaves.size:
        return ()
    columns = [
        TableColumn("octave_hz", "octave", "exact centre of the octave band, Hz", band_label),
        number("limit_db", "limit\n+-", "limit of ISO 3382-1, Table 1, dB; none outside it", 0),
        *(
            number(f"arcs_{_key(name)}_db", name, f"largest departure of an arc, {name}, dB", 2)
            for name in study.arcs_db
        ),
    ]
    rows = [
        (float(octave), iso_limit_db(octave), *map(float, found))
        for octave, *found in zip(study.octaves, *study.arcs_db.values(), strict=True)
    ]
    title = "Arcs of 30 degrees against the whole circle, dB (ISO 3382-1)"
    title += "" if study.exact else ", an estimate"
    caption = (
        "Largest departure of the mean level over any arc from the energy mean of the circle, in"
        " the window of elevations, for pink noise; without posts it is 0."
    )
    return (Table("arcs", title, tuple(columns), tuple(rows), caption),)


def _key(name: str) -> str:
    return name.replace(" ", "_").replace(".", "_")


def _by_band(study: PostsStudy) -> Table:
    columns = [band()]
    for name in study.ripples:
        key = _key(name)
        columns += [
            number(f"lowest_{key}_db", f"{name}\nlow", f"lowest level, {name}, dB re no posts", 1),
            number(f"mean_{key}_db", "mean", f"mean level, {name}, dB re no posts", 1),
            number(f"highest_{key}_db", "high", f"highest level, {name}, dB re no posts", 1),
            number(
                f"worst_azimuth_{key}_deg",
                "worst at",
                f"azimuth farthest from the mean, {name}, degrees from the first post",
                0,
                shown=False,
            ),
        ]
    rows = []
    for at, centre in enumerate(study.own.centres):
        cells = [float(centre)]
        for ripple in study.ripples.values():
            cells += [
                float(ripple.minimum_db[at]),
                float(ripple.mean_db[at]),
                float(ripple.maximum_db[at]),
                float(ripple.worst_azimuth_deg[at]),
            ]
        rows.append(tuple(cells))
    return Table("bands", "Round the column, dB re no posts", tuple(columns), tuple(rows))
