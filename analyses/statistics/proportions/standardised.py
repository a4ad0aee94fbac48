"""Standardised differences: how far apart groups are, in standard deviations, whatever their size.

Continuous: (mean₁ - mean₂)/√((s₁² + s₂²)/2). Levels: the Mahalanobis distance of the shares.
Source: Austin 2009, Stat Med 28:3083; Yang and Dalton 2012, SAS Global Forum 335. The same as the
tableone package gives, except that a level nobody has does not undo the whole field.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
import pandas as pd

from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate, counted_rows
from analyses.words.flags import NO_INTERVAL

LARGE = 0.1
"""From 0.1 up a difference is commonly called worth a look (Austin 2009)."""


def standardised_difference(
    frame: pd.DataFrame, grouping: str, names: Sequence[str], column: str, by_levels: bool, *,
    id: str, unit: str,
) -> Estimate:
    """The largest standardised difference between any two of the groups, without a sign.

    frame: a unit frame; names: the groups compared (two or more). Units without the field are
    left out. No value where a group has fewer than two units, or nothing varies.
    """
    known = frame[frame[column].notna() & frame[grouping].isin(list(names))]
    samples = [known.loc[known[grouping] == name, column] for name in names]
    measure = _distance_of_levels if by_levels else _distance_of_means
    sizes = [measure(a, b) for a, b in combinations(samples, 2)]
    given = [size for size in sizes if size is not None]
    between = " against ".join(names) if len(names) == 2 else "largest of all pairs"
    return Estimate(
        id=id, kind="standardised difference", value=max(given, default=None), unit=unit,
        n=len(known), group={grouping: between},
        method="standardised difference (Austin 2009)" if not by_levels
        else "standardised difference of levels (Yang and Dalton 2012)",
        flags=() if given else (NO_INTERVAL,),
        counted=counted_rows(known["key"], np.zeros(len(known))),
    )


def _distance_of_means(first: pd.Series, second: pd.Series) -> float | None:
    if len(first) < 2 or len(second) < 2:
        return None
    one, two = (values.to_numpy(dtype=float) for values in (first, second))
    spread = float(np.sqrt((one.var(ddof=1) + two.var(ddof=1)) / 2))
    return abs(float(one.mean() - two.mean())) / spread if spread > 0 else None


def _distance_of_levels(first: pd.Series, second: pd.Series) -> float | None:
    if len(first) < 2 or len(second) < 2:
        return None
    names = sorted({str(v) for v in pd.concat([first, second])})[1:]
    one, two = (_shares(values, names) for values in (first, second))
    away = one - two
    if not away.any():
        return 0.0
    between = (_covariance(one) + _covariance(two)) / 2
    if np.linalg.matrix_rank(between) < len(names):
        # Groups that share no level are infinitely far apart; no number helps then.
        return None
    return float(np.sqrt(away @ np.linalg.solve(between, away)))


def _shares(values: pd.Series, names: list[str]) -> Floats:
    text = values.astype("string")
    return np.array([float(text.eq(name).mean()) for name in names])


def _covariance(shares: Floats) -> Floats:
    return np.diag(shares) - np.outer(shares, shares)
