"""Events per person-time, and ratios of such rates, exact and with the patient respected.

Person-time in, `Estimate` of kind "rate" (per `per` units of time) or "rate ratio" out. Keyword
names `id`, `unit`, `group` and `keys` go onto the estimate.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from analyses.statistics.arguments import (
    check_level,
    codes,
    count,
    finite,
    same_length,
    time_at_risk,
)
from analyses.statistics.arrays import Floats, Labels, Whole
from analyses.statistics.estimate import Estimate, counted_rows, replaced
from analyses.statistics.proportions import clusters as by_patient
from analyses.statistics.proportions.intervals import clopper_pearson
from analyses.words.flags import NO_EVENTS, NOTHING_COUNTED, ONE_CLUSTER, UNBOUNDED, WIDENED

GARWOOD = "exact Poisson (Garwood)"
WIDENED_GARWOOD = "exact Poisson, widened by robust over Poisson variance"
CONDITIONAL = "exact conditional"
WIDENED_CONDITIONAL = "exact conditional, widened by robust over Poisson variance"
YEARS = "patient-years"


def garwood(events: ArrayLike, level: float = 0.95) -> tuple[Floats, Floats]:
    """Exact limits of a Poisson mean; events may be fractional. Source: Garwood 1936, Biometrika.

    Worked out by statsmodels; the lower limit is 0 at no events.
    """
    from statsmodels.stats.rates import confint_poisson

    low, high = confint_poisson(np.asarray(events, dtype=float), 1, "exact-c", alpha=1 - level)
    return np.asarray(low), np.asarray(high)


def incidence_rate(
    events: int, person_years: float, *, per: float = 100, level: float = 0.95,
    id: str = "rate", unit: str = YEARS, group: Mapping[str, str] | None = None,
) -> Estimate:
    """Events per `per` units of person-time, with Garwood's exact Poisson interval (1936).

    events: a count of events that are independent; person_years: the time at risk, in the unit
    named. Where patients can have several events, use `clustered_rate`. No person-time gives an
    estimate without a value.

    Raises ValueError for missing or negative input, or events without any person-time.
    """
    found, time = count(events, "The number of events"), time_at_risk(person_years)
    level = check_level(level)
    if found and not time:
        raise ValueError(f"There are {found} events in no person-time.")
    counted = Estimate(
        id=id, kind="rate", value=None, unit=unit, group=group, level=level, method=GARWOOD,
        events=found, denominator=time, per=float(per),
    )
    if not time:
        return replaced(counted, flags=(NOTHING_COUNTED,))
    low, high = (float(limit) * per / time for limit in garwood(found, level))
    return replaced(counted, value=found * per / time, low=low, high=high)


def clustered_rate(
    events: ArrayLike, person_years: ArrayLike, cluster: Sequence[Any] | Labels, *,
    per: float = 100,
    level: float = 0.95, id: str = "rate", unit: str = YEARS,
    group: Mapping[str, str] | None = None, keys: Sequence[Any] | None = None,
) -> Estimate:
    """A rate whose patients may have several events, per `per` units of person-time.

    events, person_years, cluster: one a row (a row may be a patient or a stretch of one). Where no
    patient has two events: Garwood. Else Garwood on events and years both divided by
    max(1, robust variance by patient / Poisson variance), flagged. Source: Garwood 1936; Ulm 1990,
    Am J Epidemiol 131:373. One patient with several events: no interval, flagged.

    Raises ValueError for missing or negative input, or columns of different length.
    """
    counts, time, patient = _columns(events, person_years, cluster)
    found, years = int(counts.sum()), float(time.sum())
    by_each = by_patient.totals(counts, patient), by_patient.totals(time, patient)
    plain = replaced(
        incidence_rate(found, years, per=per, level=level, id=id, unit=unit, group=group),
        clusters=len(by_each[0]), n=len(counts), counted=counted_rows(keys, counts > 0),
    )
    if plain.value is None or by_each[0].max(initial=0) < 2:
        return plain
    if len(by_each[0]) == 1:
        return replaced(plain, low=None, high=None, flags=(ONE_CLUSTER,))
    widening = overdispersion(*by_each)
    low, high = (float(x) * widening * per / years for x in garwood(found / widening, level))
    return replaced(plain, low=low, high=high, method=WIDENED_GARWOOD, flags=(WIDENED,))


def overdispersion(events: Floats, time: Floats) -> float:
    """max(1, robust variance / Poisson variance) of a rate, from totals by patient."""
    total = events.sum()
    if total == 0 or len(events) < 2:
        return 1.0
    influence = events - total / time.sum() * time
    return max(1.0, float(by_patient.cluster_variance(influence, len(events))) / float(total))


def clustered_rate_ratio(
    events: ArrayLike, person_years: ArrayLike, arm: Sequence[Any] | Labels,
    cluster: Sequence[Any] | Labels, *,
    reference: Any, level: float = 0.95, per: float = 100, id: str = "rate ratio",
    unit: str = YEARS, group: Mapping[str, str] | None = None,
) -> Estimate:
    """The other arm's rate over the reference's, where patients repeat or stand in both arms.

    One row a stretch of time: its events, its person-time, its arm and its patient. The exact
    conditional interval on events and time divided by max(1, robust variance of the log ratio by
    patient / its Poisson variance); the robust variance is that of a marginal Poisson model.

    Raises ValueError for anything but two arms, an unknown reference, and as `clustered_rate`.
    """
    counts, time, patient = _columns(events, person_years, cluster)
    side, labels = codes(arm, "arm")
    same_length(events=counts, arm=side)
    if reference not in labels or len(labels) != 2:
        said = ", ".join(str(label) for label in labels) or "none"
        raise ValueError(f"The arms are {said}; two are wanted, one of them {reference!r}.")
    first = next(place for place, label in enumerate(labels) if label != reference)
    picks = (side == first, side != first)
    arms = tuple(
        clustered_rate(
            counts[pick], time[pick], patient[pick], per=per, level=level, id=f"{id}.{place}",
            unit=unit, group={**(group or {}), "arm": str(labels[code])},
        )
        for place, (pick, code) in enumerate(zip(picks, (first, 1 - first), strict=True), start=1)
    )
    widening = _ratio_overdispersion(counts, time, picks, patient)
    counted = Estimate(
        id=id, kind="rate ratio", value=None, level=level, unit=unit, group=group, arms=arms,
        method=CONDITIONAL if widening == 1 else WIDENED_CONDITIONAL,
        clusters=len(set(patient.tolist())),
    )
    return _ratio(counted, widening)


def _ratio_overdispersion(
    counts: Floats, time: Floats, picks: tuple[Any, Any], patient: Whole
) -> float:
    """Robust over Poisson variance of the log rate ratio; of the one rate that has events else."""
    influence, poisson = np.zeros_like(counts), 0.0
    for sign, pick in zip((1.0, -1.0), picks, strict=True):
        total = counts[pick].sum()
        if total:
            rate = total / time[pick].sum()
            influence[pick] = sign * (counts[pick] - rate * time[pick]) / total
            poisson += 1.0 / total
    by_each = by_patient.totals(influence, patient)
    if poisson == 0 or len(by_each) < 2:
        return 1.0
    return max(1.0, float(by_patient.cluster_variance(by_each, len(by_each))) / poisson)


def _ratio(counted: Estimate, widening: float) -> Estimate:
    """The ratio of the two arms of `counted`, its exact limits on counts divided by `widening`."""
    one, two = (arm.events or 0 for arm in counted.arms)
    times = [arm.denominator or 0.0 for arm in counted.arms]
    if 0.0 in times:
        raise ValueError("An arm has no person-time; a ratio needs time in both.")
    counted = replaced(counted, events=one + two, denominator=sum(times))
    if one + two == 0:
        return replaced(counted, flags=(NO_EVENTS,))
    scale = times[1] / times[0]
    low, high = (
        _odds(float(share)) * scale
        for share in clopper_pearson(one / widening, (one + two) / widening, counted.level)
    )
    flags = (WIDENED,) if widening > 1 else ()
    return replaced(
        counted, value=one / two * scale if two else np.inf, low=low, high=high,
        flags=flags if two else (*flags, UNBOUNDED),
    )


def _odds(share: float) -> float:
    return share / (1 - share) if share < 1 else float("inf")


def _columns(
    events: ArrayLike, person_years: ArrayLike, cluster: Sequence[Any] | Labels
) -> tuple[Floats, Floats, Whole]:
    """The three columns, checked: whole counts, times from 0 up, a patient on every row."""
    counts, time = finite(events, "number of events"), finite(person_years, "person-time")
    patient, _ = codes(cluster)
    same_length(events=counts, person_years=time, cluster=patient)
    for name, column in (("number of events", counts), ("person-time", time)):
        if (column < 0).any():
            at = int(np.flatnonzero(column < 0)[0])
            raise ValueError(f"Row {at + 1} has the {name} {column[at]:g}; it cannot be negative.")
    if (counts != np.floor(counts)).any():
        raise ValueError("A number of events is not whole.")
    return counts, time, patient
