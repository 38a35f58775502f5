"""How far each quick method can be believed: difference to the wave solver by third octave."""

from __future__ import annotations

import numpy as np

from dispersion.bands import band_label
from studies.answer.columns import band, number, text
from studies.answer.evidence import evidence_of
from studies.answer.table import Fact, Findings, Table, Value
from studies.questions.trust.study import POSTS_WITHIN_DB, REFERENCE, WITHIN_DB, Trust


def trust_tables(trust: Trust) -> Findings:
    """Put the methods side by side."""
    exact = trust.rows[REFERENCE]
    return Findings(
        command="trust",
        design=trust.design,
        answer=tuple(_answer(trust)),
        facts=tuple(_facts(trust)),
        tables=(_by_band(trust), _by_case(trust), *_posts(trust)),
        evidence=evidence_of(exact, exact[0]),
    )


def _answer(trust: Trust) -> list[str]:
    said = [
        f"Held against the wave solver in the window, over {len(trust.cases)} designs:"
        f" {'; '.join(trust.cases)}."
    ]
    for method in trust.methods:
        believed = trust.believed(method)
        if believed is None:
            said.append(
                f"{method}: nowhere within {WITHIN_DB:g} dB (rms) over a whole octave, and"
                f" {trust.overall_rms_db(method):.1f} dB over all bands; use it for reasons only."
            )
            continue
        low, high = (band_label(edge) for edge in believed)
        said.append(
            f"{method}: within {WITHIN_DB:g} dB (rms) from {low} to {high} (ka of the cone"
            f" {trust.ka(believed[0]):.2g} to {trust.ka(believed[1]):.2g}); over all bands"
            f" {trust.overall_rms_db(method):.1f} dB."
        )
    return [*said, *_posts_in_words(trust)]


def _posts_in_words(trust: Trust) -> list[str]:
    held = trust.posts
    if held is None:
        return []
    most = int(np.argmax(held.curve_off_db))
    worst = (
        f"at worst {held.curve_off_db[most]:.1f} dB, in the {band_label(held.exact.centres[most])}"
        " band"
    )
    if held.believed_to_hz is None:
        return [f"Posts by estimate against posts solved, round the column: {worst}."]
    return [
        f"Posts by estimate: within {POSTS_WITHIN_DB:g} dB of posts solved, all round the column,"
        f" up to {band_label(held.believed_to_hz)}; {worst}."
    ]


def _posts(trust: Trust) -> tuple[Table, ...]:
    held = trust.posts
    if held is None:
        return ()
    columns = (
        band(),
        number("solved_swing_db", "solved", "swing round the column, posts solved, dB", 2),
        number("estimated_swing_db", "estimate", "the same by estimate, dB", 2),
        number("curve_off_db", "curves\noff", "largest difference about the means, dB", 2),
    )
    cells = (
        held.exact.centres,
        held.exact.peak_to_peak_db,
        held.estimate.peak_to_peak_db,
        held.curve_off_db,
    )
    rows = tuple(tuple(map(float, row)) for row in zip(*cells, strict=True))
    title = "Posts: swing round the column, solved and by estimate, dB"
    return (Table("posts", title, columns, rows, "the file's posts, mean power of the window"),)


def _facts(trust: Trust) -> list[Fact]:
    facts = []
    for method in trust.methods:
        low, high = trust.believed(method) or (None, None)
        facts += [
            Fact(f"{method}_from_hz", low, f"lowest band in which {method} stay within 3 dB rms"),
            Fact(f"{method}_to_hz", high, f"highest band of that unbroken range for {method}"),
        ]
    return facts


def _by_band(trust: Trust) -> Table:
    columns = [band()]
    for method in trust.methods:
        columns += [
            number(f"{method}_mean_db", f"{method}\nmean", f"mean of {method} less waves, dB", 1),
            number(f"{method}_rms_db", "rms", f"rms of {method} less waves, dB", 1),
            number(f"{method}_worst_db", "worst", f"largest difference of {method}, dB", 1),
        ]
    cells = [trust.centres]
    for method in trust.methods:
        mean = trust.difference_db(method).mean(axis=0)
        cells += [mean, trust.rms_db(method), trust.worst_db(method)]
    rows = tuple(tuple(float(value) for value in row) for row in zip(*cells, strict=True))
    return Table(
        "bands",
        "Level in the window less the wave solver's, dB, over all designs",
        tuple(columns),
        rows,
        f"a method is believed where the rms stays within {WITHIN_DB:g} dB",
    )


def _by_case(trust: Trust) -> Table:
    columns = (
        text("candidate", "design", "what was solved"),
        *(
            number(f"{method}_rms_db", f"{method}\nrms", f"rms over the bands, {method}, dB", 1)
            for method in trust.methods
        ),
    )
    each = [trust.rms_by_case_db(method) for method in trust.methods]
    rows: tuple[tuple[Value, ...], ...] = tuple(
        (name, *(float(values[i]) for values in each)) for i, name in enumerate(trust.cases)
    )
    return Table("cases", "By design: rms over the bands, dB", columns, rows)
