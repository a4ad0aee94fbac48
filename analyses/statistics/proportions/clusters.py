"""Rows of one patient are not independent: the arithmetic of clustered intervals.

Everything works on totals by patient in the last axis, so that a simulation can hand in many
replicates at once: `events[..., patient]` and `rows[..., patient]`; a place with no rows is no
patient.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import special

from analyses.statistics.arrays import Floats, Whole
from analyses.statistics.proportions.intervals import clopper_pearson


class ClusteredLimits(NamedTuple):
    """Limits and what they rest on; arrays without the patient axis.

    `effective_n` is what the interval was worked out with; `plain_effective_n` is the same without
    the t correction, capped at the rows, which the presentation rule looks at. `variance` is the
    linearised one.
    """

    low: Floats
    high: Floats
    effective_n: Floats
    plain_effective_n: Floats
    variance: Floats


def totals(values: Floats, cluster: Whole) -> Floats:
    """Sum of `values` by patient; `cluster` holds codes 0, 1, … as from `arguments.codes`."""
    return np.bincount(
        cluster, weights=values, minlength=int(cluster.max(initial=-1)) + 1).astype(float)


def cluster_variance(influence: Floats, clusters: Floats | float) -> Floats:
    """Taylor-linearised variance from each patient's summed influence, with C/(C-1).

    `influence[..., patient]` sums to 0 over patients, as the influence of a mean, ratio or
    difference does. NaN with fewer than two patients. Source: Korn and Graubard 1999, Analysis of
    Health Surveys, with-replacement sampling of clusters.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        found: Floats = clusters / (np.asarray(clusters) - 1.0) * (influence**2).sum(axis=-1)
        return found


def proportion_variance(events: Floats, rows: Floats) -> Floats:
    """Variance of events/rows (a ratio of two totals) by patient; shapes as in the module text."""
    n = rows.sum(axis=-1)
    share = events.sum(axis=-1) / n
    influence = (events - share[..., None] * rows) / n[..., None]
    return cluster_variance(influence, (rows > 0).sum(axis=-1))


def korn_graubard(events: Floats, rows: Floats, level: float = 0.95) -> ClusteredLimits:
    """Korn–Graubard limits, for any number of replicates at once.

    Effective n = p(1-p)/V · (t(n-1)/t(C-1))², then capped at n; Clopper–Pearson with it. Where
    every patient has one row: Clopper–Pearson with n itself. Where there are no events, or only
    events: by patients, the wider of the two exact bounds. NaN where there is one patient with
    both. Source: Korn and Graubard 1998, Survey Methodology 24:193; NCHS Series 2 No 175 (2017).
    """
    n, patients = rows.sum(axis=-1), (rows > 0).sum(axis=-1).astype(float)
    found = events.sum(axis=-1)
    share = found / n
    variance = proportion_variance(events, rows)
    with np.errstate(divide="ignore", invalid="ignore"):
        plain = np.where(variance > 0, share * (1 - share) / variance, np.inf)
        shrink = (_t(n - 1, level) / _t(patients - 1, level)) ** 2
        effective = np.minimum(plain * shrink, n)
    ends = (found == 0) | (found == n)
    effective = np.where(ends, patients, np.where(patients == n, n, effective))
    effective = np.where((patients < 2) & ~ends, np.nan, effective)
    low, high = clopper_pearson(share * effective, effective, level)
    plain = np.where(ends | (patients == n), patients, np.minimum(plain, n))
    low, high = (np.where(np.isnan(effective), np.nan, limit) for limit in (low, high))
    return ClusteredLimits(low, high, effective, plain, variance)

TYPICAL_CORRELATION = 0.2
"""Within-patient correlation from which the shrunken one starts: that of several series tried."""
WORTH = 8.0
"""How many events the starting correlation is worth against the one estimated from the rows."""


def shrunken_correlation(events: Floats, rows: Floats) -> Floats:
    """Within-patient correlation, 0 to 1, drawn towards 0.2 where events (or non-events) are few.

    (8 · 0.2 + k · r)/(8 + k): k the events, or the rows without one where those are fewer; r from
    the design effect, (V n/(p(1-p)) - 1)/(m - 1), cut to 0-1, with the linearised variance V and
    m = sum of squared rows a patient / rows. The variance of a rare event cannot be estimated
    from itself. Derived for this project; tables in tests/reference/coverage_clustered.md. A
    start of 0.2 worth 8 events was chosen among seven pairs: the widest coverage in the worst
    cells, and limits that keep their order from 0 to 12 events (`tests/coverage_clustered.py`).
    """
    n, found = rows.sum(axis=-1), events.sum(axis=-1)
    share = found / n
    with np.errstate(divide="ignore", invalid="ignore"):
        effect = proportion_variance(events, rows) * n / (share * (1 - share))
        own = np.clip((effect - 1) / (_typical_rows(rows) - 1), 0.0, 1.0)
    few = np.minimum(found, n - found)
    drawn: Floats = (WORTH * TYPICAL_CORRELATION + few * np.nan_to_num(own)) / (WORTH + few)
    return drawn


def shrunken(events: Floats, rows: Floats, level: float = 0.95) -> ClusteredLimits:
    """Clopper–Pearson limits with an effective n from `shrunken_correlation`, any replicates.

    Effective n = n/(1 + (m - 1)·correlation) · (t(n-1)/t(C-1))², then capped at n; C = n/m, the
    patients that rows so unevenly spread are worth (all of them where each has as many rows).
    Where every patient has one row: n itself. NaN where there is one patient with both outcomes;
    one patient with one of them counts as one row. Between no event and many there is no switch
    of method: more events never lower the upper limit, fewer never raise the lower one, unless
    one patient gives a quarter of the rows or more (then by 1.1 points at most, of all tried).
    """
    n, patients = rows.sum(axis=-1), (rows > 0).sum(axis=-1).astype(float)
    found = events.sum(axis=-1)
    plain = effective_rows(rows, shrunken_correlation(events, rows))
    with np.errstate(divide="ignore", invalid="ignore"):
        worth = np.maximum(n / _typical_rows(rows) - 1, 1.0)
        effective = np.minimum(plain * (_t(n - 1, level) / _t(worth, level)) ** 2, n)
    effective = np.where(patients == n, n, effective)
    ends = (found == 0) | (found == n)
    effective = np.where(patients < 2, np.where(ends, 1.0, np.nan), effective)
    low, high = clopper_pearson(found / n * effective, effective, level)
    # Rows worth less than one patient say nothing: 0 to 1, and not 0.000001 to 0.999999.
    nothing = (effective < 1) & ~ends
    low, high = np.where(nothing, 0.0, low), np.where(nothing, 1.0, high)
    low, high = (np.where(np.isnan(effective), np.nan, limit) for limit in (low, high))
    return ClusteredLimits(low, high, effective, np.minimum(plain, n),
                           proportion_variance(events, rows))


def effective_rows(rows: Floats, correlation: Floats | float) -> Floats:
    """How many independent rows these are worth, by patient, at a within-patient correlation."""
    found: Floats = rows.sum(axis=-1) / (1 + (_typical_rows(rows) - 1) * correlation)
    return found


def _typical_rows(rows: Floats) -> Floats:
    """Rows of the patient that a row comes from, on average: sum of squares / sum."""
    found: Floats = (rows**2).sum(axis=-1) / rows.sum(axis=-1)
    return found


def intraclass_correlation(events: Floats, rows: Floats | Whole) -> float:
    """Within-patient correlation by analysis of variance, from totals by patient (one axis).

    Not below 0. NaN where no patient repeats or nothing varies. Source: Ridout, Demétrio and
    Firth 1999, Biometrics 55:137.
    """
    k, n = len(rows), rows.sum()
    if k < 2 or n <= k:
        return float("nan")
    size = (n - (rows**2).sum() / n) / (k - 1)
    between = ((events**2 / rows).sum() - events.sum() ** 2 / n) / (k - 1)
    within = (events.sum() - (events**2 / rows).sum()) / (n - k)
    below = between + (size - 1) * within
    return float("nan") if below <= 0 else float(max(0.0, (between - within) / below))


def _t(df: Floats, level: float) -> Floats:
    """The t quantile of a two-sided interval; NaN without degrees of freedom."""
    safe = np.where(df > 0, df, 1.0)
    return np.where(df > 0, special.stdtrit(safe, 1 - (1 - level) / 2), np.nan)
