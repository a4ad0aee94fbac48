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
from analyses.words.flags import NO_INTERVAL, NOTHING_COUNTED, ONE_CLUSTER

REPLICATES = 2000
SEED = 1
FEWEST_PATIENTS = 6
"""Under 6 patients no 95 % interval of a median exists without assumptions (2 · ½⁵ = 6 %)."""
CHUNK = 4_000_000


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
    measure: str = "", replicates: int = REPLICATES, seed: int = SEED, id: str = "median",
    unit: str = "", group: Mapping[str, str] | None = None, keys: Sequence[Any] | None = None,
) -> Estimate:
    """Median of measurements that repeat within patients: percentile bootstrap of patients.

    values, cluster: one a row. `replicates` samples of whole patients, drawn with the seed given
    (Efron and Tibshirani 1993, An Introduction to the Bootstrap, 8 and 13). One row a patient: as
    `median`. Under 6 patients: no interval, flagged.

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
    flags = few_units(len(found))
    if len(names) < FEWEST_PATIENTS:
        why = ONE_CLUSTER if len(names) == 1 else NO_INTERVAL
        return replaced(plain, low=None, high=None, method="none", flags=(*flags, why))
    medians = bootstrap_medians(found, patient, replicates=replicates, seed=seed)
    tail = (1 - level) / 2
    low, high = np.quantile(medians, (tail, 1 - tail))
    return replaced(
        plain, low=low, high=high, flags=flags,
        method=f"bootstrap of patients, {replicates:,} samples",
    )


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


def bootstrap_medians(
    values: Floats, patient: Whole, *, replicates: int = REPLICATES, seed: int = SEED
) -> Floats:
    """Medians of `replicates` samples of whole patients, drawn with replacement, seeded.

    values: one a row; patient: codes 0, 1, …. A sample is a weight a patient, so the median is
    read off the running sum of weights along the sorted values.
    """
    rng = np.random.default_rng(seed)
    patients = int(patient.max()) + 1
    order = np.argsort(values, kind="stable")
    in_order, whose = values[order], patient[order]
    chance = np.full(patients, 1 / patients)
    step = max(1, CHUNK // len(values))
    parts = []
    for start in range(0, replicates, step):
        weights = rng.multinomial(patients, chance, size=min(step, replicates - start))
        parts.append(_weighted_medians(in_order, weights[:, whose]))
    return np.concatenate(parts)


def _weighted_medians(in_order: Floats, weights: Whole) -> Floats:
    """The median of each row's weighted sample; the mean of the middle two where even."""
    running = weights.cumsum(axis=1)
    total = running[:, -1]
    lower = (running < ((total + 1) // 2)[:, None]).sum(axis=1)
    upper = (running < (total // 2 + 1)[:, None]).sum(axis=1)
    found: Floats = (in_order[lower] + in_order[upper]) / 2
    return found


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
