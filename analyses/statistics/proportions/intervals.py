"""Binomial intervals as plain numbers, for scalars and arrays alike.

Each takes events and trials (which may be fractional, as effective numbers are) and returns the
lower and upper limits as arrays; exactly 0 at no events and exactly 1 at all.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analyses.statistics.arrays import Floats

Limits = tuple[Floats, Floats]


def clopper_pearson(events: ArrayLike, trials: ArrayLike, level: float = 0.95) -> Limits:
    """Exact limits from the beta distribution (Clopper and Pearson 1934, Biometrika 26:404)."""
    x, n, tail = _prepared(events, trials, level)
    low = special.betaincinv(np.where(x > 0, x, 1.0), n - x + 1, tail)
    high = special.betaincinv(x + 1, np.where(x < n, n - x, 1.0), 1 - tail)
    return _at_the_ends(low, high, x, n)


def wilson(events: ArrayLike, trials: ArrayLike, level: float = 0.95) -> Limits:
    """Score limits without continuity correction (Wilson 1927; Newcombe 1998, Stat Med 17:857)."""
    x, n, tail = _prepared(events, trials, level)
    z = special.ndtri(1 - tail)
    centre = (x + z**2 / 2) / (n + z**2)
    half = z / (n + z**2) * np.sqrt(x * (n - x) / n + z**2 / 4)
    return _at_the_ends(centre - half, centre + half, x, n)


def jeffreys(events: ArrayLike, trials: ArrayLike, level: float = 0.95) -> Limits:
    """Equal-tailed limits of the Jeffreys prior, 0 and 1 at the ends.

    The ends as in Brown, Cai and DasGupta 2001, Stat Sci 16:101: lower 0 at no events, upper 1
    at all, so that the interval holds the estimate.
    """
    x, n, tail = _prepared(events, trials, level)
    low = special.betaincinv(x + 0.5, n - x + 0.5, tail)
    high = special.betaincinv(x + 0.5, n - x + 0.5, 1 - tail)
    return _at_the_ends(low, high, x, n)


def agresti_coull(events: ArrayLike, trials: ArrayLike, level: float = 0.95) -> Limits:
    """Wald limits after adding z²/2 events and z² trials (Agresti and Coull 1998, Am Stat 52:119).

    Cut to the range from 0 to 1; at the ends it may be wider than the other methods.
    """
    x, n, tail = _prepared(events, trials, level)
    z = special.ndtri(1 - tail)
    more = n + z**2
    centre = (x + z**2 / 2) / more
    half = z * np.sqrt(centre * (1 - centre) / more)
    return np.maximum(centre - half, 0.0), np.minimum(centre + half, 1.0)


METHODS: dict[str, tuple[str, Callable[..., Limits]]] = {
    "clopper-pearson": ("Clopper–Pearson", clopper_pearson),
    "wilson": ("Wilson", wilson),
    "jeffreys": ("Jeffreys", jeffreys),
    "agresti-coull": ("Agresti–Coull", agresti_coull),
}
"""What callers write, the printed name, and the function."""


def _prepared(events: ArrayLike, trials: ArrayLike, level: float) -> tuple[Floats, Floats, float]:
    x, n = np.asarray(events, dtype=float), np.asarray(trials, dtype=float)
    return x, n, (1 - level) / 2


def _at_the_ends(low: Floats, high: Floats, x: Floats, n: Floats) -> Limits:
    return np.where(x <= 0, 0.0, low), np.where(x >= n, 1.0, high)
