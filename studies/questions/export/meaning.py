"""What the numbers of an exported directivity mean, in the words that go into every file."""

from __future__ import annotations

from studies.questions.export.study import Directivity


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
        "pressure": "Far-field pressure over that of a flush flat piston in an infinite baffle, on"
        " axis, at the same distance, which moves the same volume: 1 is 0 dB. All ways together,"
        " with crossover, level and driver curve as the design file gives them.",
        "pascals": "Pascals at r metres in a free field: multiply by rho A / (2 pi r) and by"
        f" exp(-j 2 pi f r / c), with rho = {air.density:.4f} kg/m3, c = {air.speed:.2f} m/s and A"
        " the volume acceleration in m3/s2 (effective area times acceleration) of a way whose own"
        " on-axis curve is at 0 dB; peak in, peak out.",
        "phase": "Time counts as exp(+j 2 pi f t), as in a discrete Fourier transform: what comes"
        " later has a falling phase. The delay of the distance is taken out; phase refers to the"
        " middle of the baffle's upper face, on the axis.",
        "directions": "Elevation from the horizon, 90 is straight up; azimuth from the first post,"
        " anticlockwise seen from above. The model is round: the same at every azimuth, posts left"
        " out. Far field: the distance of 1 m is nominal.",
        "air": f"Air: {air.temperature_c:g} degrees Celsius, {air.humidity_percent:g} per cent"
        f" relative humidity, {air.pressure_pa:g} Pa; no absorption.",
        "origin": f"Computed, not measured: method {found.row.response.method}, free field, no"
        " floor and no room.",
    }
