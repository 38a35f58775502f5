"""The design file of a contest's winner: its reflector at its gap."""

from __future__ import annotations

from studies.answer.hung_file import files_with, name_beside, reflector_of
from studies.design import Design
from studies.questions.contest.study import Contest

HOW = "Chosen"


def chosen_name(design: Design) -> str:
    """Name of the file."""
    return name_beside(design, "chosen")


def chosen_files(contest: Contest) -> dict[str, bytes]:
    """Write the design with the winner in it as a design file, with the files that it names."""
    design, won = contest.design, contest.ranked[0].entry
    return files_with(design, chosen_name(design), HOW, reflector_of(won.table), won.plate_gap)
