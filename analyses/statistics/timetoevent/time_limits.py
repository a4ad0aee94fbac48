"""Confidence limits of a probability that changes with time, and of a difference of two."""

from __future__ import annotations

import numpy as np
from scipy.stats import norm

from analyses.statistics.arrays import Floats

NOTHING = 1e-12
"""A standard error below this is none: a sum of influences that cancel, not a certainty."""


def z_value(level: float) -> float:
    """The two-sided normal quantile: 0.95 -> 1.96."""
    return float(norm.ppf(0.5 + level / 2))


def settled(incidence: Floats) -> Floats:
    """A sum of steps that misses 1 by the rounding of the computer becomes 1."""
    return np.where(incidence > 1 - NOTHING, 1.0, incidence)


def log_log_limits(
    estimate: Floats, se: Floats, level: float,
) -> tuple[Floats, Floats]:
    """`p^exp(±z·se/(p·ln p))`, the same formula for survival and for cumulative incidence.

    For Kaplan–Meier it is the log–log interval of Kalbfleisch and Prentice (R survival's
    conf.type "log-log"); for a cumulative incidence Choudhury 2002, Stat Med 21:1129. NaN
    where the estimate is 0 or 1, or has no standard error.
    """
    inside = (estimate > 0) & (estimate < 1) & (se > NOTHING)
    p = np.where(inside, estimate, 0.5)
    factor = np.exp(z_value(level) * np.where(inside, se, np.nan) / (-p * np.log(p)))
    return p**factor, p ** (1 / factor)


def survival_limits(
    survival: Floats,
    inside: tuple[Floats, Floats],
    followed_units: Floats,
    level: float,
) -> tuple[Floats, Floats]:
    """The limits `inside`, and such as still say something where the curve stands at 1 or 0.

    At 1 (no event yet) the lower limit is the exact binomial one for the units followed that
    far, `(α/2)^(1/n)`: whoever left earlier counts for nothing, so it is never too high. At 0
    the upper limit is the last one before the fall; the truth cannot have risen since.
    Shapes: one entry a time, times increasing. NaN where no limit can be given.
    """
    low, high = inside
    none_yet = survival >= 1
    low = np.where(none_yet, zero_event_bound(followed_units, level), low)
    high = np.where(none_yet, 1.0, high)
    return _at_the_end(survival, low, high, followed_units, level)


def incidence_limits(
    incidence: Floats,
    se: Floats,
    followed_units: Floats,
    level: float,
) -> tuple[Floats, Floats]:
    """`F^exp(±z·se/(F·ln F))`, with exact limits at 0 and the last limit kept at 1.

    The mirror of `survival_limits`; the formula itself works on F, not on 1 − F.
    """
    low, high = log_log_limits(incidence, se, level)
    none_yet = incidence <= 0
    low = np.where(none_yet, 0.0, low)
    high = np.where(none_yet, 1 - zero_event_bound(followed_units, level), high)
    below, above = _at_the_end(1 - incidence, 1 - high, 1 - low, followed_units, level)
    all_of_them = incidence >= 1
    return np.where(all_of_them, 1 - above, low), np.where(all_of_them, 1 - below, high)


def zero_event_bound(units: Floats, level: float) -> Floats:
    """The lowest survival that no event among `units` allows: Clopper–Pearson, two-sided."""
    alpha = 1 - level
    with np.errstate(divide="ignore"):
        return np.where(units >= 1, (alpha / 2) ** (1 / np.maximum(units, 1)), 0.0)


def _at_the_end(
    survival: Floats, low: Floats, high: Floats,
    units: Floats, level: float,
) -> tuple[Floats, Floats]:
    """Limits where the curve has reached 0: from 0 to the upper limit before the fall."""
    ended = survival <= 0
    if not ended.any():
        return low, high
    first = int(np.argmax(ended))
    if first == 0 or survival[first - 1] >= 1:  # all fell at once: an exact binomial bound
        before = 1 - float(zero_event_bound(units[first:first + 1], level)[0])
    else:
        before = float(high[first - 1])
    return np.where(ended, 0.0, low), np.where(ended, before, high)


def limits_of_difference(
    first: tuple[float, float, float],
    second: tuple[float, float, float],
    correlation: float = 0.0,
) -> tuple[float, float]:
    """Limits of first − second from each one's (value, low, high), by squares and sums.

    Newcombe 1998, Stat Med 17:873, method 10, for any two estimates with their own limits
    (Zou and Donner 2008, Stat Med 27:1693); the correlation is not 0 where patients stand in
    both groups. NaN where a limit is missing.
    """
    (p1, l1, u1), (p2, l2, u2) = first, second
    d = p1 - p2
    below = _root((p1 - l1), (u2 - p2), correlation)
    above = _root((u1 - p1), (p2 - l2), correlation)
    return d - below, d + above


def _root(a: float, b: float, correlation: float) -> float:
    return float(np.sqrt(max(a * a + b * b - 2 * correlation * a * b, 0.0)))
