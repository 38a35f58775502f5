"""What is to be built; what is drilled, at a glance: true size is left to the sheets of paper."""

from __future__ import annotations

from matplotlib.figure import Figure

from studies.answer.charts.drafting import Sheet
from studies.answer.charts.style import in_common_style
from studies.answer.picture import Pictures, section_pictures
from studies.answer.report.sheets import WIDTH_IN
from studies.questions.cut.drill_plan import boards, draw_board
from studies.questions.cut.study import Cutting

HEIGHT_IN, HEAD_IN = 3.9, 0.3
"""Of the picture of the boards, and of the words above it."""


def cut_pictures(cutting: Cutting) -> Pictures:
    """Draw the design in section."""
    return section_pictures(cutting.design)


@in_common_style
def boards_figure(cutting: Cutting) -> Figure:
    """Draw what is drilled, plate and baffle, from above, beside one another, not to scale."""
    drawn = tuple(board for board in boards(cutting) if board.posts)
    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN))
    room_in = min(WIDTH_IN / len(drawn), HEIGHT_IN - HEAD_IN)
    scale = max(board.size for board in drawn) * 1.05 / (72 * room_in)
    for at, board in enumerate(drawn):
        width, height = 1 / len(drawn), 1 - HEAD_IN / HEIGHT_IN
        axes = figure.add_axes((at * width, 0, width, height))
        axes.set_axis_off()
        half_width = 36 * WIDTH_IN * width * scale
        half_height = 36 * HEIGHT_IN * height * scale
        axes.set_xlim(-half_width, half_width)
        axes.set_ylim(-half_height, half_height)
        draw_board(Sheet(axes, scale), cutting, board, lettered=False)
        words = f"{board.name}, seen from above: NOT TO SCALE"
        figure.text((at + 0.5) * width, 0.99, words, ha="center", va="top")
    return figure
