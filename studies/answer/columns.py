"""Columns that several tables share, and how values are written in print."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from dispersion.bands import band_label
from shapes.lengths import in_both, in_own, other_unit, own_unit
from shapes.parts import Posts
from studies.answer.table import TableColumn, Value
from studies.design import Design
from studies.design.study_tables import TargetTable
from studies.solving.candidates import Row
from studies.solving.target import METER_DB

WHOLE_DB = 3.0
"""Ranges of such changes and larger ones are written in whole decibels."""
_TERMS = (
    ("coverage", "coverage_db", "rms of level over the window's directions, dB"),
    ("steadiness", "steadiness_db", "rms of the directivity about its own straight slope, dB"),
    ("residue", "residue_db", "what a one-octave equaliser leaves, peaks doubled, dB"),
    ("boost", "boost_db", "what that equaliser must lift in the treble, dB"),
)

_HEADINGS = {"coverage": "cover-\nage", "steadiness": "steadi-\nness"}


def mm(metres: float) -> float:
    """Return a length in millimetres, rounded to a millionth of one."""
    return round(metres * 1e3, 6)


def both(millimetres: float) -> str:
    """Write millimetres in both systems, as `in_both`: "26.0 mm (1 1/32 in)"."""
    return in_both(millimetres * 1e-3)


def both_short(millimetres: float) -> str:
    """Write millimetres in both systems without units: "26.0 (1 1/32)", or "1 1/32 (26.0)"."""
    return both(millimetres).replace(" mm", "").replace(" in", "")


def both_units() -> str:
    """Return the units that `both_short` leaves out: "mm (in)" or "in (mm)"."""
    return f"{own_unit()} ({other_unit()})"


LEAST_BASE_PER_KEEP = 0.25
"""Growth of a cap's flat over its keep below which no tape measure tells the keep by the flat."""


def keep_ratio_in_words(base_per_keep: float) -> str:
    """Say how the flat grows with the keep: "1 mm of keep is 2.2 mm across the flat"."""
    if base_per_keep < LEAST_BASE_PER_KEEP:
        return "near half of the ball the flat says nothing of the keep: measure the keep itself"
    if own_unit() == "in":
        return f"1/8 in of keep is {base_per_keep / 8:.2f} in across the flat"
    return f"1 mm of keep is {base_per_keep:.1f} mm across the flat"


def fixed(digits: int) -> Callable[[float], str]:
    """Return a format of numbers with so many decimals, never "-0"."""
    return lambda value: f"{round(value, digits) + 0.0:.{digits}f}"


def in_khz(hertz: float) -> str:
    """Write a frequency in kHz without its unit: "0.85", "4.30", "12.5"."""
    return f"{hertz / 1e3:.{1 if hertz >= 1e4 else 2}f}"


def in_words(hertz: float) -> str:
    """Write a frequency: "850 Hz", "4.3 kHz"."""
    return f"{hertz / 1e3:.3g} kHz" if hertz >= 1e3 else f"{hertz:.0f} Hz"


def db_range(as_it_is: float, soft: float) -> str:
    """Write a change in dB, as a range where a cone that absorbs makes it another: "+6 to +14"."""
    if not abs(as_it_is - soft) >= METER_DB:
        return f"{as_it_is:+z.1f}"
    first, second = sorted((as_it_is, soft), key=abs)
    whole = abs(first) >= WHOLE_DB and round(first) != round(second)
    if whole:
        return f"{first:+z.0f} to {second:+z.0f}"
    return f"{first:+z.1f} to {second:+z.1f}"


def text(key: str, heading: str, description: str, *, shown: bool = True) -> TableColumn:
    """Column of words."""
    return TableColumn(key, heading, description, str, is_text=True, shown=shown)


def length(key: str, heading: str, description: str, *, short: bool = False) -> TableColumn:
    """Column of a length in mm, printed in both systems; short ones name the units on top."""
    if short:
        return TableColumn(key, f"{heading}\n{both_units()}", f"{description}, mm", both_short)
    return TableColumn(key, heading, f"{description}, mm", both)


def own_length(key: str, heading: str, description: str) -> TableColumn:
    """Column of a length in mm, printed in the unit that stands first alone: for wide tables."""
    unit = own_unit()

    def written(millimetres: float) -> str:
        return in_own(millimetres * 1e-3).removesuffix(f" {unit}")

    return TableColumn(key, f"{heading}\n{unit}", f"{description}, mm", written)


def exact_length(key: str, heading: str, description: str) -> TableColumn:
    """Column of a length in mm for a lathe or caliper: thousandths of mm or inch, own unit."""
    one = 25.4 if own_unit() == "in" else 1.0
    return TableColumn(
        key, f"{heading}, {own_unit()}", f"{description}, mm", lambda size: fixed(3)(size / one)
    )


def number(
    key: str, heading: str, description: str, digits: int = 2, *, shown: bool = True
) -> TableColumn:
    """Column of numbers, printed with so many decimals."""
    return TableColumn(key, heading, description, fixed(digits), shown=shown)


def band(heading: str = "band") -> TableColumn:
    """Column of third-octave bands, printed by their nominal names."""
    return TableColumn(
        "frequency_hz", heading, "exact centre of the third-octave band, Hz", band_label
    )


CANDIDATE = text("candidate", "candidate", "name of the candidate", shown=False)
REASON = text("reason", "reason", "why it was not solved; empty if it was", shown=False)
SCORE_COLUMNS = (
    number("score_db", "score", "sum of all shares, dB; 0 is perfect, less is better"),
    *(
        number(
            f"{name}_share_db",
            _HEADINGS.get(name, name),
            f"share of the score by {name}, weight included, dB",
        )
        for name, _, _ in _TERMS
    ),
    *(number(key, name, f"{name} as measured: {what}", shown=False) for name, key, what in _TERMS),
    number("solves", "solves", "frequencies that were solved", 0),
)
SCORE_CAPTION = (
    "score in dB, 0 is perfect, less is better; its terms as they count, weight included: they add"
    " up; solves: frequencies that were solved"
)


def score_cells(row: Row) -> tuple[Value, ...]:
    """Return the cells of `SCORE_COLUMNS` for a candidate; all None if it was not solved."""
    if not row.solved:
        return (None,) * len(SCORE_COLUMNS)
    terms = [row.scorecard.term(name) for name, _, _ in _TERMS]
    shares = (term.cost for term in terms)
    return (row.score, *shares, *(term.measured for term in terms), row.solves)


def formula(target: TargetTable) -> str:
    """Write the formula of the score, with the weights of this target, in one line."""
    tilt = f" for a tilt of {target.wanted_tilt:+g} dB an octave" if target.wanted_tilt else ""
    return (
        f"Score = {target.coverage:g} x coverage + {target.steadiness:g} x steadiness"
        f" + {target.residue:g} x residue + {target.boost:g} x boost{tilt}, dB."
    )


def window_in_words(window: Sequence[float]) -> str:
    """Write a window: "-3 to 15 degrees"."""
    return f"{window[0]:g} to {window[1]:g} degrees"


def target_in_words(design: Design) -> tuple[str, str]:
    """Write what counts as good in two sentences: window with band, and the score's formula."""
    low, high = design.target.band
    return (
        f"Asked for: elevations from {window_in_words(design.window_deg)} seen from the ring,"
        f" {band_label(low)} to {band_label(high)}.",
        formula(design.target),
    )


def posts_name(posts: Posts) -> str:
    """Name a choice of posts: "3 x 6 mm", "4 x 5/16 in"."""
    return f"{posts.count} x {in_own(2 * posts.radius).replace('.0 mm', ' mm')}"
