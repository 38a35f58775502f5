"""The search of a fit: bounded least squares, and the standard deviation of a residual with it.

A made-up speaker of the example, cone 18 mm deep in place of 22 and letting go at 8.1 kHz in place
of 4, was read over the bare column and under the uncut cap at four places, 1 dB of noise. Begun at
what is written the search ended at 4.1 kHz within 0.2 octaves and a diameter 10 mm too small: so
it begins where all sizes together promise most along that frequency (`Search._start`).
"""

from __future__ import annotations

import numpy as np

from studies.questions.overlay.estimating import centred, covariance_of, residual_deviation
from studies.questions.overlay.trials import MOST_EVALUATIONS, STEP, Trials

INSIDE = 0.25
"""Prior widths from a bound at which the search begins where what is written lies on it, and the
most of the room between both: from the bound itself no step leads on."""
NEAR = 0.5
"""Prior widths within which a Jacobian is kept."""
RESERVED, MOST_STEPS, MOST_ROUNDS, STEADY = 26, 10, 4, 0.1
"""Solves kept for the Jacobian at the solution and for cross-validation; Gauss-Newton steps of one
round; most rounds with a new standard deviation; relative change of it that counts as none."""
ALONG, STARTS = 9, 3
"""Values of a frequency at which other minima are looked for, three eighths of an octave apart; how
many of them, the most promising, are solved before the search begins."""
IMPOSSIBLE_DB = 1e3
ROUGH, CONVERGED = 1e-2, 1e-3
"""Share of the misfit, or of the sizes, that a step must still gain: before the Jacobian is taken
from both sides, and after. Converged at once, the example took 46 trials in place of 37."""


class Search:
    """Least squares by Gauss-Newton steps from the design as written, or what promises more.

    Rounds alternate: sizes at a given standard deviation of a residual, then that deviation at
    these sizes, until both converge. The Jacobian is kept while the sizes stay near, and taken
    from both sides at the end.

    Parameters
    ----------
    trials : Trials
    by_band : bool
        Subtract the mean over the positions of each band; otherwise one mean.
    stated_db : float
        Standard deviation of model and meter, as stated.
    freedom : float
        Degrees of freedom of the standard deviation.

    Attributes
    ----------
    known : (P, B) bool array
        True where a reading counts.
    widths : (K,) array
        Sizes so far, in prior widths from what is written.
    sigma_db : float
        Standard deviation of a residual so far.
    jacobian : (K, P, B) array
        dB for each prior width, near `widths`.
    settled : bool
        True once both have converged.
    """

    def __init__(self, trials: Trials, *, by_band: bool, stated_db: float, freedom: float) -> None:
        self.trials, self.by_band = trials, by_band
        self.known = np.isfinite(trials.measured.level_db)
        self.stated_db, self.freedom = stated_db, freedom
        self.sigma_db, self.settled = stated_db, False
        self.widths = self._start(_inside(*trials.bounds))
        self._at, self.jacobian = self.widths, trials.jacobian(self.widths)

    def run(self) -> None:
        """Search from the design as written; afterwards the Jacobian is that at the solution."""
        self._until_steady(ROUGH)
        self._at, self.jacobian = self.widths, self.trials.jacobian(self.widths, both_sides=True)
        self._until_steady(CONVERGED)

    def centred_jacobian(self) -> np.ndarray:
        """(K, N) Jacobian of the residuals, sign reversed: mean over the positions subtracted."""
        return centred(self.jacobian, self.known, by_band=self.by_band)

    def deviation_along(self, at: int, deviation: float) -> float:
        """Standard deviation of a size whose other values may fit as well, in prior widths.

        The Jacobian knows one minimum. The misfit is asked again at even steps from bound to bound,
        the other sizes held: where it rises by D a value weighs exp(-D / 2), and the minimum 1, or
        as many steps as sqrt(2 pi) of its deviations are. What is returned is the root of the mean
        square of the distances from the minimum; other sizes would make less of D, so it may be
        more. Minima narrower than the steps are missed.

        Parameters
        ----------
        at : int
            Which size.
        deviation : float
            Of the minimum that was found.
        """
        low, high = (float(end[at]) for end in self.trials.bounds)
        count = min(ALONG, MOST_EVALUATIONS - self.trials.evaluations)
        if count < 2 or high <= low:
            return deviation
        places, step = np.linspace(low, high, count, retstep=True)
        tried = np.tile(self.widths, (count, 1))
        tried[:, at] = places
        rise = np.array([self._square(one) for one in tried]) - self._square(self.widths)
        off = places - self.widths[at]
        weights = np.where(np.abs(off) > 2.0 * deviation, np.exp(-0.5 * np.maximum(rise, 0.0)), 0.0)
        own = max(np.sqrt(2.0 * np.pi) * deviation / step, 1.0)
        return float(np.sqrt((own * deviation**2 + weights @ off**2) / (own + weights.sum())))

    def _square(self, widths: np.ndarray) -> float:
        return float(np.sum(self._misfit(widths) ** 2))

    def _start(self, begin: np.ndarray) -> np.ndarray:
        """Where the search begins: what is written, or what leaves less at another frequency.

        Along the frequency where the cone lets go minima are many, and each wants other sizes. So
        at even steps of it from bound to bound the other sizes are found to first order; of the
        `STARTS` that should leave least, solved, that which does is where the search begins.
        """
        frequencies = [n for n, size in enumerate(self.trials.parameters) if size.octaves]
        if not frequencies:
            return begin
        (at,) = frequencies
        low, high = (float(end[at]) for end in self.trials.bounds)
        starts = self._to_first_order(begin, at, np.linspace(low, high, ALONG))
        best = sorted(starts, key=lambda one: one[0])[:STARTS]
        tried = [begin, *(widths for _, widths in best)]
        return min(tried, key=self._square)

    def _to_first_order(
        self, begin: np.ndarray, at: int, places: np.ndarray
    ) -> list[tuple[float, np.ndarray]]:
        """Misfit and sizes near each value of one of them, all of them where straight lines lead.

        With b where it begins, r the residuals and J the Jacobian there, C its covariance: they
        are b + C (J r / s^2 - b), that size half way to its next value at most.
        """
        trials, (low, high) = self.trials, self.trials.bounds
        here = trials.levels_along(begin, at, places)
        if np.isnan(here).any():
            return []
        slopes = np.zeros((len(begin), *here.shape))
        slopes[at] = np.gradient(here, places, axis=0)
        for other in (n for n in range(len(begin)) if n != at):
            moved = begin.copy()
            moved[other] += STEP if begin[other] + STEP <= high[other] else -STEP
            change = trials.levels_along(moved, at, places) - here
            slopes[other] = np.nan_to_num(change) / (moved[other] - begin[other])
        near = 0.5 * (places[1] - places[0])
        found = []
        for n, place in enumerate(places):
            start = begin.copy()
            start[at] = place
            left = trials.measured.level_db - here[n]
            residual = centred(left, self.known, by_band=self.by_band)
            jacobian = centred(slopes[:, n], self.known, by_band=self.by_band)
            gradient = jacobian @ residual / self.sigma_db**2 - start
            widths = start + covariance_of(jacobian, self.sigma_db) @ gradient
            widths[at] = np.clip(widths[at], place - near, place + near)
            widths = np.clip(widths, low, high)
            rest = residual - (widths - start) @ jacobian
            found.append((float(rest @ rest / self.sigma_db**2 + widths @ widths), widths))
        return found

    def _until_steady(self, gain: float) -> None:
        for _ in range(MOST_ROUNDS):
            converged, before = self._least_squares(gain), self.sigma_db
            residual = self._residual(self.widths)
            self.sigma_db = residual_deviation(residual, self.stated_db, self.freedom)
            self.settled = converged and abs(self.sigma_db / before - 1.0) < STEADY
            if self.settled:
                return

    def _least_squares(self, gain: float) -> bool:
        """Move to the most likely sizes at this standard deviation; return whether it converged."""
        from scipy.optimize import least_squares

        found = least_squares(
            self._misfit,
            self.widths,
            jac=self._misfit_jacobian,
            bounds=self.trials.bounds,
            ftol=gain,
            xtol=gain,
            gtol=1e-2,
            max_nfev=max(1, min(self._solves_left, MOST_STEPS)),
        )
        self.widths = found.x
        return found.status > 0

    @property
    def _solves_left(self) -> int:
        """Solves that may still be spent on the search."""
        return MOST_EVALUATIONS - RESERVED - self.trials.evaluations

    def _residual(self, widths: np.ndarray) -> np.ndarray:
        levels = self.trials.levels(widths)
        if levels is None:
            return np.full(int(self.known.sum()), IMPOSSIBLE_DB)
        return centred(self.trials.measured.level_db - levels, self.known, by_band=self.by_band)

    def _misfit(self, widths: np.ndarray) -> np.ndarray:
        """(N + K,) residuals and sizes, each over its standard deviation."""
        return np.append(self._residual(widths) / self.sigma_db, widths)

    def _misfit_jacobian(self, widths: np.ndarray) -> np.ndarray:
        far = np.max(np.abs(widths - self._at)) > NEAR
        if far and self._solves_left > 2 * len(widths):
            self._at, self.jacobian = widths, self.trials.jacobian(widths)
        return np.vstack((-self.centred_jacobian().T / self.sigma_db, np.eye(len(widths))))


def _inside(low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """(K,) where the search begins: 0 as written, unless that lies on a bound."""
    room = INSIDE * np.minimum(high - low, 1.0)
    return np.clip(np.zeros(len(low)), low + room, high - room)
