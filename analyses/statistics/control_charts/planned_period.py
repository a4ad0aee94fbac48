"""A planned period that has not happened yet, simulated many times with patients as blocks.

The sum of a CUSUM does not depend on its limit until it first signals, so the largest sum of each
simulated period answers for every limit at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from analyses.statistics.arrays import Floats, Whole
from analyses.statistics.control_charts.cusum_scores import cusum_scores

PERIODS = 4000
"""Simulated periods: a chance of 10 % is then known within 1 point."""
MOST_DRAWS = 2_000_000
FEWEST_PERIODS = 500
SEED = 20130401
REACH = 5.0
"""The grid of log odds multipliers on which a ratio of mean risks finds its multiplier."""


@dataclass(frozen=True)
class PlannedPeriod:
    """Simulated periods: the place of each trial in the baseline, and its uniform draw.

    place, draw: (periods, trials); risk: the baseline's expected risks.
    A trial has the event where its draw lies below its risk.
    """

    place: Whole
    draw: Floats
    risk: Floats

    def highest_sums(self, odds_ratio: float, ratio: Floats | float) -> Floats:
        """The largest sum of each period, (periods,), where risks are `ratio` times the expected.

        odds_ratio: the change that the chart looks for; ratio: of the mean risk to the expected
        one, above 0, one number or one a period.
        """
        found: Floats = self._sums(odds_ratio, ratio).max(axis=0)
        return found

    def first_signals(self, odds_ratio: float, limit: float, ratio: float) -> Floats:
        """Trials until the first signal, (periods,); infinity where there is none."""
        reached = self._sums(odds_ratio, ratio) >= limit - 1e-9
        found: Floats = np.where(reached.any(axis=0), reached.argmax(axis=0) + 1.0, np.inf)
        return found

    def _sums(self, odds_ratio: float, ratio: Floats | float) -> Floats:
        event, none = cusum_scores(self.risk, odds_ratio)
        multiplier = np.exp(log_shifts(self.risk, ratio))
        chance = self.risk[self.place]
        moved = np.broadcast_to(np.atleast_1d(multiplier)[:, None], chance.shape)
        happened = self.draw < moved * chance / (1 - chance + moved * chance)
        score = np.where(happened, event[self.place], none[self.place]).T
        running, sums = np.zeros(score.shape[1]), np.empty(score.shape)
        for trial, steps in enumerate(score):
            running = np.maximum(0.0, running + steps)
            sums[trial] = running
        return sums


def planned_period(
    risk: Floats, patient: Whole, trials: int, correlation: float,
) -> PlannedPeriod:
    """Periods of `trials` trials that follow each other as those of the baseline did.

    risk, patient: expected risk and patient code (0, 1, …) of the baseline's trials in order of
    time. Each period begins at a place of the baseline drawn at random and goes round it, each
    round with new patients, so that trials of one patient lie as far apart as they did.
    correlation: within-patient, 0 to 1. With the chance of its root a trial takes its patient's
    draw instead of its own: two trials of equal risk then correlate by it. Source: Lunn and
    Davies 1998, Biometrika 85:487 (from memory); tests see that the correlation comes out.
    """
    return _drawn(tuple(risk.tolist()), tuple(patient.tolist()), trials, correlation)


@lru_cache(maxsize=3)  # Both directions of a chart, and each document about it, ask for the same.
def _drawn(
    risks: tuple[float, ...], patients: tuple[int, ...], trials: int, correlation: float,
) -> PlannedPeriod:
    risk, patient = np.array(risks), np.array(patients)
    rng = np.random.default_rng(SEED)
    periods = int(np.clip(MOST_DRAWS // trials, FEWEST_PERIODS, PERIODS))
    along = rng.integers(0, risk.size, periods)[:, None] + np.arange(trials)
    place, round_ = along % risk.size, along // risk.size
    people = int(patient.max()) + 1
    whose = patient[place] + people * round_
    common = rng.random((periods, people * (int(round_.max()) + 1)))
    draw = np.where(rng.random(place.shape) < np.sqrt(correlation),
                    np.take_along_axis(common, whose, axis=1), rng.random(place.shape))
    return PlannedPeriod(place, draw, risk)


def log_shifts(risk: Floats, ratio: Floats | float) -> Floats:
    """The log odds multiplier that makes the mean risk `ratio` times what it is, for each ratio.

    A ratio that would bring the mean risk beyond the grid's ends is held there.
    """
    distinct, often = np.unique(risk, return_counts=True)
    grid = np.linspace(-REACH, REACH, 401)
    moved = np.exp(grid)[:, None] * distinct
    mean = (moved / (1 - distinct + moved)) @ often / risk.size
    found: Floats = np.interp(np.asarray(ratio, float) * risk.mean(), mean, grid)
    return found


def lowest_limit(highest: Floats, chance: float) -> float:
    """The smallest limit that no more than `chance` of the periods reach."""
    ordered = np.sort(highest)
    allowed = int(np.floor(chance * ordered.size + 1e-9))
    edge = ordered[ordered.size - allowed - 1]
    above = ordered[ordered > edge + 1e-9]
    # The sum that the period after the last allowed one reached, or just beyond all of them.
    return float(above[0]) if above.size else float(edge) + 1e-6


def share_reaching(highest: Floats, limit: float) -> float:
    """The share of the periods whose largest sum reaches the limit."""
    return float((highest >= limit - 1e-9).mean())
