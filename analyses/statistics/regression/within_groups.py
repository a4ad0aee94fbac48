"""Experience within groups beside calendar time: can the two be told apart, and how far is it seen?

A group's trials are numbered as they come, so that its number and the calendar rise together.
"""

from __future__ import annotations

import numpy as np

from analyses.statistics.arrays import Floats, Labels

TOGETHER = 0.8
"""Correlation, within groups, of number and calendar time from which their effects are not told
apart: the variance of either effect is then 2.8 times (1/(1 − 0.8²)) what it would be alone, and
what is left rests on the straightness of the other's line. Choice of this project."""
WIDE = 2.0
"""An interval of an odds ratio that holds both 1/2 and 2 admits a halving and a doubling, and says
nothing. Choice of this project."""
FEWEST_GROUPS, FEWEST_TRIALS = 3, 10
"""A number is shown only where this many groups, and of all trials this many, reached it."""


def own_means(values: Floats, group: Labels) -> Floats:
    """The mean of each row's group; adjusting for it leaves the effect within groups (Mundlak 1978,
    Econometrica 46:69)."""
    codes = np.unique(group, return_inverse=True)[1]
    found: Floats = (np.bincount(codes, values) / np.bincount(codes))[codes]
    return found


def within_correlation(first: Floats, second: Floats, group: Labels) -> float:
    """Correlation of two columns about their groups' means; 1 where one does not vary so."""
    a, b = first - own_means(first, group), second - own_means(second, group)
    size = float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / size if size > 0 else 1.0


def says_nothing(low: float, high: float) -> bool:
    """Whether an interval of an odds ratio admits a halving and a doubling alike."""
    return low <= 1 / WIDE and high >= WIDE


def shared_range(number: Floats, group: Labels) -> tuple[float, float] | None:
    """From where to where FEWEST_GROUPS groups and FEWEST_TRIALS trials reached; None if nowhere.

    number: one a trial. A number is reached from above by trials at it or later, from below by
    those at it or earlier; both ends are numbers that occur.
    """
    places = np.unique(number)

    def reached(rows: np.ndarray) -> bool:
        return bool(rows.sum() >= FEWEST_TRIALS and len(set(group[rows])) >= FEWEST_GROUPS)

    ups = [k for k in places if reached(number >= k)]
    downs = [k for k in places if reached(number <= k)]
    if not ups or not downs or downs[0] >= ups[-1]:
        return None
    return float(downs[0]), float(ups[-1])
