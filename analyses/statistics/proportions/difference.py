"""Two proportions compared: the difference, first minus second, with its interval."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analyses.statistics.arguments import check_level, codes, event_values, same_length
from analyses.statistics.arrays import Floats, Labels, Mask, Whole
from analyses.statistics.estimate import Estimate, counted_rows, given, replaced
from analyses.statistics.proportions import clusters as by_patient
from analyses.statistics.proportions.clustered import clustered_proportion
from analyses.statistics.proportions.independent import proportion
from analyses.statistics.proportions.intervals import wilson
from analyses.words.flags import FEW_UNITS, NO_INTERVAL, NOTHING_COUNTED

NEWCOMBE = "Newcombe hybrid score"
MARGINAL = "marginal model, variance clustered on the patient"
CLUSTERED_HYBRID = "hybrid of the two clustered intervals"
NEGLIGIBLE = 1e-20

Limits = tuple[float | None, float | None]

def proportion_difference(
    events_1: int, trials_1: int, events_2: int, trials_2: int, *, level: float = 0.95,
    id: str = "difference", unit: str = "", group: Mapping[str, str] | None = None,
    names: tuple[str, str] | None = None,
) -> Estimate:
    """First minus second of two proportions of independent units, from -1 to 1.

    Newcombe's hybrid score interval without continuity correction (method 10 of Newcombe 1998,
    Stat Med 17:873). `arms` of the estimate are the two proportions (Clopper–Pearson); names say
    what the arms are.

    Raises ValueError for counts that cannot be (see `proportion`).
    """
    counts = ((events_1, trials_1), (events_2, trials_2))
    arms = tuple(
        proportion(x, n, level=level, id=f"{id}.{place}", unit=unit, group=_named(names, place))
        for place, (x, n) in enumerate(counts, start=1)
    )
    counted = _counted(Estimate(id=id, kind="difference", value=None, unit=unit, group=group,
                                level=level, method=NEWCOMBE, arms=arms))
    if not all(arm.n for arm in arms):
        return replaced(counted, flags=(NOTHING_COUNTED,))
    return _hybrid(counted, _wilson_limits(counted))


def clustered_difference(
    event: ArrayLike, arm: Sequence[Any] | Labels, cluster: Sequence[Any] | Labels, *,
    level: float = 0.95, reference: Any = None, id: str = "difference", unit: str = "",
    group: Mapping[str, str] | None = None, keys: Sequence[Any] | None = None,
) -> Estimate:
    """Difference of two proportions of rows that repeat within patients, from -1 to 1.

    event: 0/1, one a row; arm: a label a row, two different ones; cluster: the patient. The
    difference is the other arm minus `reference` (else the label that sorts last is taken as the
    first arm). A marginal linear model: the estimate is the plain difference; its variance is
    Taylor-linearised by patient with C/(C-1), so a patient may stand in both arms; t interval on
    C - 2 degrees of freedom. The same as svyglm of R survey (Lumley 2010, Complex Surveys).

    One row a patient: Newcombe's interval. Where an arm has no events or only events its variance
    would be 0, so the two clustered intervals are combined as Newcombe combines Wilson's; the
    same where the patients do not differ at all.

    Raises ValueError for more than two arms, missing outcomes, arms or patients, an unknown
    reference, or columns of different length.
    """
    outcome, (side, labels) = event_values(event), codes(arm, "arm")
    patient, patients = codes(cluster)
    same_length(event=outcome, arm=side, cluster=patient)
    first = _first_arm(labels, reference)
    check_level(level)
    picks = [side == first, side != first]
    others = [label for place, label in enumerate(labels) if place != first]
    rest = others or ["" if reference is None else reference]
    names = (_label(labels[first : first + 1]), _label(rest))
    arms = tuple(
        clustered_proportion(
            outcome[pick], patient[pick], level=level, id=f"{id}.{place}", unit=unit,
            group={**(group or {}), "arm": name},
        )
        for place, (pick, name) in enumerate(zip(picks, names, strict=True), start=1)
    )
    counted = _counted(Estimate(
        id=id, kind="difference", value=None, unit=unit, group=group, level=level,
        method=MARGINAL, arms=arms, clusters=len(patients), counted=counted_rows(keys, outcome),
    ))
    if not all(a.n for a in arms):
        return replaced(counted, flags=(NOTHING_COUNTED,))
    if len(patients) == len(outcome):
        return _hybrid(replaced(counted, method=NEWCOMBE), _wilson_limits(counted))
    variance = _variance(arms, outcome, picks[0], patient)
    if any(a.events in (0, a.n) for a in arms) or variance < NEGLIGIBLE:
        return _hybrid(replaced(counted, method=CLUSTERED_HYBRID), [(a.low, a.high) for a in arms])
    return _marginal(counted, variance, len(patients))


def _counted(named: Estimate) -> Estimate:
    """The difference without a value yet: what both arms counted, flagged where one is small."""
    few = (FEW_UNITS,) if any(FEW_UNITS in arm.flags for arm in named.arms) else ()
    return replaced(named, events=sum(given(arm.events) for arm in named.arms),
                    n=sum(given(arm.n) for arm in named.arms), flags=few)


def _wilson_limits(counted: Estimate) -> list[Limits]:
    """Wilson's limits of each arm."""
    found = (wilson(given(arm.events), given(arm.n), counted.level) for arm in counted.arms)
    return [(float(low), float(high)) for low, high in found]


def _variance(
    arms: tuple[Estimate, ...], outcome: Floats, in_first: Mask, patient: Whole
) -> float:
    """Linearised variance of the difference, by patient."""
    (one, two), (n_1, n_2) = ([given(a.value) for a in arms], [given(a.n) for a in arms])
    influence = np.where(in_first, (outcome - one) / n_1, -(outcome - two) / n_2)
    by_each = by_patient.totals(influence, patient)
    return float(by_patient.cluster_variance(by_each, len(by_each)))


def _marginal(counted: Estimate, variance: float, patients: int) -> Estimate:
    """Plain difference with t limits on C - 2 degrees of freedom; none with under 3 patients."""
    one, two = (given(arm.value) for arm in counted.arms)
    if patients < 3:
        return _without_interval(counted, one - two)
    tail = 1 - (1 - counted.level) / 2
    half = float(special.stdtrit(patients - 2, tail)) * math.sqrt(variance)
    return _within(counted, one - two, one - two - half, one - two + half)


def _hybrid(counted: Estimate, limits: Sequence[Limits]) -> Estimate:
    """Newcombe's combination of two intervals: each arm lends the side that faces the bound."""
    one, two = (given(arm.value) for arm in counted.arms)
    (low_1, high_1), (low_2, high_2) = limits
    if low_1 is None or high_1 is None or low_2 is None or high_2 is None:
        return _without_interval(counted, one - two)
    low = one - two - math.hypot(one - low_1, high_2 - two)
    high = one - two + math.hypot(high_1 - one, two - low_2)
    return _within(counted, one - two, low, high)


def _within(counted: Estimate, value: float, low: float, high: float) -> Estimate:
    """The difference with its limits, which cannot leave the range from -1 to 1."""
    return replaced(counted, value=value, low=max(-1.0, low), high=min(1.0, high))


def _without_interval(counted: Estimate, value: float) -> Estimate:
    return replaced(counted, value=value, flags=(*counted.flags, NO_INTERVAL))


def _first_arm(labels: list[Any], reference: Any) -> int:
    """The code of the arm that stands first: the one that is not the reference."""
    if len(labels) > 2:
        said = ", ".join(str(label) for label in labels)
        raise ValueError(f"There are {len(labels)} arms ({said}); two can be compared.")
    if reference is None:
        return max(0, len(labels) - 1)
    if len(labels) == 2 and reference not in labels:
        raise ValueError(f"No row has the reference arm {reference!r}.")
    return next((place for place, label in enumerate(labels) if label != reference), len(labels))


def _named(names: tuple[str, str] | None, place: int) -> dict[str, str] | None:
    return None if names is None else {"arm": names[place - 1]}


def _label(labels: list[Any]) -> str:
    return str(labels[0]) if labels else ""
