"""The answer to "what do I cut?" in sentences, and what sheets say beside drawings and tables."""

from __future__ import annotations

from collections.abc import Iterator

from shapes.lengths import in_both, in_degrees, in_kg, in_own
from shapes.reflector import Reflector
from studies.answer.cautions import tips_over
from studies.answer.columns import keep_ratio_in_words
from studies.questions.cut.ball_cut import BallCut
from studies.questions.cut.carpentry import (
    air_sentence,
    boards_sentence,
    port_sentences,
)
from studies.questions.cut.study import SPEAKERS, Cutting


def answer(cutting: Cutting) -> tuple[str, ...]:
    """What to cut and what it weighs, the most important sentences first."""
    return tuple(_answer(cutting))


def _answer(cutting: Cutting) -> Iterator[str]:
    reflector, stance = cutting.assembly.reflector, cutting.stance
    if cutting.ball is not None:
        yield from _ball(cutting.ball)
    elif reflector is not None:
        yield (
            f"Reflector, {reflector.label}: base diameter {in_both(2 * reflector.base_radius)},"
            f" {in_both(reflector.height)} high, rim slope {in_degrees(reflector.rim_slope)}."
        )
    yield from _posts(cutting)
    yield from _column(cutting)
    yield (
        f"One speaker weighs about {in_kg(stance.mass)}, its centre of gravity"
        f" {in_both(stance.centre_of_gravity)} above the floor. {tips_over(stance)}"
    )
    yield "Print the sheets at 100 % and measure the bar on each before anything is cut."


def _ball(ball: BallCut) -> Iterator[str]:
    near, far = ball.blade
    yield (
        f"Keep {in_both(ball.keep)} of the ball of {in_both(ball.diameter)}: cut off"
        f" {in_both(ball.cut_off)}. Check: the flat is then {in_both(ball.base_diameter)} across;"
        f" rim slope {in_degrees(ball.rim_slope)}."
    )
    yield (
        f"Mark from the kept pole; the blade runs from {in_both(near)} to {in_both(far)} from it,"
        f" which leaves {in_both(ball.sanding)} to sand off;"
        f" {keep_ratio_in_words(ball.base_per_keep)}."
    )
    yield (
        f"Jig ring of {in_both(ball.ring.inner_diameter)} inside: the flat lies"
        f" {in_both(ball.above_ring(ball.keep, kept_down=True))} above its top with the kept pole"
        f" down, {in_both(ball.above_ring(ball.keep, kept_down=False))} with the kept pole up."
    )
    for other in ball.spread:
        yield (
            f"Where the ball measures {in_both(other.diameter)}, the same keep means cut off"
            f" {in_both(other.cut_off)} and a base of {in_both(other.base_diameter)}."
        )


def _posts(cutting: Cutting) -> Iterator[str]:
    posts = cutting.assembly.posts
    if posts is None:
        return
    words = (
        f"{posts.count} posts (a pair of speakers {posts.count * SPEAKERS}), each"
        f" {in_both(cutting.assembly.post_length)} long, within"
        f" {in_both(cutting.design.post_tolerance)} of each other"
    )
    if posts.count > 1:
        words += f"; their axes are {in_both(posts.chord)} apart, neighbour to neighbour"
    yield f"{words}."


def _column(cutting: Cutting) -> Iterator[str]:
    boards = cutting.carcass.boards
    if boards is not None:
        yield boards_sentence(boards)
    if cutting.carcass_is_told:
        yield air_sentence(cutting)
        yield from port_sentences(cutting)


def about_templates(reflector: Reflector) -> str:
    """Say which of the two templates is what."""
    return (
        f"Reflector: {reflector.label}. MALE is the reflector itself, axis at the left, flat on"
        f" top, {in_both(reflector.base_radius)} along the flat (half of the base) and"
        f" {in_both(reflector.height)} deep. FEMALE is a board to lay against the work."
    )


def drill_notes(cutting: Cutting) -> Iterator[str]:
    """What to know before drilling top plate and baffle."""
    driver, posts = cutting.assembly.driver, cutting.assembly.posts
    inside = "the cone" if driver.cutout_radius is None else "the opening"
    bolts = (
        "Driver's bolt circle: not known here; measure it on the driver. Bolts belong on the flange"
        f" between {inside} and the frame's edge, {in_both(cutting.flange)} wide"
    )
    if posts is not None:
        bolts += (
            f"; between the frame and the posts a ring of {in_both(cutting.frame_to_posts)} is"
            " free. Turn the driver so that no bolt, washer or screwdriver meets a post"
        )
    yield f"{bolts}."
    if posts is not None:
        yield (
            "Plate and baffle have the same post circle and each plan is its own mirror image:"
            " drill both with one plan, or both boards clamped together for the centre marks."
        )
        if posts.socket_baffle >= cutting.carcass.baffle_thickness:
            yield (
                f"THROUGH THE BAFFLE: its sockets are {in_both(posts.socket_baffle)} deep, the"
                f" baffle is {in_both(cutting.carcass.baffle_thickness)} thick. Glue a block under"
                " it at each post."
            )
    if driver.cutout_radius is None:
        yield "Driver's opening: not given in the design; measure the driver's basket."
    yield from _felt(cutting)
    if cutting.assembly.reflector is not None and cutting.assembly.plate is not None:
        yield _fixing(cutting)


def _felt(cutting: Cutting) -> Iterator[str]:
    """How the felt is cut and laid, where there is some."""
    on_baffle, under_plate = cutting.assembly.baffle_felt, cutting.assembly.plate_felt
    felts = [felt for felt in (on_baffle, under_plate) if felt is not None]
    if not felts:
        return
    thick = " and ".join(dict.fromkeys(in_both(felt.thickness) for felt in felts))
    words = f"Felt, {thick} thick: cut the rings by their circles on the drill plan."
    if any(felt.proud == 0.0 for felt in felts):
        words += " A ring that is let in needs a rebate as deep as it is thick."
    posts = cutting.assembly.posts
    if posts is not None and any(felt.outer > posts.inner_radius for felt in felts):
        words += f" Punch it for the posts, {in_both(2 * posts.radius)} across."
    yield f"{words} Glue it over its whole face: loose felt buzzes."


def _fixing(cutting: Cutting) -> str:
    spigot = cutting.making.spigot
    if spigot is None:
        return (
            "Reflector: the design gives no spigot; screw it through the plate's centre mark, and"
            " never hang a heavy one on glue alone."
        )
    return (
        f"Reflector: its spigot hole is {in_both(spigot.diameter)} across and"
        f" {in_own(spigot.depth)} deep, in the middle; drill the plate's centre to match."
    )
