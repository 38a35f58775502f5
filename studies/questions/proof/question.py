"""How far the program can be believed: what `roundcast proof` finds, reports and draws."""

from __future__ import annotations

from pathlib import Path

from studies.answer.delivering import deliver
from studies.answer.delivery import Delivery
from studies.answer.question import Question
from studies.answer.writing import require_folder
from studies.design import Design
from studies.questions.proof.figures import proof_pictures
from studies.questions.proof.study import Proof, prove
from studies.questions.proof.tables import proof_tables
from studies.solving.options import Options
from studies.solving.session import watched


def find(design: Design, options: Options) -> Proof:
    """Hold the program against all that is known; the design plays no part."""
    return watched(lambda watch: prove(watch, options.solving.workers))


QUESTION = Question(name="proof", find=find, tell=proof_tables, draw=proof_pictures)


def show_proof(delivery: Delivery, workers: int | None = None) -> bool:
    """Hold the program against all that is known; write and print what came of it.

    Returns
    -------
    bool
        Whether every check holds.

    Raises
    ------
    ExportError
        If the folder cannot be written; nothing is written then.
    """
    folder = delivery.out or Path("roundcast-proof")
    require_folder(folder)
    proof = watched(lambda watch: prove(watch, workers))
    deliver(QUESTION, proof, folder, delivery)
    return not proof.failed
