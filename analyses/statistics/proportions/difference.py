"""Two proportions compared: the difference, first minus second, with its interval."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from analyses.statistics.arguments import check_level, codes, event_values, same_length
from analyses.statistics.arrays import Floats, Labels, Mask, Whole
from analyses.statistics.estimate import Estimate, counted_rows, given, replaced
from analyses.statistics.proportions import clusters as by_patient
from analyses.statistics.proportions.clustered import clustered_proportion
from analyses.statistics.proportions.independent import proportion
from analyses.statistics.proportions.intervals import wilson
from analyses.words.flags import FEW_UNITS, NO_INTERVAL, NOTHING_COUNTED

NEWCOMBE = "Newcombe hybrid score"
CLUSTERED_HYBRID = "hybrid of the arms' clustered intervals"

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
        return _hybrid(replaced(counted, method=NEWCOMBE), _wilson_limits(counted))
    limits = [(arm.low, arm.high) for arm in counted.arms]
    return _hybrid(counted, limits, arms_correlation(outcome, picks[0], patient))


def arms_correlation(outcome: Floats, in_first: Mask, patient: Whole) -> float:
    """Correlation of two arms' proportions, which the patients they share give them.

    outcome: 0/1, one a row; in_first: whether the row is of the first arm; patient: codes. Each
    arm's influence summed by patient, and their correlation times k/(8 + k), k the fewest events
    or rows without one in an arm: with few it cannot be told from the rows. 0 where an arm has
    no events, or only events.
    """
    influences, fewest = [], np.inf
    for pick in (in_first, ~in_first):
        share = outcome[pick].mean()
        influences.append(by_patient.totals(np.where(pick, outcome - share, 0.0), patient))
        fewest = min(fewest, outcome[pick].sum(), (1 - outcome[pick]).sum())
    if not fewest:
        return 0.0
    one, two = influences
    spread = math.sqrt(float((one**2).sum() * (two**2).sum()))
    together = float((one * two).sum()) / spread if spread else 0.0
    return together * float(fewest) / (by_patient.WORTH + float(fewest))


def _counted(named: Estimate) -> Estimate:
    """The difference without a value yet: what both arms counted, flagged where one is small."""
    few = (FEW_UNITS,) if any(FEW_UNITS in arm.flags for arm in named.arms) else ()
    return replaced(named, events=sum(given(arm.events) for arm in named.arms),
                    n=sum(given(arm.n) for arm in named.arms), flags=few)


def _wilson_limits(counted: Estimate) -> list[Limits]:
    """Wilson's limits of each arm."""
    found = (wilson(given(arm.events), given(arm.n), counted.level) for arm in counted.arms)
    return [(float(low), float(high)) for low, high in found]


def _hybrid(counted: Estimate, limits: Sequence[Limits], together: float = 0.0) -> Estimate:
    """The combination of two intervals: each arm lends the side that faces the bound.

    together: correlation of the two proportions, -1 to 1.
    """
    one, two = (given(arm.value) for arm in counted.arms)
    (low_1, high_1), (low_2, high_2) = limits
    if low_1 is None or high_1 is None or low_2 is None or high_2 is None:
        return _without_interval(counted, one - two)
    low = one - two - _recovered(one - low_1, high_2 - two, together)
    high = one - two + _recovered(high_1 - one, two - low_2, together)
    return _within(counted, one - two, low, high)


def _recovered(first: float, second: float, together: float) -> float:
    """The half width on one side, from the arms' own half widths that face it."""
    return math.sqrt(max(0.0, first**2 + second**2 - 2 * together * first * second))


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
