"""What to take care of at the bench; each printed only where an answer leads to it.

Common practice, no source.
"""

import math

from shapes.lengths import INCH, in_both, in_degrees, in_own, own_unit
from shapes.weights import Stance

BALL = (
    "Hold the ball in a jig; never cut it freehand on a saw: balls roll. Eye, ear and face"
    " protection, dust extraction, no gloves or loose sleeves at the lathe.",
    "Foam: ventilate when hot-wiring or sanding; it burns and drips, and solvents and hot glue"
    " melt it. Keep it from amplifiers, lamps and heat.",
)
SWEEPS = (
    "Noise and tones for the meter: start low and above the driver's safe frequency, protect your"
    " hearing (85 dBA for 8 hours, half that time for every 3 dB more)."
)
SAFE_START = (
    "Never sweep a small driver, least of all a tweeter, at high level below its range: start above"
    " the frequency that its maker calls safe, and quietly."
)
MEASURING = (
    "Hearing: wear ear protection above 85 dB(A), and keep it short (85 dB(A) for 8 hours, half"
    " that time for every 3 dB more); warn others in the house. 75 to 80 dB at the meter will do.",
    "Weigh down the foot of the column and of the microphone's stand so that neither tips; no"
    " climbing on chairs: a ladder stands on firm ground and somebody holds it.",
    "Mains: switch off before anything is connected, lay cables where nobody trips, open nothing"
    " that is live; local codes and licensed practice come first.",
)
TURNING = (
    "Lathe, router, saw: eye, ear and face protection, dust extraction, no gloves or loose sleeves"
    " at the lathe."
)
BOARDS = (
    "Bevels on a table saw: guard and riving knife on, push stick, the board flat under pressure,"
    " the offcut free and never trapped between blade and fence; the blade stands still before you"
    " reach for anything.",
    "Glue: ventilate, gloves, nothing on the skin; wipe up what squeezes out while it is wet.",
)
FELT = (
    "Felt burns and sheds dust: keep it from amplifiers and lamps, ventilate while the glue dries,"
    " and leave the cone's surround free to move."
)
TIPPING = (
    "Strap a tall column to the wall where there are children; nothing heavy hangs on glue alone."
)
MATERIALS = {
    "foam": BALL[1],
    "wood": "Wood and MDF: the dust harms the lungs; extract it at the tool, wear a mask, sweep"
    " nothing dry. MDF dust and its binder ask for the most care.",
    "plastic": "Plastic: saw slowly and cool; it melts, and its fumes and dust are not for"
    " breathing. Ventilate.",
    "metal": "Metal rods and tubes: clamp them in a vice, cut with eye protection, file off the"
    " burrs, sweep up the swarf; no gloves at a turning tool.",
    "stone": "Stone, plaster, concrete: the dust holds quartz; work it wet or with extraction and"
    " a fine-dust mask.",
}
"""By the kind of material."""
LOCAL_RULES = "Mains parts, fire and stability rules: local codes and licensed practice come first."


def posts_alike(within: float) -> str:
    """Say how nearly the posts of one speaker must be of one length, m."""
    return (
        f"Posts of one speaker within {in_both(within)} of each other; dry-fit on threaded rod and"
        " measure first."
    )


def tips_over(stance: Stance) -> str:
    """Say how far the speaker leans before it falls, and whether that is enough."""
    verdict = "steady enough"
    if not stance.steady:
        step = INCH / 4 if own_unit() == "in" else 5e-3
        width = step * math.ceil(stance.steady_width / step - 1e-9)
        verdict = f"NOT STEADY: a foot {in_both(width)} wide would do, or weight in it"
    return (
        f"It tips over at {in_degrees(stance.tipping_angle)} (half the base,"
        f" {in_own(stance.half_base)}, over the height of the centre of gravity,"
        f" {in_own(stance.centre_of_gravity)}): {verdict}. 12 to 15 deg or more is wanted."
    )
