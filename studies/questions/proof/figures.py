"""How far off the program is."""

from __future__ import annotations

import numpy as np

from studies.charts import Climb, error_by_frequency_figure, error_by_mesh_figure
from studies.pictures.picture import Picture, Pictures
from studies.proof import DEFAULT_ELEMENTS, Proof, error_by_frequency
from studies.proving.check import LEVEL_TOLERANCE_DB
from studies.proving.meshes import FULL_ORDER


def proof_pictures(proof: Proof) -> Pictures:
    """Draw the error against frequency and against elements per wavelength."""
    climbs = [
        Climb(ladder.name, ladder.per_wavelength, 20.0 * np.log10(1.0 + ladder.error))
        for ladder in proof.ladders
    ]
    errors = error_by_frequency(proof)
    drawn = {}
    if errors:
        figure = error_by_frequency_figure(
            "Wave solver: largest difference to what is known, at each frequency",
            errors,
            LEVEL_TOLERANCE_DB,
        )
        drawn["frequency"] = Picture(
            figure,
            "How far off the wave solver is, pitch by pitch. Solids without a size of their own"
            " stand where a radius of 100 mm would put them; printed digits are in the difference"
            " (echoes: half of 0.01 dB); 0.00001 dB means that or less.",
        )
    figure = error_by_mesh_figure(
        "Wave solver: error of the far field on finer and finer meshes",
        climbs,
        DEFAULT_ELEMENTS,
        LEVEL_TOLERANCE_DB,
        FULL_ORDER,
    )
    drawn["mesh"] = Picture(
        figure,
        "How fast the error falls as elements shrink: largest error anywhere, re the maximum.",
    )
    return drawn
