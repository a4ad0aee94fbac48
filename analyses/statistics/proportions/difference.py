"""Two proportions compared: the difference, first minus second, with its interval."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from analyses.statistics.arguments import check_level, codes, event_values, same_length
from analyses.statistics.arrays import Floats, Labels, Mask, Whole
from analyses.statistics.estimate import Estimate, counted_rows, given, replaced
from analyses.statistics.proportions import clusters as by_patient
from analyses.statistics.proportions.clustered import clustered_proportion
from analyses.statistics.proportions.difference_limits import (
    difference_limits,
    newcombe_limits,
)
from analyses.statistics.proportions.independent import proportion
from analyses.words.flags import FEW_UNITS, NO_INTERVAL, NOTHING_COUNTED

NEWCOMBE = "Newcombe hybrid score"
CLUSTERED_HYBRID = "hybrid of the arms' clustered intervals"


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
    return _newcombe(counted)


def clustered_difference(
    event: ArrayLike, arm: Sequence[Any] | Labels, cluster: Sequence[Any] | Labels, *,
    level: float = 0.95, reference: Any = None, id: str = "difference", unit: str = "",
    group: Mapping[str, str] | None = None, keys: Sequence[Any] | None = None,
) -> Estimate:
    """Difference of two proportions of rows that repeat within patients, from -1 to 1.

    event: 0/1, one a row; arm: a label a row, two different ones; cluster: the patient. The
    difference is the other arm minus `reference` (else the label that sorts last is taken as the
    first arm).

    The variance on each side is recovered from the arms' own intervals, with the correlation of
    the two proportions where patients stand in both arms: lower = d - √((p1-l1)² + (u2-p2)² -
    2r(p1-l1)(u2-p2)), upper likewise (Zou and Donner 2008, Stat Med 27:1693; Newcombe 1998, Stat
    Med 17:873, with r = 0). Arms: `clustered_proportion`; r: linearised by patient and drawn
    towards 0 where events are few. A Wald interval left 0 out in most true nulls with one event
    in the smaller arm; tables in tests/reference/differences.md. One row a patient: Newcombe's
    interval.

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
        replaced(clustered_proportion(
            outcome[pick], patient[pick], level=level, id=f"{id}.{place}", unit=unit,
            group={**(group or {}), "arm": name},
        ), beside=())
        for place, (pick, name) in enumerate(zip(picks, names, strict=True), start=1)
    )
    counted = _counted(Estimate(
        id=id, kind="difference", value=None, unit=unit, group=group, level=level,
        method=CLUSTERED_HYBRID, arms=arms, clusters=len(patients),
        counted=counted_rows(keys, outcome),
    ))
    if not all(a.n for a in arms):
        return replaced(counted, flags=(NOTHING_COUNTED,))
    if len(patients) == len(outcome):
        return _newcombe(replaced(counted, method=NEWCOMBE))
    return _shared(counted, outcome, picks, patient)


def _shared(
    counted: Estimate, outcome: Floats, picks: Sequence[Mask], patient: Whole,
) -> Estimate:
    """The difference of arms that may share patients; none where an arm has no interval."""
    one, two = (given(arm.value) for arm in counted.arms)
    (found, n), (found_2, n_2) = (
        (by_patient.totals(np.where(pick, outcome, 0.0), patient),
         by_patient.totals(pick.astype(float), patient)) for pick in picks)
    limits = difference_limits(found, n, found_2, n_2, counted.level)
    if np.isnan(limits.low) or np.isnan(limits.high):
        return _without_interval(counted, one - two)
    return _within(counted, one - two, float(limits.low), float(limits.high))


def _counted(named: Estimate) -> Estimate:
    """The difference without a value yet: what both arms counted, flagged where one is small."""
    few = (FEW_UNITS,) if any(FEW_UNITS in arm.flags for arm in named.arms) else ()
    return replaced(named, events=sum(given(arm.events) for arm in named.arms),
                    n=sum(given(arm.n) for arm in named.arms), flags=few)


def _newcombe(counted: Estimate) -> Estimate:
    one, two = counted.arms
    limits = newcombe_limits(given(one.events), given(one.n), given(two.events), given(two.n),
                             counted.level)
    return _within(counted, float(limits.value), float(limits.low), float(limits.high))


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
