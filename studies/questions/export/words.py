"""An exported directivity in sentences; what its numbers mean goes into every file too."""

from __future__ import annotations

import numpy as np

from dispersion.bands import band_label
from studies.answer.evidence import balance_in_words, outline_sentences
from studies.design import Design
from studies.questions.export.study import STRONG_DB, Directivity
from studies.solving.leaning import SOLVED_FROM_HZ, hung_in_words, left_out_in_words


def answer(found: Directivity) -> list[str]:
    """Say what was exported, what its numbers mean, and how to check the reading."""
    directions, frequencies = found.directions, found.frequencies
    return [
        f"{frequencies.size} frequencies from {frequencies[0]:.0f} to {frequencies[-1]:.0f} Hz at"
        f" {directions.elevations.size} elevations, {directions.elevation_step:g} degrees apart,"
        " as CSV and JSON" + (_sofa(found) if found.as_sofa else "; SOFA was left out") + ".",
        *_between(found),
        *meaning(found).values(),
        "After reading a file elsewhere, look for the values in the table below.",
    ]


def _between(found: Directivity) -> list[str]:
    if found.directions.every == 1:
        return ["Every elevation that was solved is there."]
    worst = int(np.argmax(found.between_db))
    if found.between_db[worst] < 0.05:
        return ["Between those elevations a straight line is as good: within 0.05 dB (rms)."]
    return [
        f"Between those elevations a straight line is off by {found.between_db[worst]:.1f} dB"
        f" (rms) in the {band_label(found.band_centres[worst])} band, by less in all others, where"
        f" the level is within {STRONG_DB:.0f} dB of the strongest: a smaller --elevation-step"
        " tells more."
    ]


def _sofa(found: Directivity) -> str:
    return (
        f", and in {found.directions.count} directions all round as SOFA (AES69,"
        " FreeFieldDirectivityTF 1.1), verified, read back and compared"
    )


def meaning(found: Directivity) -> dict[str, str]:
    """Say what the pressure is, how to get pascals, and where the directions are.

    Returns
    -------
    dict of str to str
        Sentences by key: ``pressure``, ``pascals``, ``phase``, ``directions``, ``air``,
        ``origin``. Plain ASCII.
    """
    air = found.design.air
    return {
        "pressure": "Far-field pressure over that of the driver itself, all ways together with"
        " crossover, level and curve, flush in an endless rigid baffle, on axis, at the same"
        " distance: 1 is 0 dB.",
        "pascals": "Pascals at r metres in a free field: multiply by what the driver gives straight"
        " ahead in a large baffle, r metres from its middle, phase and all. Computed: its level and"
        " phase in the table of the driver alone, times rho A / (2 pi r) and"
        f" exp(-j 2 pi f r / c), with rho = {air.density:.4f} kg/m3, c = {air.speed:.2f} m/s and A"
        " the volume acceleration in m3/s2 (effective area times acceleration) of a way at 0 dB, or"
        " the pressure that its measured curve calls 0 dB; peak in, peak out.",
        "phase": "Time counts as exp(+j 2 pi f t), as in a discrete Fourier transform: what comes"
        " later has a falling phase. The delay of the distance is taken out; phase refers to the"
        " middle of the baffle's upper face, on the axis.",
        "directions": "Elevation from the horizon, 90 is straight up; azimuth from the first post,"
        f" anticlockwise seen from above. {_round(found)} Far field: the distance of 1 m is"
        " nominal.",
        "air": f"Air: {air.temperature_c:g} degrees Celsius, {air.humidity_percent:g} per cent"
        f" relative humidity, {air.pressure_pa:g} Pa; no absorption.",
        "origin": f"Computed, not measured: method {found.row.response.method}, free field, no"
        f" floor and no room.{_read_from_a_fit(found)}{_as_round(found)}",
    }


def _round(found: Directivity) -> str:
    if found.around is None:
        said = ["The model is round: the same at every azimuth, posts left out."]
        if found.as_sofa:
            return " ".join([*said, *left_out_in_words(found.design)])
        return " ".join([*said, *_in_sofa_only(found.design)])
    holds = []
    if found.posted:
        holds.append("the posts, solved as round rods")
    if found.askew:
        holds.append(
            f"what hanging {hung_in_words(found.design)} changes from {SOLVED_FROM_HZ:.0f} Hz up"
        )
    both = ", each by itself, added" if found.posted and found.askew else ""
    posts = "" if found.posted else " Posts are left out."
    return (
        f"The SOFA file holds {' and '.join(holds)}{both}"
        f" ({balance_in_words(*found.balances)});"
        f" CSV and JSON hold the column without,"
        f" the same at every azimuth.{posts}"
    )


def _in_sofa_only(design: Design) -> list[str]:
    """What the file asks for that changes along the azimuth."""
    if design.target.posts != "solved" and design.tables.askew is None:
        return []
    return ["Solved posts, and what hangs askew, stand in the SOFA file only."]


def _as_round(found: Directivity) -> str:
    """What has sides and counts as round, and up to where that holds."""
    return "".join(f" {said}" for said in outline_sentences(found.row.assembly, found.design.air))


def _read_from_a_fit(found: Directivity) -> str:
    settling = found.row.response.settling
    if settling is None:
        return ""
    rms = 100.0 * float(np.sqrt(np.mean(settling.foretold**2)))
    return (
        f" Read from a rational fit through {len(settling.frequencies)} solved frequencies; at"
        f" {len(settling.foretold)} that it had not seen it was off by {rms:.1f} per cent (rms) in"
        f" the worst direction, {100.0 * settling.foretold.max():.1f} at worst, of the rms pressure"
        " of that direction in the third octave (of a tenth of the strongest where that is more)."
    )
