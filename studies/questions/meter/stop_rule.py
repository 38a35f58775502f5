"""When to stop cutting, told by a meter: a sum of few changes, and how high it must come.

After each cut the changes of the level since the first reading in a few bands are added up, falls
or rises counted positive. It is time to stop at the first cut where the sum comes to a threshold.
Bands, signs and threshold are those with which most members of the ensemble stop within the
near-best range; bands are added one at a time while that share grows. A sum of signs and no finer
weights: it can be done with a pencil, and two dozen members would not bear more.

The chance of a good stop is found twice. Of the very members the rule was chosen by it is too high.
Chosen again without each build in turn, and tried on it, the rule is asked to reach beyond the
ranges it knows, of which every build is a corner: too low. The mean of both is said. That it is the
mean was chosen after a first trial had been seen, which so proves little: over 40 other speakers of
the example, its cuts as they then were, the rule stopped well in 0.90 where the mean said 0.89;
with bands above 3 kHz alone, above 5 kHz, below 1 kHz, 1.6 to 3.2 kHz, a third and twice of the
noise it was off by 0.07 at most, each of the two by up to 0.14. A second trial, after which nothing
was chosen, took the example with other cuts and another near-best range: 0.66 was said (0.67 in a
room of known temperature), so that a meter cannot tell, and 40 other speakers stopped well in 0.68.

To stop well is to stop within the near-best range of the file's own sizes. Of the second trial's
speakers only 0.31 stopped within 0.3 dB of their own best of the seven shorter caps, at the file's
gap, and no fixed height lies there in more than 0.55 of them: they differ more than cuts do. Where
they stopped they were 0.5 dB worse than their own best in the mean, 1.1 dB in nine of ten; 24 mm,
at which the file stops, 0.36 and 0.77. A rule that is not sure is no better than the tape measure.

What measurements before the first cut would do was asked of 72 speakers of the example, in 24
builds; who each may be were the members of the other 23. They were read at the six places of the
plan, with its noise, over the bare column and under the uncut cap; who they may be was narrowed by
the joint covariance of readings, changes and scores (an ensemble Kalman update; weights by
likelihood gave the same within 0.06), and the rule chosen anew, for each sense of a good stop.
Against each other: driver and amplifier stay as they were between the two and cancel, so that one
place tells. Share that stops well, give or take 0.05:

    =======================================  =======  ====  =====  =======  ========
    good is                                  nothing  bare  uncut  against  speaker
    ..                                       read     only  only   another  is known
    =======================================  =======  ====  =====  =======  ========
    near-best by the file's sizes            0.68     0.69  0.69   0.85     0.97
    within 0.3 dB of the speaker's own best  0.42     0.67  0.53   0.70     0.95
    within 0.5 dB of it                      0.56     0.81  0.67   0.80     0.99
    =======================================  =======  ====  =====  =======  ========
    no meter on the way: the height of least regret, by the tape measure
    --------------------------------------------------------------------------------
    within 0.3 dB                            0.50     0.79  0.58   0.86     1
    within 0.5 dB                            0.71     0.88  0.74   0.92     1
    =======================================  =======  ====  =====  =======  ========

So the plan asks for both before anything is cut, and `overlay --fit` takes them as one fit. With
such a fit as `[driver] known` four speakers with cones that let go, on a column of 400 mm, read at
four places from 2 to 6.3 kHz, stopped at 24 to 27 mm of eight heights in 0.97, 1.00, 0.84 and 1.00,
where 0.84, 1.00, 0.88 and 0.98 was said; with nothing read in 0.00, 1.00, 0.15 and 0.52. A cone
whose motion runs outwards as a wave, as half of the members' do, a fit takes for one that lets go:
of one such speaker it left 2.4 dB where the noise was 1, and it stopped well in 0.94 where 0.77 was
said, with nothing read in 0.74. Five speakers are few. The table is of the members themselves,
weighed by the readings; with 24 of them, of 8 builds, it was 0.64 to 0.73. A third trial, of 143
others of 11 builds in air of a known temperature, the heights as they are now and 24 to 27 mm
called good, members weighed by likelihood as if ten at least were left: of 45 speakers 0.54 stopped
well with nothing read, 0.69 with the bare column, 0.55 with the uncut cap, 0.75 with both at six
places (0.78 was said) and 0.74 with both at the reference alone (0.80). With the file's own near-
best, 20 to 31 mm, five of seven stops are good, and 0.91 stopped well with nothing read. Where what
the members' verdicts cannot tell from the choice is called good, that is 6 of the 7 heights before
anything was read: there is nothing to tell. So what is known of a driver is first for choosing the
height.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

MOST_BANDS = 3
LEAST_GAIN = 0.02
"""A band is added only if the share of good stops grows by so much."""
ALIKE = 0.005
"""Shares of good stops that do not count as different."""
THRESHOLDS_DB = np.arange(0.25, 30.01, 0.25)
"""Of the sum: as fine as a meter is read."""
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(7)


@dataclass(frozen=True, eq=False)
class Steps:
    """Changes at the reference on the way from the tallest cap, in M members and B bands.

    Attributes
    ----------
    change_db : (M, S, B) array
        Since the first reading: after each of S cuts, the last too far where there is such a one.
    good : (S,) bool array
        Cuts after which it is right to stop.
    noise_db : (B,) array
        Standard deviation of one reading, independent from cut to cut.
    """

    change_db: np.ndarray
    good: np.ndarray
    noise_db: np.ndarray

    def of(self, members: np.ndarray) -> Steps:
        """Return the same for some members, (M,) bool."""
        return Steps(self.change_db[members], self.good, self.noise_db)


@dataclass(frozen=True)
class StopRule:
    """A sum of changes and the threshold at which to stop.

    Attributes
    ----------
    bands : tuple of int
        Which are read.
    signs : tuple of int
        1 where a rise counts, -1 where a fall does.
    threshold_db : float
        It is time to stop at the first cut whose sum comes to it.
    """

    bands: tuple[int, ...]
    signs: tuple[int, ...]
    threshold_db: float

    def sums_db(self, change_db: np.ndarray) -> np.ndarray:
        """(..., B) changes -> (...) sums, dB."""
        return change_db[..., list(self.bands)] @ np.array(self.signs, dtype=float)

    def stop(self, change_db: np.ndarray) -> int | None:
        """First of the (S, B) changes, dB, at which to stop; None if the sum never comes there."""
        reached = np.flatnonzero(self.sums_db(change_db) >= self.threshold_db)
        return int(reached[0]) if reached.size else None

    def chance(self, steps: Steps) -> np.ndarray:
        """(M,) probability of a good stop in each member."""
        threshold = np.array([self.threshold_db])
        return _good_stops(
            self.sums_db(steps.change_db), self._noise(steps), steps.good, threshold
        )[:, 0]

    def _noise(self, steps: Steps) -> float:
        return float(np.sqrt(np.sum(steps.noise_db[list(self.bands)] ** 2)))


def stop_rule(steps: Steps, usable: np.ndarray) -> StopRule | None:
    """Choose bands, signs and threshold; None where no band is usable or all stops are alike.

    Parameters
    ----------
    steps : Steps
    usable : (B,) bool array
        Bands that may be read.
    """
    if not usable.any() or not steps.good.any() or steps.good.all():
        return None
    best, share = None, 0.0
    for _ in range(MOST_BANDS):
        found = [_tuned(steps, *wider) for wider in _wider(best, usable)]
        if not found:
            break
        rule, gained = max(found, key=lambda one: one[1])
        if gained < share + LEAST_GAIN:
            break
        best, share = rule, gained
    return best


def chance_of_a_good_stop(steps: Steps, usable: np.ndarray, builds: np.ndarray) -> float:
    """Probability that the rule stops well in a speaker that is none of the members.

    Parameters
    ----------
    steps : Steps
    usable : (B,) bool array
    builds : (M,) int array
        Which build each member is of: the rule is chosen without each in turn.
    """
    whole = stop_rule(steps, usable)
    if whole is None:
        return 0.0
    found: list[float] = []
    for build in np.unique(builds):
        rule = stop_rule(steps.of(builds != build), usable)
        left_out = steps.of(builds == build)
        found.extend([0.0] * len(left_out.change_db) if rule is None else rule.chance(left_out))
    return 0.5 * float(np.mean(found) + np.mean(whole.chance(steps)))


def _wider(rule: StopRule | None, usable: np.ndarray) -> Iterator[tuple[list[int], list[int]]]:
    """Yield bands and signs of a rule with one band more, in every way."""
    bands, signs = ([], []) if rule is None else (list(rule.bands), list(rule.signs))
    for band in np.flatnonzero(usable).tolist():
        if band not in bands:
            for sign in (1, -1):
                yield [*bands, band], [*signs, sign]


def _tuned(steps: Steps, bands: list[int], signs: list[int]) -> tuple[StopRule, float]:
    """The rule of these bands whose threshold stops best, and its share of good stops."""
    rule = StopRule(tuple(bands), tuple(signs), 0.0)
    sums, noise = rule.sums_db(steps.change_db), rule._noise(steps)
    shares = _good_stops(sums, noise, steps.good, THRESHOLDS_DB).mean(axis=0)
    as_good = np.flatnonzero(shares >= shares.max() - ALIKE)
    best = int(as_good[len(as_good) // 2])  # in the middle of what is as good
    return StopRule(rule.bands, rule.signs, float(THRESHOLDS_DB[best])), float(shares[best])


def _good_stops(
    sums_db: np.ndarray, noise_db: float, good: np.ndarray, thresholds_db: np.ndarray
) -> np.ndarray:
    """(M, T) probability that the first of (M, S) sums to reach a threshold is a good one.

    The error of the first reading is in all sums: integrated over by Gauss and Hermite.
    """
    from scipy.special import ndtr

    first = noise_db * _NODES
    short = thresholds_db[None, None, :, None] - sums_db[..., None, None] + first
    reaches = ndtr(-short / noise_db)  # M, S, T, nodes
    not_yet = np.cumprod(1.0 - reaches, axis=1)
    before = np.concatenate((np.ones_like(not_yet[:, :1]), not_yet[:, :-1]), axis=1)
    stops_well = np.sum((before * reaches)[:, good], axis=1)
    return stops_well @ (_WEIGHTS / _WEIGHTS.sum())
