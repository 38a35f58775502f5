"""The model round the places of a plan: predicted levels, and how far each may be off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from dispersion.bands import band_edges, band_means, study_frequencies
from dispersion.elevations import level_db, mean_square
from dispersion.paths.posts import post_ripple
from dispersion.response import Response
from shapes.assembly import Assembly
from shapes.clashes import find_clashes
from studies.design import Design
from studies.measured.positions import Position
from studies.questions.meter.doubts import Doubts, late_db, model_db, noise_db, room_db
from studies.questions.meter.places import BEHIND_POST, BESIDE_POST, FARTHER, Stand
from studies.solving.grid import COARSE_PER_BAND, Progress, Solver
from studies.solving.predicting import Predicted, predict

ROOM_MOST_DB = 2.0
"""Where the room may move a difference by more, a reading without a gate is not compared."""
STEEPEST_DEG = 80.0
SHADED = (BEHIND_POST, BESIDE_POST)


class Asked:
    """The model of a design at places; each assembly is solved once for the same places."""

    def __init__(
        self, design: Design, solver: Solver, per_band: int, progress: Progress | None
    ) -> None:
        self._how = (design, solver, per_band, progress)
        self._known: dict[tuple[Assembly, tuple[Position, ...]], Predicted] = {}

    def __call__(self, assembly: Assembly, positions: Sequence[Position]) -> Predicted:
        """Predict the levels of one assembly at these places."""
        key = (assembly, tuple(positions))
        if key not in self._known:
            design, solver, per_band, progress = self._how
            self._known[key] = predict(design, assembly, positions, solver, per_band, progress)
        return self._known[key]

    @property
    def responses(self) -> tuple[Response, ...]:
        """Every solve so far."""
        return tuple(predicted.response for predicted in self._known.values())


@dataclass(frozen=True, eq=False)
class Foreseen:
    """What the model says at the places of a plan.

    Attributes
    ----------
    centres : (B,) array
        Exact centres of the bands, Hz.
    level_db : (P, B) array
        dB relative to the house's 0 dB at 1 m; a post's shade added where the meter is behind one.
    doubts : Doubts
    late_db : (P, B) array
        What the room's late sound does to the difference from the reference, dB; 0 with a gate.
    fair : (P, B) bool array
        Bands that may be compared.
    """

    centres: np.ndarray
    level_db: np.ndarray
    doubts: Doubts
    late_db: np.ndarray = field(repr=False)
    fair: np.ndarray = field(repr=False)


def foresee(
    design: Design, assembly: Assembly, stands: Sequence[Stand], ask: Asked, gap_is_open: bool
) -> Foreseen:
    """Predict levels at the places, and how far each may be off.

    Parameters
    ----------
    design : Design
    assembly : Assembly
        As written.
    stands : sequence of Stand
        The reference first.
    ask : Asked
    gap_is_open : bool
        The plate gap is the question: then it counts among no errors.
    """
    around = ask(assembly, _with_neighbours(design, stands))
    count, centres, measuring = len(stands), around.centres, design.tables.measuring
    level = around.level_db[:count]
    early = late = np.zeros_like(level)
    if not measuring.gated:
        early = _early(stands, around)
        late = late_db(level, _power_db(around.response), measuring.absorption_area)
    moved = around.level_db[count : 3 * count].reshape(2, count, -1) - level
    shared = np.zeros((0, *level.shape))
    if not gap_is_open:
        shared = _with_the_plate_lower(design, assembly, stands, ask) - level
    alone = np.sqrt(_instrument_and_model(design, assembly, centres) ** 2 + early**2 + late**2)
    fair = _fair(design, stands, centres, np.sqrt(early**2 + early[:1] ** 2 + late**2))
    level, alone = _with_posts(design, assembly, stands, level, alone)
    return Foreseen(centres, level, Doubts(alone, moved, shared), late, fair)


def _with_neighbours(design: Design, stands: Sequence[Stand]) -> list[Position]:
    """The places, the same a little outwards, a little upwards, and their bounces' images."""
    step, places = design.tables.measuring.placing, [stand.position for stand in stands]
    outwards = [replace(place, r=place.r + step) for place in places]
    upwards = [replace(place, height=place.height + step) for place in places]
    images = [bounce.image for stand in stands for bounce in stand.bounces]
    return [*places, *outwards, *upwards, *images]


def _early(stands: Sequence[Stand], around: Predicted) -> np.ndarray:
    """(P, B) how far the first bounces may move a level, dB."""
    count, centres = len(stands), around.centres
    images = around.level_db[3 * count :].reshape(count, -1, len(centres))
    return np.array(
        [
            room_db(direct, list(bounced), [bounce.delay for bounce in stand.bounces], centres)
            for stand, direct, bounced in zip(stands, around.level_db, images, strict=False)
        ]
    )


def _power_db(response: Response) -> np.ndarray:
    """(B,) sound power, as the level at 1 m if it left evenly in all directions."""
    mean = mean_square(response.power, response.problem.elevations)
    return level_db(band_means(response.problem.frequencies, mean)[1])


def _instrument_and_model(design: Design, assembly: Assembly, centres: np.ndarray) -> np.ndarray:
    """(B,) standard deviation of one reading in a free field, dB."""
    measuring, cone = design.tables.measuring, 2.0 * assembly.driver.effective_radius
    squares = measuring.repeats_within_db**2 + model_db(centres, cone, design.air.speed) ** 2
    return np.sqrt(squares if measuring.gated else squares + noise_db(centres) ** 2)


def _with_the_plate_lower(
    design: Design, assembly: Assembly, stands: Sequence[Stand], ask: Asked
) -> np.ndarray:
    """(1, P, B) levels with the plate gap larger by its tolerance; (0, P, B) if that is zero."""
    off, places = design.tables.tolerance.plate_gap, [stand.position for stand in stands]
    changed = assembly.with_gap(assembly.plate_gap + off)
    if off == 0.0 or find_clashes(changed):
        return np.zeros((0, 1, 1))
    return ask(changed, places).level_db[None]


def _fair(
    design: Design, stands: Sequence[Stand], centres: np.ndarray, room: np.ndarray
) -> np.ndarray:
    """(P, B) whether a band may be compared at a place, the reference there included."""
    if design.tables.measuring.gated:
        limits = np.array([stand.one_period_hz for stand in stands])
        honest = band_edges(centres)[0] >= limits[:, None]
    else:
        honest = room <= ROOM_MOST_DB
        # Twice as far is there to show the room: it is read wherever the reference is.
        for number, stand in enumerate(stands):
            if stand.position.name == FARTHER:
                honest[number] = honest[0]
    return honest & honest[:1]


def _with_posts(
    design: Design,
    assembly: Assembly,
    stands: Sequence[Stand],
    level: np.ndarray,
    alone: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Add the estimated shade of a post where the meter stands behind or beside one."""
    shaded = [n for n, stand in enumerate(stands) if stand.position.name in SHADED]
    if not shaded:
        return level, alone
    elevation = float(np.clip(stands[0].elevation_deg, -STEEPEST_DEG, STEEPEST_DEG))
    frequencies = study_frequencies(*design.target.band, COARSE_PER_BAND)
    ripple = post_ripple(assembly, design.air, frequencies, window_deg=(elevation, elevation))
    level, alone = level.copy(), alone.copy()
    between, *others = (
        ripple.level_db[:, round(stands[n].azimuth_deg) % 360] for n in (0, *shaded)
    )
    for n, there in zip(shaded, others, strict=True):
        level[n] += there - between
        # The estimate is good to about half of itself (see `dispersion.paths.posts`).
        alone[n] = np.hypot(alone[n], 0.5 * np.abs(there - between))
    return level, alone
