"""How far can each quick method be believed?

Every method and the wave solver take the same designs: the one in the file, and a spread of caps,
cones and plate gaps round it. What counts is the level in the coverage window, by third octave.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np

from dispersion.bands import study_frequencies
from dispersion.paths.posts import post_ripple
from dispersion.ripple import Ripple
from shapes.assembly import Assembly
from shapes.lengths import in_own
from shapes.reflectors import ball_cap, cone
from studies.design import Design, DesignError
from studies.solving.candidates import Candidate, NotSolvedError, Row
from studies.solving.grid import COARSE_PER_BAND, Progress, Solver, run
from studies.solving.posted import solved_ripple

WITHIN_DB = 3.0
LEAST_BANDS = 3
"""A range of believed bands is an octave at least: less is two curves that cross."""
POSTS_WITHIN_DB = 0.3
"""Of the level round the column about its mean: well below what anybody hears."""
STEEPEST_DEG = 89.0
"""The estimate of posts is made for elevations short of straight up and straight down."""
PER_BAND = 8
REFERENCE = "waves"
CAP_SHARES = (0.25, 0.4, 0.55, 0.7)  # of the plate gap: heights of the caps that are tried
CONE_SLOPES_DEG = (35.0, 45.0, 50.0)
GAP_FACTORS = (1.25, 1.5)


@dataclass(frozen=True, eq=False)
class PostsHeld:
    """Ripple round the column by the estimate, and solved, over the window."""

    estimate: Ripple
    exact: Ripple

    @property
    def swing_off_db(self) -> np.ndarray:
        """(B,) lowest to highest by the estimate less that solved, dB."""
        return self.estimate.peak_to_peak_db - self.exact.peak_to_peak_db

    @property
    def curve_off_db(self) -> np.ndarray:
        """(B,) largest difference of the two curves about their means, dB."""
        both = (self.estimate, self.exact)
        curves = [one.level_db - one.mean_db[:, None] for one in both]
        return np.abs(curves[0] - curves[1]).max(axis=1)

    @property
    def believed_to_hz(self) -> float | None:
        """Highest band up to which no curve is off by more than `POSTS_WITHIN_DB`; None if none."""
        good = np.logical_and.accumulate(self.curve_off_db <= POSTS_WITHIN_DB)
        return float(self.exact.centres[good][-1]) if good.any() else None


@dataclass(frozen=True, eq=False)
class Trust:
    """Levels in the window by every method, case by case: answer of `roundcast trust`.

    Attributes
    ----------
    design : Design
    cases : tuple of str
        Names of the designs that were solved by all methods.
    centres : (B,) array
        Exact centres of the third-octave bands, Hz.
    rows : mapping of str to tuple of Row
        For each method, the wave solver included, one row a case.
    posts : PostsHeld or None
        The estimate of the file's posts against posts solved; None where there are none, or they
        cannot be told exactly.
    """

    design: Design
    cases: tuple[str, ...]
    centres: np.ndarray
    rows: Mapping[str, tuple[Row, ...]]
    posts: PostsHeld | None = None

    @property
    def methods(self) -> tuple[str, ...]:
        """Methods that are compared with the wave solver."""
        return tuple(name for name in self.rows if name != REFERENCE)

    def difference_db(self, method: str) -> np.ndarray:
        """(C, B) window level by a method less that of the wave solver, dB."""
        pairs = zip(self.rows[method], self.rows[REFERENCE], strict=True)
        return np.array(
            [
                mine.coverage.window_level_db - exact.coverage.window_level_db
                for mine, exact in pairs
            ]
        )

    def rms_db(self, method: str) -> np.ndarray:
        """(B,) rms of the difference over all cases, dB."""
        return np.sqrt(np.mean(self.difference_db(method) ** 2, axis=0))

    def rms_by_case_db(self, method: str) -> np.ndarray:
        """(C,) rms of the difference over all bands, dB."""
        return np.sqrt(np.mean(self.difference_db(method) ** 2, axis=1))

    def overall_rms_db(self, method: str) -> float:
        """Root mean square of the difference over all cases and bands, dB."""
        return float(np.sqrt(np.mean(self.difference_db(method) ** 2)))

    def worst_db(self, method: str) -> np.ndarray:
        """(B,) largest difference of any case, signed, dB."""
        difference = self.difference_db(method)
        return difference[np.argmax(np.abs(difference), axis=0), np.arange(difference.shape[1])]

    def ka(self, frequency: float) -> float:
        """Wavenumber times the cone's effective radius at a frequency in Hz."""
        radius = self.design.assembly().driver.effective_radius
        return 2.0 * np.pi * frequency * radius / self.design.air.speed

    def believed(self, method: str) -> tuple[float, float] | None:
        """Lowest and highest centre of the longest unbroken range of bands within `WITHIN_DB` rms.

        None if it is shorter than `LEAST_BANDS`.
        """
        good = self.rms_db(method) <= WITHIN_DB
        best, start = (0, 0), 0
        for at in range(len(good) + 1):
            if at == len(good) or not good[at]:
                if at - start > best[1] - best[0]:
                    best = (start, at)
                start = at + 1
        if best[1] - best[0] < LEAST_BANDS:
            return None
        return float(self.centres[best[0]]), float(self.centres[best[1] - 1])


def trust(
    design: Design,
    solvers: Mapping[str, Solver],
    progress: Progress | None = None,
    per_band: int = PER_BAND,
) -> Trust:
    """Solve a design and its spread of relatives by every method.

    Parameters
    ----------
    design : Design
    solvers : mapping of str to callable
        `dispersion.solvers.SOLVERS`, or some of them; "waves" must be one.
    progress : callable, optional
        Called with (stage, done, total).
    per_band : int
        Frequencies in a third-octave band, four or more.

    Raises
    ------
    NotSolvedError
        If not one case can be built and solved by every method.
    """
    candidates = spread_of_cases(design)
    rows = {
        name: run(design, candidates, solver, per_band, name, progress)
        for name, solver in solvers.items()
    }
    solved = [i for i in range(len(candidates)) if all(kept[i].solved for kept in rows.values())]
    if not solved:
        reasons = {row.reason for kept in rows.values() for row in kept if row.reason}
        raise NotSolvedError(f"no case can be solved by every method: {'; '.join(sorted(reasons))}")
    kept = {name: tuple(given[i] for i in solved) for name, given in rows.items()}
    first = kept[REFERENCE][0]
    return Trust(
        design,
        tuple(candidates[i].name for i in solved),
        first.coverage.centres,
        kept,
        _posts_held(design, solvers[REFERENCE], progress),
    )


def _posts_held(design: Design, solver: Solver, progress: Progress | None) -> PostsHeld | None:
    """Hold the estimate of the file's posts against posts solved."""
    assembly = design.assembly()
    low, high = design.window_deg
    if assembly.posts is None or max(-low, high) > STEEPEST_DEG:
        return None
    try:
        exact = solved_ripple(design, assembly, solver, progress)
    except DesignError:
        return None
    frequencies = study_frequencies(*design.target.band, COARSE_PER_BAND)
    return PostsHeld(post_ripple(assembly, design.air, frequencies, window_deg=(low, high)), exact)


def spread_of_cases(design: Design) -> list[Candidate]:
    """The design as written, then caps, cones and wider gaps under the same plate."""
    written = design.assembly()
    gap, ball = written.plate_gap, _ball_diameter(design)
    cases: list[tuple[str, Callable[[], Assembly]]] = [("as designed", design.assembly)]
    for share in CAP_SHARES:
        keep = round(share * gap, 3)
        cases.append((f"cap, keep {in_own(keep, 0)}", partial(_with_cap, written, ball, keep)))
    for slope in CONE_SLOPES_DEG:
        cases.append((f"cone, slope {slope:.0f} deg", partial(_with_cone, written, slope)))
    for factor in GAP_FACTORS:
        wider = round(factor * gap, 3)
        cases.append((f"plate gap {in_own(wider, 0)}", partial(written.with_gap, wider)))
    return [Candidate(name, build) for name, build in cases]


def _ball_diameter(design: Design) -> float:
    """Diameter of the design's ball; of one three times the driver where it has none."""
    if design.ball is not None:
        return design.ball.diameter
    return 3.0 * design.assembly().driver.effective_radius


def _with_cap(assembly: Assembly, ball: float, keep: float) -> Assembly:
    return assembly.with_reflector(ball_cap(ball, keep))


def _with_cone(assembly: Assembly, slope_deg: float) -> Assembly:
    """Cone of three quarters of the plate gap in height, or as wide as fits; tip blunt by 3 mm."""
    half_angle = np.radians(90.0 - slope_deg)
    base = min(0.75 * assembly.plate_gap * np.tan(half_angle), 1.2 * assembly.driver.frame_radius)
    return assembly.with_reflector(cone(base, half_angle=half_angle, tip_radius=0.003))
