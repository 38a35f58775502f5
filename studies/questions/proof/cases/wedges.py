"""The edge integral against exact fields of a point source beside a half plane and a wedge.

- Half plane: H. M. Macdonald (1915), Bowman & Senior; two independent forms agree to 3e-15.
- Wedge of 270 degrees: the line integral of Svensson, Fred & Vanderkooy, J. Acoust. Soc. Am. 106,
  2331 (1999), computed independently.
"""

from __future__ import annotations

import numpy as np

from dispersion.paths.rims import wedge_field
from studies.questions.proof.cases.check import QUICK, Check, Compared, compare

HALF_PLANE, BOX_EDGE = 2.0 * np.pi, 1.5 * np.pi

SOURCE = (1.0, np.radians(45.0), 0.0)

PUBLISHED = 1e-6

FIELD = [
    # k, angle of the receiver, half plane, box edge
    (2, 20, -0.894061 + 1.433135j, -0.866491 + 1.414699j),
    (2, 90, -0.706444 + 0.388498j, -0.675719 + 0.367295j),
    (2, 150, -0.276029 - 0.478029j, -0.238184 - 0.506172j),
    (2, 200, 0.088418 - 0.340336j, 0.137393 - 0.381795j),
    (2, 260, 0.138611 - 0.155818j, 0.209068 - 0.239929j),
    (2, 340, 0.116156 - 0.089929j, None),
    (10, 20, -0.903390 + 1.621963j, -0.894249 + 1.634373j),
    (10, 90, 0.211938 - 1.331076j, 0.222346 - 1.317057j),
    (10, 150, 0.069754 + 0.511941j, 0.083326 + 0.529847j),
    (10, 200, 0.322660 - 0.168217j, 0.342478 - 0.143215j),
    (10, 260, 0.092607 + 0.087334j, 0.138088 + 0.133911j),
    (10, 340, 0.043398 + 0.056348j, None),
]


def receiver(angle: float) -> tuple[float, float, float]:
    """Place of the receiver, cylindrical about the edge."""
    return 1.5, np.radians(angle), 0.4


def published_field(row: tuple[float, float, complex, complex | None]) -> Compared:
    """Field beside a half plane and beside a square edge, real and imaginary parts."""
    k, angle, half_plane, box_edge = row
    found, known = [wedge_field(k, SOURCE, receiver(angle), HALF_PLANE)], [half_plane]
    names = ["half plane"]
    if box_edge is not None:
        found.append(wedge_field(k, SOURCE, receiver(angle), BOX_EDGE))
        known.append(box_edge)
        names.append("square edge")
    at = [f"{name}, {part}" for part in ("real", "imaginary") for name in names]
    there, exact = (np.concatenate((np.real(x), np.imag(x))) for x in (found, known))
    return compare(f"k {k:g}, {angle:g} deg", at, there, exact, PUBLISHED)


CHECKS = (
    Check(
        "Half plane and square edge",
        QUICK,
        "Macdonald (1915), Bowman & Senior; Svensson, Fred & Vanderkooy, J. Acoust. Soc. Am. 106,"
        " 2331 (1999), their line integral computed independently",
        "",
        tuple(FIELD),
        published_field,
    ),
)
