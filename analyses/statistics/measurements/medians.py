"""Medians, quartiles and means of measurements, with intervals that respect the patient.

Measurements in, `Estimate` of kind "median" or "mean" out, in the `measure` named (mL, min). A
median carries its quartiles in `beside`, a mean its standard deviation. Keyword names `id`,
`unit`, `group` and `keys` go onto the estimate. Missing values are refused: the caller says how
many there were.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from analyses.statistics.arguments import check_level, codes, finite, same_length
from analyses.statistics.arrays import Floats, Labels, Whole
from analyses.statistics.estimate import Estimate, counted_rows, replaced
from analyses.statistics.presentation import few_units
from analyses.statistics.proportions import clusters as by_patient
from analyses.statistics.proportions.clustered import MUCH
from analyses.statistics.proportions.intervals import clopper_pearson
from analyses.words.flags import DOMINATED, NO_INTERVAL, NOTHING_COUNTED, ONE_CLUSTER

FEWEST_PATIENTS = 6
"""Under 6 patients no 95 % interval of a median exists without assumptions (2 · ½⁵ = 6 %)."""


def median(
    values: ArrayLike, *, level: float = 0.95, measure: str = "", id: str = "median",
    unit: str = "", group: Mapping[str, str] | None = None, keys: Sequence[Any] | None = None,
) -> Estimate:
    """Median of independent measurements with the order-statistic interval, in `measure`.

    Ranks l = qbinom(α/2, n, ½) and n + 1 - l (Conover, Practical Nonparametric Statistics, 3rd
    edition 1999, 3.2; Hahn and Meeker 1991). Where l is 0 (n of 5 or fewer at 95 %) no interval
    exists, flagged. Quartiles (type 7 of Hyndman and Fan 1996) in `beside`.

    Raises ValueError for missing values or text.
    """
    found = np.sort(finite(values, "value"))
    counted = _counted("median", found, level, measure, id, unit, group, keys)
    if not len(found):
        return replaced(counted, flags=(NOTHING_COUNTED,))
    rank = int(stats.binom.ppf((1 - level) / 2, len(found), 0.5))
    low, high = (found[rank - 1], found[-rank]) if rank else (None, None)
    return replaced(
        counted, value=float(np.median(found)), low=low, high=high,
        method=f"order statistics {rank} and {len(found) + 1 - rank}" if rank else "none",
        flags=few_units(len(found)) + (() if rank else (NO_INTERVAL,)),
        beside=_quartiles(found, counted),
    )


def clustered_median(
    values: ArrayLike, cluster: Sequence[Any] | Labels, *, level: float = 0.95,
    measure: str = "", id: str = "median",
    unit: str = "", group: Mapping[str, str] | None = None, keys: Sequence[Any] | None = None,
) -> Estimate:
    """Median of measurements that repeat within patients: order statistics at an effective n.

    values, cluster: one a row. The share of rows below the median is ½; its Clopper–Pearson
    limits with Korn and Graubard's effective n (`effective_rows`) say between which ranks of the
    rows the truth lies (Woodruff 1952, J Am Stat Assoc 47:635; Korn and Graubard 1998, Survey
    Methodology 24:193). Coverage at 8 to 150 patients: tests/reference/coverage_medians.md; a
    percentile bootstrap of patients gave 85 to 93 % at 8 to 12. One row a patient: as `median`.
    Under 6 patients, or where the ranks lie outside the rows: no interval, flagged. A patient who
    gives a quarter of the rows or more is flagged.

    Raises ValueError for missing values or patients, or columns of different length.
    """
    found, (patient, names) = finite(values, "value"), codes(cluster)
    same_length(values=found, cluster=patient)
    plain = replaced(
        median(found, level=level, measure=measure, id=id, unit=unit, group=group, keys=keys),
        clusters=len(names),
    )
    if len(names) == len(found):
        return plain
    many = (DOMINATED,) if np.bincount(patient).max() >= MUCH * len(found) else ()
    flags, rank, n = (*few_units(len(found)), *many), 0, 0.0
    if len(names) >= FEWEST_PATIENTS:
        n = effective_rows(found, patient, level)
        below = float(clopper_pearson(n / 2, n, level)[0])
        rank = int(np.floor(below * len(found) + 1e-9))
    if not rank:
        if len(names) == 1:
            return replaced(plain, low=None, high=None, method="none",
                            flags=(*few_units(len(found)), ONE_CLUSTER))
        return replaced(plain, low=None, high=None, method="none", flags=(*flags, NO_INTERVAL))
    in_order = np.sort(found)
    return replaced(
        plain, low=in_order[rank - 1], high=in_order[-rank], flags=flags, effective_n=n,
        method=f"order statistics {rank} and {len(found) + 1 - rank}, effective n by patient",
    )


def effective_rows(values: Floats, patient: Whole, level: float = 0.95) -> float:
    """How many independent rows the median rests on: Korn and Graubard's effective n at ½.

    values: one a row; patient: codes 0, 1, …. n over the design effect of the share of rows below
    the median (a row level with it counts half), times (t(n−1)/t(C−1))², at most n. C are the
    patients that rows so unevenly spread are worth (n/m, m = sum of squared rows a patient / n),
    and a patient's part of the variance is divided by the share of rows of the others (the
    median is drawn to a patient with many): with one row in two from one patient of eight, C as
    counted and C/(C−1) covered 52 to 90 %.
    """
    n, rows = len(values), np.bincount(patient).astype(float)
    below = np.sign(np.median(values) - values) / 2
    off = below - below.mean()
    alone = float(off @ off) / n**2
    if alone == 0:  # every row has the same value: nothing says how alike those of a patient are
        return float(len(rows))
    variance = float((by_patient.totals(off / n, patient) ** 2 / (1 - rows / n)).sum())
    tail, worth = 1 - (1 - level) / 2, n**2 / float((rows**2).sum())
    small = float(special.stdtrit(n - 1, tail) / special.stdtrit(max(worth - 1, 1.0), tail))
    return min(float(n), n * alone / variance * small**2) if variance > 0 else float(n)


def clustered_mean(
    values: ArrayLike, cluster: Sequence[Any] | Labels, *, level: float = 0.95,
    measure: str = "", id: str = "mean", unit: str = "",
    group: Mapping[str, str] | None = None, keys: Sequence[Any] | None = None,
) -> Estimate:
    """Mean of rows that repeat within patients: Taylor-linearised variance, C/(C-1), t on C - 1.

    With one row a patient this is the ordinary t interval. One patient: no interval, flagged.

    Raises ValueError for missing values or patients, or columns of different length.
    """
    found, (patient, names) = finite(values, "value"), codes(cluster)
    same_length(values=found, cluster=patient)
    counted = replaced(_counted("mean", found, level, measure, id, unit, group, keys),
                       clusters=len(names))
    if not len(found):
        return replaced(counted, flags=(NOTHING_COUNTED,))
    value, patients = float(found.mean()), len(names)
    spread = _spread(found, counted)
    if patients < 2:
        flags = (*few_units(len(found)), ONE_CLUSTER if len(found) > 1 else NO_INTERVAL)
        return replaced(counted, value=value, method="none", flags=flags, beside=spread)
    by_each = by_patient.totals((found - value) / len(found), patient)
    error = float(by_patient.cluster_variance(by_each, patients)) ** 0.5
    half = float(special.stdtrit(patients - 1, 1 - (1 - level) / 2)) * error
    alone = patients == len(found)
    return replaced(
        counted, value=value, low=value - half, high=value + half,
        method="t interval" if alone else "t interval, clustered on the patient",
        flags=few_units(len(found)), beside=spread,
    )


def _counted(
    kind: str, found: Floats, level: float, measure: str, id: str, unit: str,
    group: Mapping[str, str] | None, keys: Sequence[Any] | None,
) -> Estimate:
    """What was measured, without a value yet."""
    return Estimate(
        id=id, kind=kind, value=None, level=check_level(level), measure=measure, unit=unit,
        group=group, n=len(found), counted=counted_rows(keys, np.zeros(len(found))),
    )


def _quartiles(found: Floats, counted: Estimate) -> tuple[Estimate, ...]:
    """The quartiles as estimates of their own, without intervals."""
    parts = (("lower quartile", "lower_quartile", 0.25), ("upper quartile", "upper_quartile", 0.75))
    return tuple(
        replaced(counted, id=f"{counted.id}.{name}", kind=kind,
                 value=float(np.quantile(found, share)))
        for kind, name, share in parts
    )


def _spread(found: Floats, counted: Estimate) -> tuple[Estimate, ...]:
    """The standard deviation of the rows (n - 1); none for a single row."""
    if len(found) < 2:
        return ()
    return (replaced(counted, id=f"{counted.id}.sd", kind="standard deviation",
                     value=float(found.std(ddof=1))),)
