"""A proportion weighted by the inverse of the probability of being observed.

If those who were followed differ from those who were lost only in what the model of observation
holds, the weighted proportion is the one that all would have given; that cannot be tested with
the data at hand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from analyses.statistics.arguments import codes, same_length
from analyses.statistics.arrays import Floats, Labels, Mask, Whole
from analyses.statistics.estimate import CountedRow, Estimate, counted_rows, replaced
from analyses.statistics.proportions import clusters as by_patient
from analyses.statistics.proportions.intervals import clopper_pearson
from analyses.statistics.regression.firth import penalised_logistic
from analyses.words.flags import ALL_EVENTS, NO_EVENTS, NO_INTERVAL, NOTHING_COUNTED

METHOD = "weighted by the inverse probability of observation (Firth), variance by patient"


def weighted_proportion(
    event: Floats, covariates: Floats, cluster: Sequence[Any] | Labels, *, level: float = 0.95,
    id: str = "weighted", unit: str = "", group: Mapping[str, str] | None = None,
    keys: Sequence[Any] | None = None,
) -> Estimate:
    """The proportion of events, observed units weighted by 1/(chance of being observed).

    event: (rows,) 0, 1 or NaN where not observed; covariates: (rows, terms) without blanks and
    without an intercept; cluster: the patient of each row. Kind "probability": its value is
    weighted, so events/n do not give it; `events` and `n` are those observed. Chance of
    observation: Firth's logistic model. Variance: sandwich of the stacked estimating equations,
    so that the weights' own uncertainty counts, summed by patient with C/(C-1); interval:
    Clopper–Pearson with the effective number p(1-p)/V, capped at the observed, as Korn and
    Graubard 1998. Source: Robins, Rotnitzky and Zhao 1994, J Am Stat Assoc 89:846; Lunceford and
    Davidian 2004, Stat Med 23:2937.

    No value where nothing is missing to weight, or the events do not vary. Raises ValueError for
    columns of different length, or a term that is a combination of the others.
    """
    patient, names = codes(cluster)
    same_length(event=event, cluster=patient)
    seen = ~np.isnan(event)
    found = int(event[seen].sum())
    counted = Estimate(
        id=id, kind="probability", value=None, unit=unit, group=group, level=level, method=METHOD,
        events=found, n=int(seen.sum()), clusters=len(names), counted=_counted(keys, event, seen),
    )
    flags = _cannot(found, int(seen.sum()), len(event))
    if flags:
        return replaced(counted, flags=flags)
    design = np.column_stack([np.ones(len(event)), covariates])
    chance = penalised_logistic(design, seen.astype(float)).risk
    value, variance = _weighted(np.where(seen, event, 0.0), seen, chance, design, patient)
    low, high = _limits(value, variance, int(seen.sum()), len(names), level)
    return replaced(counted, value=value, low=low, high=high)


def _counted(keys: Sequence[Any] | None, event: Floats, seen: Mask) -> tuple[CountedRow, ...]:
    if keys is None:
        return ()
    return counted_rows([k for k, here in zip(keys, seen, strict=True) if here], event[seen])


def _cannot(found: int, n: int, rows: int) -> tuple[str, ...]:
    if n == 0:
        return (NOTHING_COUNTED,)
    if n == rows:
        return (NO_INTERVAL,)
    if found == 0:
        return (NO_EVENTS,)
    return (ALL_EVENTS,) if found == n else ()


def _weighted(
    outcome: Floats, seen: Mask, chance: Floats, design: Floats, patient: Whole,
) -> tuple[float, float]:
    """The weighted proportion and its variance, the weights being estimated too."""
    weights = seen / chance
    total = weights.sum()
    value = float((weights * outcome).sum() / total)
    away = weights * (outcome - value)
    information = (design * (chance * (1 - chance))[:, None]).T @ design
    # How the weighted sum moves with the model's coefficients: d(1/p)/db = -x (1-p)/p.
    slope = -((away * (1 - chance))[:, None] * design).sum(axis=0)
    scores = design * (seen - chance)[:, None]
    influence = (away + scores @ np.linalg.solve(information, slope)) / total
    by_each = by_patient.totals(influence, patient)
    return value, float(by_patient.cluster_variance(by_each, len(by_each)))


def _limits(
    value: float, variance: float, n: int, patients: int, level: float,
) -> tuple[float, float]:
    from scipy import special

    tail = 1 - (1 - level) / 2
    shrink = (special.stdtrit(n - 1, tail) / special.stdtrit(patients - 1, tail)) ** 2
    effective = min(value * (1 - value) / variance * shrink, n)
    low, high = clopper_pearson(value * effective, effective, level)
    return float(low), float(high)
