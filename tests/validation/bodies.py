"""What the validation tests share: solids, tolerances, and levels held against each other."""

import numpy as np

from studies.questions.proof.cases.check import (
    LEVEL_TOLERANCE_DB,
    POWER_TOLERANCE_DB,
    PROMISED_RANGE_DB,
    level,
)
from studies.questions.proof.cases.solids import (
    AIR,
    EXAMPLES,
    around,
    built,
    capped_sphere,
    cylinder,
    example,
    frequency_of,
    hidden,
    parts_of,
    plate,
    sphere,
    spheroid,
)

__all__ = [
    "AIR",
    "EXAMPLES",
    "LEVEL_TOLERANCE_DB",
    "POWER_TOLERANCE_DB",
    "PROMISED_RANGE_DB",
    "around",
    "built",
    "capped_sphere",
    "cylinder",
    "example",
    "frequency_of",
    "hidden",
    "level",
    "level_error",
    "parts_of",
    "plate",
    "sphere",
    "spheroid",
]


def level_error(found: np.ndarray, exact: np.ndarray, within: float = PROMISED_RANGE_DB) -> float:
    """Largest level difference in dB where `exact` is within `within` dB of its maximum."""
    target = level(exact)
    loud = target > target.max() - within
    return float(np.abs(level(found) - target)[loud].max())
