"""Predicted band levels at the places of a measuring plan, and their uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from dispersion.bands import band_edges, study_frequencies
from dispersion.elevations import level_db, mean_square
from dispersion.paths.posts import post_ripple
from dispersion.response import Response
from shapes.assembly import Assembly
from studies.design import Design
from studies.measured.positions import Position
from studies.questions.meter.places import BEHIND_POST, BESIDE_POST, FARTHER, Stand
from studies.solving.askew_changes import askew_at_positions
from studies.solving.grid import COARSE_PER_BAND, Fineness, Progress, Solver
from studies.solving.posted import ChangeAround, change_at_positions
from studies.solving.predicting import Predicted, as_read, predict
from studies.solving.uncertainty import Uncertainty, late_db, model_db, noise_db, room_db

ROOM_MOST_DB = 2.0
"""Without a gate, a reading is compared if the room changes its difference by no more, dB."""
STEEPEST_DEG = 80.0
"""Highest elevation, up or down, for which the shadow of a post is estimated."""
SHADED = (BEHIND_POST, BESIDE_POST)


class PlacePredictor:
    """Predicts levels of assemblies of one design at places, and solves none of them twice.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    fineness : int or ByNeed
        Frequencies in a third-octave band, or as many as it takes: begun at those of the first
        prediction.
    progress : callable or None
        Called with (stage, done, total).
    """

    def __init__(
        self, design: Design, solver: Solver, fineness: Fineness, progress: Progress | None
    ) -> None:
        self._design, self._solver = design, solver
        self._fineness, self._progress = fineness, progress
        self._known: dict[tuple[Assembly, tuple[Position, ...]], Predicted] = {}
        self._begin: np.ndarray | None = None

    def posts_at(self, assembly: Assembly, stands: Sequence[Stand]) -> ChangeAround | None:
        """(P, B) change by posts at places and their azimuths, dB; None where not solved."""
        where = [stand.position for stand in stands]
        return change_at_positions(self._design, assembly, where, self._solver, self._progress)

    def askew_at(self, assembly: Assembly, stands: Sequence[Stand]) -> ChangeAround | None:
        """(P, B) change by [askew] there, dB; None where the file does not say so."""
        where = [stand.position for stand in stands]
        return askew_at_positions(self._design, assembly, where, self._solver, self._progress)

    def __call__(
        self, assembly: Assembly, positions: Sequence[Position], settled: int | None = None
    ) -> Predicted:
        """Return the band levels of one assembly at these places, of which the first settle."""
        key = (assembly, tuple(positions))
        if key not in self._known:
            self._known[key] = predict(
                self._design,
                assembly,
                positions,
                self._solver,
                self._fineness,
                self._progress,
                settled=settled,
                begin=self._begin,
            )
        if self._begin is None:
            self._begin = self._known[key].response.solved_frequencies
        return self._known[key]

    @property
    def responses(self) -> tuple[Response, ...]:
        """Every solve so far, in the order in which they were asked for."""
        return tuple(predicted.response for predicted in self._known.values())


@dataclass(frozen=True, eq=False, kw_only=True)
class PlacePredictions:
    """Predicted levels at the P places of a plan in B third-octave bands.

    Attributes
    ----------
    centres : (B,) array
        Exact centres of the bands, Hz.
    level_db : (P, B) array
        dB re the driver's own on-axis curve at 1 m; with the posts where they are solved, else
        behind a post with its estimated shadow; as it hangs, where [askew] says so.
    uncertainty : Uncertainty
        Of the readings, but for what nobody knows of driver and build.
    late_db : (P, B) array
        Bias of the difference from the reference by the room's late sound, dB; 0 with a gate.
    comparable : (P, B) bool array
        Bands that may be compared: above the gate's limit, or little changed by the room.
    posts, askew : ChangeAround or None
        What posts, and hanging as [askew] says, change of those levels; None where not solved.
    """

    centres: np.ndarray
    level_db: np.ndarray
    uncertainty: Uncertainty
    late_db: np.ndarray = field(repr=False)
    comparable: np.ndarray = field(repr=False)
    posts: ChangeAround | None = None
    askew: ChangeAround | None = None

    @property
    def changed_db(self) -> np.ndarray:
        """What posts and [askew] change of `level_db` together, (P, B), dB."""
        both = [one.values for one in (self.posts, self.askew) if one is not None]
        return sum(both, start=np.zeros_like(self.level_db))


def predict_places(
    design: Design, assembly: Assembly, stands: Sequence[Stand], predictor: PlacePredictor
) -> PlacePredictions:
    """Predict levels at the places of a plan, with their uncertainty.

    Parameters
    ----------
    design : Design
    assembly : Assembly
        As written.
    stands : sequence of Stand
        The reference first.
    predictor : PlacePredictor
    """
    around = _with_neighbours(design, stands)
    nearby = predictor(assembly, around, len(stands))
    count, centres, measuring = len(stands), nearby.centres, design.tables.measuring
    level = nearby.level_db[:count]
    early = late = np.zeros_like(level)
    if not measuring.gated:
        early = _early(stands, nearby)
        late = late_db(level, _power_db(nearby.response), measuring.absorption_area)
    moved = nearby.level_db[count : 3 * count].reshape(2, count, -1) - level
    free_field = _instrument_and_model(design, assembly, centres)
    independent = np.sqrt(free_field**2 + early**2 + late**2)
    comparable = _comparable(design, stands, centres, np.sqrt(early**2 + early[:1] ** 2 + late**2))
    posts, askew = predictor.posts_at(assembly, stands), predictor.askew_at(assembly, stands)
    if posts is None:
        level, independent = _with_posts(design, assembly, stands, level, independent)
    else:
        level = level + posts.values
    return PlacePredictions(
        centres=centres,
        level_db=level if askew is None else level + askew.values,
        uncertainty=Uncertainty(independent, moved, np.zeros((0, *level.shape))),
        late_db=late,
        comparable=comparable,
        posts=posts,
        askew=askew,
    )


def _with_neighbours(design: Design, stands: Sequence[Stand]) -> list[Position]:
    """All places; all moved outwards, then upwards; the mirror images of each place's bounces."""
    step, places = design.tables.measuring.placing, [stand.position for stand in stands]
    outwards = [replace(place, r=place.r + step) for place in places]
    upwards = [replace(place, height=place.height + step) for place in places]
    images = [bounce.image for stand in stands for bounce in stand.bounces]
    return [*places, *outwards, *upwards, *images]


def _early(stands: Sequence[Stand], nearby: Predicted) -> np.ndarray:
    """(P, B) uncertainty of a level through the first bounces, dB."""
    count, centres = len(stands), nearby.centres
    images = nearby.level_db[3 * count :].reshape(count, -1, len(centres))
    return np.array(
        [
            room_db(direct, list(bounced), [bounce.delay for bounce in stand.bounces], centres)
            for stand, direct, bounced in zip(stands, nearby.level_db, images, strict=False)
        ]
    )


def _power_db(response: Response) -> np.ndarray:
    """(B,) sound power, as the level at 1 m if it left evenly in all directions."""
    mean = mean_square(response.power, response.problem.elevations)
    return level_db(as_read(response, response.band_means(mean)))


def _instrument_and_model(design: Design, assembly: Assembly, centres: np.ndarray) -> np.ndarray:
    """(B,) standard deviation of one reading in a free field, dB."""
    measuring, cone = design.tables.measuring, 2.0 * assembly.driver.effective_radius
    squares = measuring.repeats_within_db**2 + model_db(centres, cone, design.air.speed) ** 2
    return np.sqrt(squares if measuring.gated else squares + noise_db(centres) ** 2)


def _comparable(
    design: Design, stands: Sequence[Stand], centres: np.ndarray, room: np.ndarray
) -> np.ndarray:
    """(P, B) true where both the reading and the reference's in that band can be trusted."""
    if design.tables.measuring.gated:
        limits = np.array([stand.one_period_hz for stand in stands])
        valid = band_edges(centres)[0] >= limits[:, None]
    else:
        valid = room <= ROOM_MOST_DB
        # Twice as far is there to show the room: it is read wherever the reference is.
        for number, stand in enumerate(stands):
            if stand.position.name == FARTHER:
                valid[number] = valid[0]
    return valid & valid[:1]


def _with_posts(
    design: Design,
    assembly: Assembly,
    stands: Sequence[Stand],
    level: np.ndarray,
    independent: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Add the estimated shadow of a post where the meter stands behind or beside one."""
    shaded = [n for n, stand in enumerate(stands) if stand.position.name in SHADED]
    if not shaded:
        return level, independent
    elevation = float(np.clip(stands[0].elevation_deg, -STEEPEST_DEG, STEEPEST_DEG))
    frequencies = study_frequencies(*design.target.band, COARSE_PER_BAND)
    ripple = post_ripple(assembly, design.air, frequencies, window_deg=(elevation, elevation))
    level, independent = level.copy(), independent.copy()
    between, *others = (
        ripple.level_db[:, round(stands[n].azimuth_deg) % 360] for n in (0, *shaded)
    )
    for n, there in zip(shaded, others, strict=True):
        level[n] += there - between
        # The estimate is good to about half of itself (see `dispersion.paths.posts`).
        independent[n] = np.hypot(independent[n], 0.5 * np.abs(there - between))
    return level, independent
