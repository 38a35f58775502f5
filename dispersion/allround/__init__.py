"""What is not round, on top of `dispersion.waves`: posts in the gap, what hangs askew, shadows.

    answer = solve_ring(assembly, frequency, drives, orders, elevations, air)
    field = stand(answer, [Rod(radius=0.003, circle_radius=0.089)], fold=3)
    field.at_azimuths(azimuths)  # (ways, elevations, azimuths), Pa m

Posts of any count, thickness and circle take milliseconds once the answer of a design is known.
"""

from .around import Around, solve_around
from .askew import AskewPair, Displacement, solve_askew, solve_pair
from .by_frequency import Solving
from .flat_ring import AllRoundError, FlatRing, flat_ring, orders_up_to
from .leaning import STRAIGHT, Leaning, half_circle, solve_leaning
from .posts import PostedField, Rod, stand
from .ring_answer import RingAnswer, solve_ring
from .shadows import Crossing, pressure_past, solve_shadows

__all__ = [
    "STRAIGHT",
    "AllRoundError",
    "Around",
    "AskewPair",
    "Crossing",
    "Displacement",
    "FlatRing",
    "Leaning",
    "PostedField",
    "RingAnswer",
    "Rod",
    "Solving",
    "flat_ring",
    "half_circle",
    "orders_up_to",
    "pressure_past",
    "solve_around",
    "solve_askew",
    "solve_leaning",
    "solve_pair",
    "solve_ring",
    "solve_shadows",
    "stand",
]
