"""What to say before and after a solve: out of range, out of balance, left out of the model.

How far the quick methods may be believed was measured against the wave solver in the coverage
window, on thirty designs (three examples, each with nine relatives: caps, cones, wider gaps), third
octaves from 100 Hz to 16 kHz, 4 frequencies a band:

    ===================  =========  ====================================  ==========================
    method               rms, all   longest range within 3 dB             good for
    ===================  =========  ====================================  ==========================
    edges                3.0 dB     100 Hz to 3.15 kHz: up to ka 3        which paths make a notch
    images               4.1 dB     100 Hz to 2.5 kHz: up to ka 2.4       where paths leave, when
    rays                 5.4 dB     none over an octave                   where the energy goes
    ===================  =========  ====================================  ==========================

Rays do not bend round the column: in the bass they are 6 to 7 dB too loud, higher up mostly too
quiet, and where the two curves cross, at 1 and at 2 kHz, they seem to agree. Images (mirror points
in reflector, plate and baffle) are 3 dB too quiet at 1 kHz, just within the limit, and 5 to 6 dB at
4, 5 and 10 kHz: they take the cone for flat, and every edge for that of a screen. All sizes of a
design scaled together, and the frequencies against them, give the same numbers, but for what air
takes at the walls and where a cone lets go: so the range is told in ka of the cone and in gaps over
the wavelength, and not in hertz.

What has sides counts as the round one of equal area. How far that holds was measured on a column
200 mm across (that of equal area), 300 mm high, a cap of a 180 mm ball 60 mm above it, with flat
sides on the column (under a round baffle too, and bare), on the plate, on both; boundary elements
on one sector against the same with a circle (`tests/validation/test_corners.py`), at the centres of
third octaves from 500 Hz to 4 kHz, 0 to 20 degrees up. The largest difference, dB, mean of all
azimuths and in any azimuth:

    =========  ==========  ==========  ==========  ==========
    k R        square      pentagon    hexagon     octagon
    =========  ==========  ==========  ==========  ==========
    up to 2.3  0.26, 0.33  0.13, 0.14  0.07, 0.07  0.03, 0.03
    up to 3.7  0.26, 0.6   0.13, 0.28  0.07, 0.08  0.03, 0.03
    up to 4.6  0.27, 1.0   0.13, 0.28  0.07, 0.21  0.03, 0.03
    up to 5.8  0.27, 1.0   0.13, 0.29  0.07, 0.33  0.03, 0.05
    up to 7.3  0.95, 2.5   0.27, 0.7   0.16, 1.4   0.05, 0.40
    =========  ==========  ==========  ==========  ==========

N sides send order N round the column, which k R carries out only from about N on: below, corners
change the mean alone, and that by the second order of what they stand out.

By rays alone the first example, each keep at the gap that the wave solver gives it, would keep
47 mm of its ball; the wave solver puts that 0.3 dB behind its own 23 mm, for which rays are 9.6 dB
off at 4 kHz: do not cut by rays.
"""

from collections.abc import Iterator

import numpy as np

from dispersion.air import Air
from dispersion.problem import Problem
from dispersion.response import Response
from dispersion.sources import ConeWave, Way
from dispersion.waves import DEFAULT_SETTINGS, MAX_UNKNOWNS
from dispersion.waves.rings import longest_radius
from shapes.assembly import Assembly
from shapes.columns import computed_outline, made_round
from shapes.lengths import in_own

POWER_WARNING_DB = 0.1
"""What the wave solver promises of its levels: 0.1 dB within 30 dB of the largest."""
HALF_BAND = 10.0**0.05  # from the centre of a third octave to its edge
BELIEVED_KA = {"edges": 3.0, "rays": None, "images": 2.386}
"""Highest ka of the cone at which a quick method's level in the window stayed within 3 dB (rms) of
the wave solver, from the longest waves up; None where it did so over no octave. Held by a slow test
over the 30 designs that `studies.questions.trust` makes of the three examples."""
BELIEVED_GAPS = 0.67
"""And the highest plate gap over the wavelength."""
EQUAL_AREA_DB, EQUAL_AREA_ROUND_DB = 0.3, 0.4
SQUARE_KR, MORE_SIDES_KR = 5.8, 7.3
"""Highest k R, R of the circle of equal area, up to which the level in the window, mean of all
azimuths, was within `EQUAL_AREA_DB` of the circle's; of five sides and more it is the end of what
was measured."""
ROUND_BELOW_ORDER = 1.5
"""In every single direction it was within `EQUAL_AREA_ROUND_DB` up to k R = N less this."""
HOLLOW = "an ellipse, a parabola, a hyperbola and a flare"
"""Of 150 mm and 40 mm height in the first example, where images are 4.2, 3.8, 4.0 and 7.6 dB off:
too quiet in the bass too. Of caps and cones no wave passes a focus."""


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
    """Return what a reader of the result must know: power balance, and what is left out."""
    return (
        *_of_the_method(response),
        *_of_the_shape(response),
        *(remark for way in response.problem.ways for remark in _of_a_way(way)),
        "the column stands on a rigid floor without end; no walls or ceiling"
        if response.problem.floor
        else "free field: no floor, walls or ceiling",
    )


def _of_the_method(response: Response) -> Iterator[str]:
    worst = response.worst_power_error_db
    if response.method == "waves" and worst > POWER_WARNING_DB:
        at = int(np.argmax(np.abs(response.power_error_db).max(axis=0)))
        f = response.solved_frequencies[at]
        yield (
            f"power balance is off by {worst:.2f} dB near {f:.0f} Hz: solve again with a finer mesh"
        )
    if response.method in BELIEVED_KA:
        yield from _beyond_belief(response, float(np.max(response.problem.frequencies)))


def _beyond_belief(response: Response, top: float) -> Iterator[str]:
    """Say up to where a quick method may be believed, if the result reaches farther."""
    method, assembly, speed = response.method, response.problem.assembly, response.problem.air.speed
    ka = BELIEVED_KA[method]
    if ka is None:
        yield (
            f"method {method}: its levels were nowhere within 3 dB of the wave solver over a whole"
            " octave on the examples: believe reasons, not levels"
        )
        return
    if focused := response.settings.get("focused", 0.0):
        yield (
            f"method {method}: {100 * focused:.0f} per cent of its waves pass a focus of the hollow"
            f" reflector; on {HOLLOW} its levels were 4 to 8 dB off (rms): believe reasons, not"
            " levels"
        )
        return
    by_cone = ka * speed / (2.0 * np.pi * assembly.driver.effective_radius)
    limit = min(by_cone, BELIEVED_GAPS * speed / assembly.plate_gap)
    if top > limit * HALF_BAND:
        yield (
            f"method {method}: levels up to ka {ka:g} of the cone and a gap of {BELIEVED_GAPS:g}"
            " wavelengths were within 3 dB of the wave solver on the examples; this result reaches"
            f" to {top:.0f} Hz, so believe it up to {limit:.0f} Hz only"
        )


def _of_the_shape(response: Response) -> Iterator[str]:
    assembly, true_shapes = response.problem.assembly, response.method == "rays"
    outline = computed_outline(assembly.column, assembly.plate)
    if outline is not None and not true_shapes:
        yield outline
        yield from equal_area_range(assembly, response.problem.air)
    if true_shapes and assembly.plate is not None and assembly.plate.sides:
        yield made_round("top plate", assembly.plate.footprint)
    if assembly.posts is not None:
        yield (
            "posts count as rods that reflect, in the mean over all azimuths"
            if true_shapes
            else "the posts are left out: everything is round"
        )


def equal_area_range(assembly: Assembly, air: Air) -> tuple[str, ...]:
    """Say up to where what has sides may count as round; nothing where all is round."""
    heard = believed_as_round(assembly, air)
    if heard is None:
        return ()
    everywhere, mean = (round(limit, 1 - int(np.log10(limit))) for limit in heard)
    return (
        f"held against flat sides, equal area is within {EQUAL_AREA_DB:g} dB up to {mean:.0f} Hz in"
        f" the window, mean of all azimuths, and within {EQUAL_AREA_ROUND_DB:g} dB up to"
        f" {everywhere:.0f} Hz in every direction round the column; an octave higher directions"
        " towards flats and corners are 1 to 1.5 dB off: there roundcast rays tells more",
    )


def believed_as_round(assembly: Assembly, air: Air) -> tuple[float, float] | None:
    """Frequencies, Hz, up to which what has sides may count as round, within `EQUAL_AREA_DB`.

    Returns
    -------
    everywhere, mean : float
        In every direction of the window, and as the mean of all azimuths, which never ends lower.
        None where nothing near the driver has sides.
    """
    column, plate = assembly.column, assembly.plate
    outlines = [column.footprint, column.face] + ([] if plate is None else [plate.footprint])
    sided = {outline for outline in outlines if not outline.is_round}
    if not sided:
        return None
    by_radius = [(outline.sides, air.speed / (2.0 * np.pi * outline.radius)) for outline in sided]
    mean = min((SQUARE_KR if sides == 4 else MORE_SIDES_KR) * each for sides, each in by_radius)
    everywhere = min((sides - ROUND_BELOW_ORDER) * each for sides, each in by_radius)
    return min(everywhere, mean), mean


def _of_a_way(way: Way) -> Iterator[str]:
    if way.lets_go is None:
        yield f"{way.name}: moves as one rigid piece at every frequency"
    elif isinstance(way.lets_go, ConeWave):
        yield f"{way.name}: its motion runs outwards in the cone at {way.lets_go.speed:.0f} m/s"
    else:
        yield (
            f"{way.name}: lets go above {way.lets_go.frequency:.0f} Hz (what radiates "
            f"shrinks as 1/f, to {in_own(2.0 * way.lets_go.least_radius)} across at least)"
        )
    if way.curve is not None:
        yield f"{way.name}: measured curve, its level of {way.curve.zero_db:.1f} dB taken as 0 dB"
