"""The formulas of planning: widths, bounds, power and numbers needed, as plain floats."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from analyses.statistics.arguments import check_level, finite
from analyses.statistics.proportions.intervals import clopper_pearson

LARGEST_N = 1_000_000


def design_effect(rows: ArrayLike | float, correlation: float) -> float:
    """1 + (m - 1)·ρ, with m the rows of the patient to whom an average row belongs.

    rows: one number for all patients, or one a patient (then m = Σrows²/Σrows, Kish 1965).
    Raises ValueError for fewer than one row a patient or a correlation outside 0 to 1.
    """
    sizes = finite(np.atleast_1d(np.asarray(rows, dtype=float)), "number of rows")
    if not len(sizes) or (sizes < 1).any():
        raise ValueError("Every patient needs one row or more.")
    if not 0 <= correlation <= 1:
        raise ValueError(f"The correlation is {correlation}; from 0 to 1 is wanted.")
    return 1 + (float((sizes**2).sum() / sizes.sum()) - 1) * correlation


def upper_bound_at_zero(n: float, level: float = 0.95) -> float:
    """Upper limit of the two-sided exact interval when none of n independent units has the event.

    1 - (α/2)^(1/n), the Clopper–Pearson bound (Hanley and Lippman-Hand 1983 give the one-sided
    "3/n"). Raises ValueError unless n is above 0.
    """
    positive(n, "n")
    return float(1 - ((1 - check_level(level)) / 2) ** (1 / n))


def expected_width(n: float, risk: float, level: float = 0.95) -> float:
    """Expected width of the Clopper–Pearson interval for n units at a true risk (both 0 to 1).

    Averaged over the binomial distribution of the events, n rounded down to a whole number.
    Raises ValueError unless n is 1 or more and the risk lies from 0 to 1.
    """
    positive(n, "n")
    share_of_one(risk, "risk")
    size = max(1, math.floor(n + 1e-9))
    events = np.arange(size + 1)
    low, high = clopper_pearson(events, size, check_level(level))
    return float((stats.binom.pmf(events, size, risk) * (high - low)).sum())


def power_of_difference(
    n_1: float, n_2: float, risk_1: float, risk_2: float, level: float = 0.95
) -> float:
    """Power of the two-sided comparison of two proportions, from 0 to 1.

    Normal approximation, pooled variance under the null (Fleiss, Levin and Paik 2003, Statistical
    Methods for Rates and Proportions, 4.3); with equal groups that of R's power.prop.test.
    """
    pooled = (n_1 * risk_1 + n_2 * risk_2) / (n_1 + n_2)
    null = math.sqrt(pooled * (1 - pooled) * (1 / n_1 + 1 / n_2))
    true = math.sqrt(risk_1 * (1 - risk_1) / n_1 + risk_2 * (1 - risk_2) / n_2)
    if true == 0:
        return float(risk_1 != risk_2)
    z = float(special.ndtri(1 - (1 - check_level(level)) / 2))
    return float(special.ndtr((abs(risk_1 - risk_2) - z * null) / true))


def detectable_risk(
    n_1: float, n_2: float, risk: float, *, power: float = 0.80, level: float = 0.95
) -> float | None:
    """The smallest higher risk in group 1 that is told from `risk` in group 2 with this power.

    None where not even a risk of 1 would be.
    """
    share_of_one(risk, "risk")
    if power_of_difference(n_1, n_2, 1.0, risk, level) < power:
        return None
    low, high = risk, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        enough = power_of_difference(n_1, n_2, middle, risk, level) >= power
        low, high = (low, middle) if enough else (middle, high)
    return high


def needed_for_zero_bound(limit: float, level: float = 0.95) -> int:
    """Independent units needed so that none with the event keeps the upper limit at `limit`."""
    share_of_one(limit, "limit")
    if limit in (0, 1):
        raise ValueError(f"The limit is {limit}; it has to lie between 0 and 1.")
    return math.ceil(math.log((1 - check_level(level)) / 2) / math.log1p(-limit) - 1e-9)


def needed_for_width(width: float, risk: float, level: float = 0.95) -> int:
    """The smallest n from which the expected exact interval at this risk is no wider than `width`.

    Raises ValueError where the width is not between 0 and 1 or needs more than a million units.
    """
    if not 0 < width < 1:
        raise ValueError(f"The width is {width}; it has to lie between 0 and 1.")
    high = 1
    while expected_width(high, risk, level) > width:
        high *= 2
        if high > LARGEST_N:
            raise ValueError(f"A width of {width} needs more than {LARGEST_N:,} units.")
    low = high // 2
    while high - low > 1:
        middle = (low + high) // 2
        wide = expected_width(middle, risk, level) > width
        low, high = (middle, high) if wide else (low, middle)
    return high


def positive(number: float, name: str) -> None:
    if not number > 0:
        raise ValueError(f"{name} is {number}; a number above 0 is wanted.")


def share_of_one(share: float, name: str) -> None:
    if not 0 <= share <= 1:
        raise ValueError(f"The {name} is {share}; from 0 to 1 is wanted.")
