"""Maxima of the likelihood: over both parameters, and over one with the other held.

The likelihood is log-concave in mu for every tau (the integrand is log-concave in mu and u
together), so that a root of its slope is the maximum. In tau it is searched on a grid first, and
the root of the slope found between the grid's neighbours of the best point.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analyses.statistics.arrays import Floats
from analyses.statistics.pooling.binomial_normal import Marginal, marginal

GRID = np.concatenate([[0.0], np.geomspace(0.02, 12.0, 33)])
"""Values of tau (log odds) at which the profile is looked at before its maximum is refined."""
LARGEST_TAU = float(GRID[-1])
FARTHEST = 40.0
"""Log odds beyond which no interval is followed."""
MOST_STEPS = 40
LONGEST_STEP = 1.0
"""Newton steps on the log odds."""
ROOT = {"xtol": 1e-12, "rtol": 1e-13, "maxiter": 300}


@dataclass(frozen=True)
class Peak:
    """Where the likelihood is greatest: mu, tau, and the likelihood there."""

    mu: float
    tau: float
    there: Marginal


def best_mu(events: Floats, totals: Floats, tau: float, start: float | None = None) -> float:
    """The mu that fits best with this tau. There must be an event and a non-event.

    Newton's method from `start` (the crude log odds where None); where it does not settle, the
    root of the slope between two bounds.
    """
    mu = first = crude(events, totals) if start is None else start
    for _ in range(MOST_STEPS):
        at = marginal(events, totals, mu, tau)
        step = float(np.clip(-at.slope_mu / at.curvatures[0], -LONGEST_STEP, LONGEST_STEP))
        mu += step
        if abs(step) < 1e-11:
            return mu
    return _root(lambda value: marginal(events, totals, value, tau).slope_mu, first)


def crude(events: Floats, totals: Floats) -> float:
    """The log odds of all series thrown together."""
    return float(np.log(events.sum() / (totals - events).sum()))


def peak(events: Floats, totals: Floats) -> Peak:
    """The maximum over both."""
    near = crude(events, totals)

    def along(tau: float) -> Marginal:
        nonlocal near
        near = best_mu(events, totals, tau, near)
        return marginal(events, totals, near, tau)

    tau = _best_on_grid(along)
    mu = best_mu(events, totals, tau)
    return Peak(mu, tau, marginal(events, totals, mu, tau))


def common_peak(events: Floats, totals: Floats) -> Peak:
    """The maximum where all series share one proportion: tau held at 0."""
    mu = best_mu(events, totals, 0.0)
    return Peak(mu, 0.0, marginal(events, totals, mu, 0.0))


def _best_on_grid(along: Callable[[float], Marginal]) -> float:
    values = [along(float(tau)).value for tau in GRID]
    at = int(np.argmax(values))
    low, high = float(GRID[max(at - 1, 0)]), float(GRID[min(at + 1, len(GRID) - 1)])
    # The slope in tau is 0 at tau = 0 whatever the data: the bracket starts just beside it.
    return _falling(lambda tau: along(tau).slope_tau, max(low, 1e-5), high)


def _falling(slope: Callable[[float], float], low: float, high: float) -> float:
    """Where a slope turns from rising to falling between two taus; 0 or `high` if it does not."""
    from scipy.optimize import brentq

    if slope(low) <= 0:
        return 0.0
    if slope(high) >= 0:
        return high
    return float(brentq(slope, low, high, **ROOT))


def _root(slope: Callable[[float], float], start: float) -> float:
    """The root of a falling slope, bracketed by growing steps around the start."""
    from scipy.optimize import brentq

    width = 0.5
    while slope(start - width) < 0 and width < FARTHEST:
        width *= 2
    low, width = start - width, 0.5
    while slope(start + width) > 0 and width < FARTHEST:
        width *= 2
    return float(brentq(slope, low, start + width, **ROOT))
