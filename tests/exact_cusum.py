"""Exact answers about a CUSUM that only checks need: chances of a signal, risks moved."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from analyses.statistics.arrays import Floats
from analyses.statistics.control_charts.chart_arrays import risks
from analyses.statistics.control_charts.markov import Chain, neutral_tilt, step_distribution
from analyses.statistics.control_charts.run_length import _Mix, _shifted, _states


def signal_probability(
    expected: Any,
    *,
    odds_ratio: float,
    limit: float,
    trials: int,
    weights: Iterable[Any] | None = None,
    shift: Any = 1.0,
) -> float:
    """Chance that the CUSUM, started from zero, signals within the next `trials` trials.

    Arguments as in `average_run_length`; trials: a whole number, 1 or more. Raises ValueError.
    """
    mix = _Mix.read(expected, weights, shift)
    if trials < 1:
        raise ValueError(f"trials is {trials!r}; at least 1 is wanted")
    scores, chances = mix.scores(odds_ratio)
    states = 2 * _states(limit, mix.mean_small_step(odds_ratio))
    tilt = neutral_tilt(scores, chances)
    chain = Chain(*step_distribution(scores, chances, limit / states, tilt), states)
    return 1 - silent(chain, int(trials))


def doubled_risk(expected: Any, times: float = 2.0) -> Floats:
    """The odds multiplier of each risk that multiplies the risk itself (2: doubled).

    expected: risks strictly between 0 and 1. A multiplied risk that would pass 0.99 is held
    there. Raises ValueError.
    """
    p = risks(expected)
    if not np.isfinite(times) or times <= 0:
        raise ValueError(f"times is {times!r}; a number above 0 is wanted")
    then = np.minimum(p * times, np.maximum(0.99, p))
    found: Floats = then / (1 - then) * (1 - p) / p
    return found


def common_shift(expected: Any, ratio: float, weights: Iterable[Any] | None = None) -> float:
    """The one odds multiplier that makes the mix's mean risk `ratio` times the expected mean.

    ratio: observed/expected, above 0, with ratio times the mean risk below 1. Raises ValueError.
    """
    mix = _Mix.read(expected, weights, 1.0)
    wanted = ratio * float(mix.weight @ mix.risk)
    if not 0 < wanted < 1:
        raise ValueError(f"ratio {ratio!r} would make the mean risk {wanted:.3g}")
    low, high = -40.0, 40.0
    for _ in range(80):
        middle = (low + high) / 2
        if float(mix.weight @ _shifted(mix.risk, np.exp(middle))) < wanted:
            low = middle
        else:
            high = middle
    return float(np.exp((low + high) / 2))


def silent(chain: Chain, trials: int) -> float:
    """The chance that no signal comes from zero within this many steps."""
    staying = np.ones(chain.states)
    for _ in range(trials):
        beyond = np.concatenate([np.zeros(chain.down), staying, np.zeros(chain.up)])
        staying = (np.correlate(beyond, chain._kernel, "valid") + chain._falls * staying[0])
    return float(staying[0])
