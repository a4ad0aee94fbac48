"""Binomial intervals as plain numbers, for scalars and arrays alike, worked out by statsmodels.

Each takes events and trials (which may be fractional, as effective numbers are) and returns the
lower and upper limits as arrays; exactly 0 at no events and exactly 1 at all.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from analyses.statistics.arrays import Floats

Limits = tuple[Floats, Floats]


def clopper_pearson(events: ArrayLike, trials: ArrayLike, level: float = 0.95) -> Limits:
    """Exact limits from the beta distribution (Clopper and Pearson 1934, Biometrika 26:404)."""
    return _at_the_ends(*_limits("beta", events, trials, level), events, trials)


def wilson(events: ArrayLike, trials: ArrayLike, level: float = 0.95) -> Limits:
    """Score limits without continuity correction (Wilson 1927; Newcombe 1998, Stat Med 17:857)."""
    return _at_the_ends(*_limits("wilson", events, trials, level), events, trials)


def jeffreys(events: ArrayLike, trials: ArrayLike, level: float = 0.95) -> Limits:
    """Equal-tailed limits of the Jeffreys prior, 0 and 1 at the ends.

    The ends as in Brown, Cai and DasGupta 2001, Stat Sci 16:101: lower 0 at no events, upper 1
    at all, so that the interval holds the estimate (statsmodels' own starts at 0.0004 for none
    of one).
    """
    return _at_the_ends(*_limits("jeffreys", events, trials, level), events, trials)


def agresti_coull(events: ArrayLike, trials: ArrayLike, level: float = 0.95) -> Limits:
    """Wald limits after adding z²/2 events and z² trials (Agresti and Coull 1998, Am Stat 52:119).

    Cut to the range from 0 to 1; at the ends it may be wider than the other methods.
    """
    return _limits("agresti_coull", events, trials, level)


METHODS: dict[str, tuple[str, Callable[..., Limits]]] = {
    "clopper-pearson": ("Clopper–Pearson", clopper_pearson),
    "wilson": ("Wilson", wilson),
    "jeffreys": ("Jeffreys", jeffreys),
    "agresti-coull": ("Agresti–Coull", agresti_coull),
}
"""What callers write, the printed name, and the function."""


def _limits(method: str, events: ArrayLike, trials: ArrayLike, level: float) -> Limits:
    from statsmodels.stats.proportion import proportion_confint

    x, n = np.asarray(events, dtype=float), np.asarray(trials, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):  # nothing counted: no limits
        low, high = proportion_confint(x, n, alpha=1 - level, method=method)
    return np.asarray(low), np.asarray(high)


def _at_the_ends(low: Floats, high: Floats, events: ArrayLike, trials: ArrayLike) -> Limits:
    x, n = np.asarray(events, dtype=float), np.asarray(trials, dtype=float)
    return np.where(x <= 0, 0.0, low), np.where(x >= n, 1.0, high)
