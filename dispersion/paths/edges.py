"""Simple diffraction: the sound of a column as a sum of paths, in milliseconds a frequency.

`dispersion.paths.bounces` says what the paths are. Left out: resonance inside the cone, the frame
above the baffle, the column's foot, creeping round bodies, and the exact edge waves of plate and
reflector.

Three choices (the delay by the driver's depth, the echo from the cone, three rounds of bounces)
were made with the wave solver's answer in sight: how well the two agree (see `dispersion.checks`)
describes this method and is no independent test of it.
"""

import os
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np
from threadpoolctl import threadpool_limits

from dispersion.elevations import mean_square
from dispersion.paths.bounces import DEFAULT_SETTINGS, EdgeSettings, RingScene, all_ways, ring_scene
from dispersion.paths.kirchhoff import Complex, Real
from dispersion.problem import Problem
from dispersion.reference import Reference, flat
from dispersion.response import Response
from dispersion.stopping import Threads, current_stop

Progress = Callable[[int], None]


@dataclass(frozen=True)
class PathShare:
    """What one path brings to one place at one frequency.

    Attributes
    ----------
    name : str
    amplitude : float
        Pressure relative to 0 dB.
    delay_s : float
        After the sound straight from the way, seconds; group delay over a third of an octave.
    phase_deg : float
        Relative to the sum of all paths, -180 to 180; positive is later in time.
    opposite : bool
        More than 120 degrees away from the sum of all other paths.
    """

    name: str
    amplitude: float
    delay_s: float
    phase_deg: float
    opposite: bool


def solve_edges(
    problem: Problem,
    settings: EdgeSettings = DEFAULT_SETTINGS,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Response:
    """Simple diffraction: Kirchhoff bounce by bounce, with the wedge at the baffle's rim.

    Parameters
    ----------
    problem : Problem
        Points should lie outside the assembly, some centimetres from it.
    settings : EdgeSettings
    workers : int, optional
        Threads; as many as there are processors when left out.
    progress : callable, optional
        Called with 1 for every frequency done.

    Returns
    -------
    Response
        Its power balance is no numerical error: it is how far the approximation is from keeping
        the energy.

    Raises
    ------
    EdgesError
        If the reflector reaches below the baffle.
    ValueError
        If the problem has a floor.
    """
    problem.require_free_air("edges")
    frequencies = np.asarray(problem.frequencies, dtype=float)
    # Rounded up to thirds of octaves: frequencies which share a scene.
    tops = 2.0 ** (np.ceil(3.0 * np.log2(frequencies)) / 3.0)

    def one(f: float, scene: RingScene) -> tuple[Complex, Complex, Real, int]:
        current_stop().check()
        ways = all_ways(problem, scene, f, settings)
        if progress is not None:
            progress(1)
        far = np.array([paths.far.sum(axis=0) for paths in ways])
        near = np.array([paths.near.sum(axis=0) for paths in ways])
        return far, near, np.array([paths.driven for paths in ways]), scene.size

    # The matrices are small: threads of the linear algebra would only stand in each other's way.
    with threadpool_limits(limits=1), Threads(workers or os.cpu_count()) as pool:
        shared = np.unique(tops)
        made = pool.map(lambda top: ring_scene(problem, top, settings), shared)
        scenes = dict(zip(shared, made, strict=True))
        results = list(pool.map(one, frequencies, [scenes[top] for top in tops]))
    fars, nears, driven, unknowns = zip(*results, strict=True)
    far = np.stack(fars, axis=1)
    return Response(
        problem=problem,
        reference=Reference(problem.ways, flat(len(problem.ways))),
        method="edges",
        settings=asdict(settings),
        far_by_way=far,
        near_by_way=np.stack(nears, axis=1),
        power_error_db=_power_error(far, np.stack(driven, axis=1), problem.elevations),
        unknowns=np.array(unknowns),
        account=f"Kirchhoff, {settings.rounds} rounds of bounces; no power balance holds for it",
    )


def explain(
    problem: Problem,
    frequency: float,
    elevation: float,
    settings: EdgeSettings = DEFAULT_SETTINGS,
) -> tuple[PathShare, ...]:
    """Which paths meet far away at one elevation, and how.

    Parameters
    ----------
    problem : Problem
        Its own frequencies and elevations are not used.
    frequency : float
        Hz.
    elevation : float
        Degrees.

    Returns
    -------
    tuple of PathShare
        In the order of their bounces. Delays count from the first.
    """
    # A third of an octave, in pairs close enough for no turn of phase to be missed.
    around = frequency * 2.0 ** (np.arange(-3.0, 4.0) / 18.0)
    step = min(0.01 * frequency, 10.0)
    here = replace(problem, elevations=np.array([elevation]), points=np.empty((0, 2)))
    scene = ring_scene(here, float(around[-1] + step), settings)

    def at(f: float) -> tuple[tuple[str, ...], Complex]:
        ways = all_ways(here, scene, f, settings)
        gains = [way.transfer(f) for way in problem.ways]
        names = tuple(name for paths in ways for name in paths.names)
        return names, np.concatenate(
            [gain * paths.far[:, 0] for gain, paths in zip(gains, ways, strict=True)]
        )

    names, shares = at(frequency)
    later = np.array([at(f + step)[1] * np.conj(at(f - step)[1]) for f in around])
    delays = np.angle(later.sum(axis=0)) / (4.0 * np.pi * step)
    return tuple(
        _share(name, share, delay - delays[0], shares.sum())
        for name, share, delay in zip(names, shares, delays, strict=True)
    )


def sentence(shares: Sequence[PathShare], frequency: float | None = None) -> str:
    """What the paths do, in one sentence: which one works against the others.

    Parameters
    ----------
    shares : sequence of PathShare
        From `explain`.
    frequency : float, optional
        Hz; named first if given.
    """
    head = "" if frequency is None else f"{_hertz(frequency)}: "
    strongest = max(shares, key=lambda share: share.amplitude)
    against = [s for s in shares if s.opposite and s is not strongest]
    against = [s for s in against if s.amplitude > 0.1 * strongest.amplitude]
    if not against:
        return f"{head}'{strongest.name}' leads, and nothing strong works against it"
    worst = max(against, key=lambda share: share.amplitude)
    apart = (worst.delay_s - strongest.delay_s) * 1e3
    when = "late" if apart >= 0.0 else "early"
    below = 20.0 * np.log10(strongest.amplitude / worst.amplitude)
    return (
        f"{head}'{worst.name}' arrives {abs(apart):.2f} ms {when}, {below:.1f} dB below "
        f"'{strongest.name}' and opposite in phase"
    )


def _hertz(frequency: float) -> str:
    return f"{frequency:.0f} Hz" if frequency < 1000.0 else f"{frequency / 1000.0:.3g} kHz"


def _share(name: str, share: complex, delay: float, total: complex) -> PathShare:
    others = total - share
    against = np.cos(np.angle(share * np.conj(others))) < np.cos(np.radians(120.0))
    phase = float(np.degrees(np.angle(share * np.conj(total))))
    return PathShare(
        name=name,
        amplitude=float(abs(share)),
        delay_s=float(delay),
        phase_deg=phase,
        opposite=bool(against and others != 0.0),
    )


def _power_error(far: Complex, driven: Real, elevations: Real) -> Real:
    radiated = 4.0 * np.pi * mean_square(np.abs(far) ** 2, elevations)
    # Bounces can add up to a driver that takes power in: then nothing is kept.
    ratio = np.divide(radiated, driven, out=np.full(driven.shape, np.inf), where=driven > 0.0)
    return 10.0 * np.log10(ratio)
