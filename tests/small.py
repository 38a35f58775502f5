"""A small question for tests of studies: the first example, a narrow band, few candidates."""

import importlib
from pathlib import Path

from studies.answer.question import Question
from studies.design import Design, parse_design

ROOT = Path(__file__).resolve().parents[1]
EXAMPLES = ROOT / "studies" / "examples"


def small_design(*pairs: tuple[str, str]) -> Design:
    """Return the example with a narrow band and few candidates, and whatever else is asked."""
    path = EXAMPLES / "reading_room.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in (
        ('band = ["100 Hz", "16 kHz"]', "band = [500, 800]"),
        ("keep = { from = 15, to = 55, step = 1 }", "keep = [20, 30, 40, 62]"),
        ("from = 50\nto = 90\nstep = 2", "from = 54\nto = 66\nstep = 4"),
        ('hold = "nothing"', 'hold = "plate gap"'),
        *pairs,
    ):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return parse_design(text, path)


def every_question() -> list[Question]:
    """Return what every folder of `studies.questions` asks, where it asks of a design."""
    rooms = sorted(path.parent.name for path in ROOT.glob("studies/questions/*/question.py"))
    return [
        importlib.import_module(f"studies.questions.{name}.question").QUESTION for name in rooms
    ]
