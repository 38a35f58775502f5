"""What to say before and after a solve: out of range, out of balance, left out of the model."""

import numpy as np

from dispersion.problem import Problem
from dispersion.response import Response
from dispersion.waves import DEFAULT_SETTINGS, MAX_UNKNOWNS
from dispersion.waves.rings import longest_radius

POWER_WARNING_DB = 0.1
HALF_BAND = 10.0**0.05  # from the centre of a third octave to its edge
BELIEVED_HZ = {"edges": (100.0, 794.3), "rays": (1000.0, 2511.9), "images": (794.3, 2511.9)}
"""Third octaves in which a quick method's level in the window stayed within 3 dB (rms) of the wave
solver: the longest unbroken range over the 30 designs that `studies.trust` makes of the three
examples."""


def problems_before(problem: Problem) -> tuple[str, ...]:
    """Reasons why the wave solver would refuse a problem, in words; empty if it would not."""
    top = float(np.max(problem.frequencies))
    k = 2.0 * np.pi * top / problem.air.speed
    lines = [body.sample(1e-4) for body in problem.assembly.bodies]
    widest = max(float(line[:, 0].max()) for line in lines)
    path = sum(body.length for body in problem.assembly.bodies)
    density = DEFAULT_SETTINGS.mesh.unknowns_per_wavelength
    found = []
    if widest > longest_radius(k):
        limit = longest_radius(k) * top / widest
        found.append(
            f"a radius of {widest * 1e3:.0f} mm is too many wavelengths at {top:.0f} Hz: "
            f"end the band below {limit:.0f} Hz"
        )
    if (unknowns := density * path * top / problem.air.speed) > MAX_UNKNOWNS:
        limit = top * MAX_UNKNOWNS / unknowns
        found.append(
            f"the mesh would need {unknowns:.0f} unknowns at {top:.0f} Hz, {MAX_UNKNOWNS} at "
            f"most: end the band below {limit:.0f} Hz"
        )
    return tuple(found)


def remarks_after(response: Response) -> tuple[str, ...]:
    """Tell what a reader of the result must know: power balance, and what is left out."""
    problem = response.problem
    worst = response.worst_power_error_db
    remarks = []
    if response.method == "waves" and worst > POWER_WARNING_DB:
        f = problem.frequencies[int(np.argmax(np.abs(response.power_error_db).max(axis=0)))]
        remarks.append(
            f"power balance is off by {worst:.2f} dB near {f:.0f} Hz: solve again with a finer mesh"
        )
    if response.method in BELIEVED_HZ:
        low, high = BELIEVED_HZ[response.method]
        top, bottom = np.max(problem.frequencies), np.min(problem.frequencies)
        if bottom < low / HALF_BAND or top > high * HALF_BAND:
            remarks.append(
                f"method {response.method}: levels from {low:.0f} to {high:.0f} Hz were within 3 dB"
                f" of the wave solver on the examples; this result reaches from {bottom:.0f} to"
                f" {top:.0f} Hz, so believe it there only"
            )
    column = problem.assembly.column
    true_shapes = response.method == "rays"
    if column.shape != "round" and not true_shapes:
        remarks.append(
            f"the {column.shape} column is computed as a round one of equal area, "
            f"{column.radius * 2e3:.0f} mm across"
        )
    if problem.assembly.posts is not None:
        remarks.append(
            "posts count as rods that reflect, in the mean over all azimuths"
            if true_shapes
            else "the posts are left out: everything is round"
        )
    for way in problem.ways:
        if way.lets_go is not None:
            remarks.append(
                f"{way.name}: lets go above {way.lets_go.frequency:.0f} Hz (radiating radius "
                f"shrinks as 1/f down to {way.lets_go.least_radius * 1e3:.0f} mm)"
            )
        else:
            remarks.append(f"{way.name}: moves as one rigid piece at every frequency")
        if way.curve is not None:
            remarks.append(
                f"{way.name}: measured curve, its level of {way.curve.zero_db:.1f} dB taken as 0 dB"
            )
    remarks.append(
        "the column stands on a rigid floor without end; no walls or ceiling"
        if problem.floor
        else "free field: no floor, walls or ceiling"
    )
    return tuple(remarks)
