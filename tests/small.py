"""A small question for tests of studies: the first example, a narrow band, few candidates."""

from pathlib import Path

from studies.design import Design, parse_design

EXAMPLES = Path(__file__).parents[2] / "studies" / "examples"


def small_design(*pairs: tuple[str, str]) -> Design:
    """Return the example with a narrow band and few candidates, and whatever else is asked."""
    path = EXAMPLES / "reading_room.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in (
        ('band = ["100 Hz", "16 kHz"]', "band = [500, 800]"),
        ("keep = { from = 15, to = 55, step = 1 }", "keep = [20, 30, 40, 62]"),
        ("from = 50\nto = 90\nstep = 2", "from = 54\nto = 66\nstep = 4"),
        *pairs,
    ):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return parse_design(text, path)
