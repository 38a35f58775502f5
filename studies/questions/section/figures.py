"""The design as written, cut through its axis."""

from __future__ import annotations

from studies.design import Design
from studies.pictures.picture import Pictures, section_picture
from studies.shed import Cutting


def section_pictures(design: Design) -> Pictures:
    """Draw the design as written."""
    return {"section": section_picture(design.assembly(), design.title, design)}


def cut_pictures(cutting: Cutting) -> Pictures:
    """Draw what is to be built; the sheets themselves are printed from the PDF."""
    return section_pictures(cutting.design)
