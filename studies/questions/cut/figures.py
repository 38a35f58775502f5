"""What is to be built; the sheets themselves are printed from the PDF."""

from studies.answer.picture import Pictures, section_pictures
from studies.questions.cut.study import Cutting


def cut_pictures(cutting: Cutting) -> Pictures:
    """Draw the design in section."""
    return section_pictures(cutting.design)
