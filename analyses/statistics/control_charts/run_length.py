"""How long a risk-adjusted CUSUM runs before it signals, and the limit for a wanted run length.

Sources: Steiner and others 2000, Biostatistics 1:441 (the chart); Brook and Evans 1972,
Biometrika 59:539 (the Markov chain). No simulation is needed. Run lengths are counted in
trials from a sum of zero.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from analyses.statistics.arrays import Floats
from analyses.statistics.control_charts.chart_arrays import numbers, risks, same_length
from analyses.statistics.control_charts.cusum_scores import cusum_scores
from analyses.statistics.control_charts.markov import (
    lattice,
    lattice_mean_steps,
    lattice_states,
    neutral_tilt,
    smooth_mean_steps,
)

# States of the coarser of two grids for each unit of the limit, more where risks are low: a step
# is never wider than the mean score of a trial without an event. Against 4,000 states the
# in-control run length is then within 0.1 %.
STATES_PER_UNIT = 60
FEWEST_STATES = 250
MOST_STATES = 3000
HIGHEST_LIMIT = 30.0
LONGEST = 1e12


def average_run_length(
    expected: Any,
    *,
    odds_ratio: float,
    limit: float,
    weights: Iterable[Any] | None = None,
    shift: Any = 1.0,
) -> float:
    """Mean number of trials until the CUSUM reaches its limit, started from zero.

    expected: the risks of the case mix (a number or an array, strictly between 0 and 1);
    weights: how often each occurs (equal unless given); odds_ratio and limit: the chart's;
    shift: the odds multiplier really at work, 1 in control; one number, or one for each risk.
    Each trial's risk is drawn from the mix. Beyond 10^12 trials the answer is infinity:
    rounding leaves no digit of it, and no service lives so long. Raises ValueError.
    """
    mix = _Mix.read(expected, weights, shift)
    _check(odds_ratio, limit)
    if mix.risk.size == 1:
        up, down, step, chance = mix.two_scores(odds_ratio)
        found = lattice_mean_steps(up, down, chance, lattice_states(limit, step))
    else:
        scores, chances = mix.scores(odds_ratio)
        states = _states(limit, mix.mean_small_step(odds_ratio))
        found = smooth_mean_steps(scores, chances, limit, states, neutral_tilt(scores, chances))
    return found if 0 < found < LONGEST else float("inf")


def cusum_limit(
    expected: Any,
    *,
    odds_ratio: float,
    run_length: float,
    weights: Iterable[Any] | None = None,
) -> float:
    """The limit at which the in-control average run length is `run_length` trials.

    expected, odds_ratio, weights: as in `average_run_length`. With a single risk the run length
    climbs in steps: the limit is then the smallest whose run length is not below the one wanted.
    Raises ValueError, also where the wanted run length is 2 or less or not to be reached.
    """
    mix = _Mix.read(expected, weights, 1.0)
    _check(odds_ratio, 1.0)
    if not np.isfinite(run_length) or not 2 < run_length <= 1e9:
        raise ValueError(f"run_length is {run_length!r}; from 2 to 10^9 trials is wanted")
    if mix.risk.size == 1:
        return _lattice_limit(mix, odds_ratio, run_length)
    return _smooth_limit(mix, odds_ratio, run_length)


class _Mix:
    """Distinct risks, how often each occurs, and the risk really at work."""

    def __init__(self, risk: Floats, weight: Floats, actual: Floats) -> None:
        self.risk, self.weight, self.actual = risk, weight, actual

    @classmethod
    def read(cls, expected: Any, weights: Iterable[Any] | None, shift: Any) -> _Mix:
        risk = risks(expected)
        weight = np.ones(risk.size) if weights is None else numbers(list(weights), "weights")
        moved = numbers(shift, "shift")
        moved = np.broadcast_to(moved, risk.shape) if moved.size == 1 else moved
        same_length(expected=risk, weights=weight, shift=moved)
        if (weight < 0).any() or weight.sum() <= 0:
            raise ValueError("weights: numbers of 0 or more, not all 0, are wanted")
        if (moved <= 0).any():
            raise ValueError("shift: an odds multiplier above 0 is wanted")
        kept = weight > 0
        pairs, place = np.unique(
            np.column_stack([risk[kept], moved[kept]]), axis=0, return_inverse=True
        )
        share = np.bincount(place.ravel(), weights=weight[kept] / weight.sum()).astype(float)
        return cls(pairs[:, 0], share, _shifted(pairs[:, 0], pairs[:, 1]))

    def scores(self, odds_ratio: float) -> tuple[Floats, Floats]:
        """All possible scores and the chance of each."""
        event, none = cusum_scores(self.risk, odds_ratio)
        chances = np.concatenate([self.weight * self.actual, self.weight * (1 - self.actual)])
        return np.concatenate([event, none]), chances

    def mean_small_step(self, odds_ratio: float) -> float:
        """Mean size of the score of a trial without an event, the smaller of the two."""
        return float(self.weight @ np.abs(cusum_scores(self.risk, odds_ratio)[1]))

    def two_scores(self, odds_ratio: float) -> tuple[int, int, float, float]:
        """For a single risk: steps up, steps down, the step's width, the chance of going up."""
        event, none = cusum_scores(float(self.risk[0]), odds_ratio)
        up, down = max(event, none), -min(event, none)
        chance = float(self.actual[0]) if event > 0 else 1 - float(self.actual[0])
        return *lattice(up, down), chance


def _shifted(risk: Floats, multiplier: Any) -> Floats:
    found: Floats = multiplier * risk / (1 - risk + multiplier * risk)
    return found


def _check(odds_ratio: float, limit: float) -> None:
    if not np.isfinite(odds_ratio) or odds_ratio <= 0 or odds_ratio == 1:
        raise ValueError(f"odds_ratio is {odds_ratio!r}; a number above 0 and not 1 is wanted")
    if not np.isfinite(limit) or limit <= 0:
        raise ValueError(f"limit is {limit!r}; a number above 0 is wanted")


def _states(limit: float, small_step: float) -> int:
    wanted = max(FEWEST_STATES, STATES_PER_UNIT * limit, limit / small_step)
    return int(min(MOST_STATES, wanted))


def _smooth_limit(mix: _Mix, odds_ratio: float, run_length: float) -> float:
    """Secant on the logarithm of the run length, which is nearly straight in the limit."""
    scores, chances = mix.scores(odds_ratio)
    wanted = float(np.log(run_length))

    def miss(limit: float) -> float:
        states = _states(limit, mix.mean_small_step(odds_ratio))
        return float(np.log(smooth_mean_steps(scores, chances, limit, states))) - wanted

    last = _first_guess(-float(chances @ scores), run_length)
    last_miss = miss(last)
    limit = max(last / 2, last - last_miss)
    for _ in range(60):
        found = miss(limit)
        if abs(found) < 1e-6:
            return limit
        slope = (found - last_miss) / (limit - last)
        last, last_miss = limit, found
        # The run length climbs with the limit: a slope that says otherwise is rounding.
        limit = min(max(limit - found / max(slope, 0.2), limit / 2), limit + 2.0)
        if limit > HIGHEST_LIMIT:
            break
    raise ValueError(f"no limit gives an average run length of {run_length:g} trials")


def _first_guess(drift: float, run_length: float) -> float:
    """Siegmund's approximation: run length ≈ (exp(h) − h − 1)/drift, solved for h."""
    limit = 1.0
    for _ in range(60):
        limit = float(np.log(run_length * drift + limit + 1))
    return max(0.2, limit - 0.3)


def _lattice_limit(mix: _Mix, odds_ratio: float, run_length: float) -> float:
    """Bisection on the number of states of the lattice: the run length climbs with each."""
    up, down, step, chance = mix.two_scores(odds_ratio)
    low, high = 0, lattice_states(_first_guess(1.0, run_length), step)
    while lattice_mean_steps(up, down, chance, high) < run_length:
        low, high = high, 2 * high
        if high * step > HIGHEST_LIMIT:
            raise ValueError(f"no limit gives an average run length of {run_length:g} trials")
    while high - low > 1:
        middle = (low + high) // 2
        if lattice_mean_steps(up, down, chance, middle) >= run_length:
            high = middle
        else:
            low = middle
    return float(high * step)
