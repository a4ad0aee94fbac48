"""A difference of two groups as an estimate, patients who stand in both allowed for."""

from __future__ import annotations

import numpy as np

from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.timetoevent.time_inputs import Followed
from analyses.words import flags


def difference_estimate(
    people: Followed, ours: Estimate, theirs: Estimate, limits: tuple[float, float],
    method: str, measure: str = "",
) -> Estimate:
    """`ours` minus `theirs`; None with the flags of both where either has no value."""
    value = None if ours.value is None or theirs.value is None else ours.value - theirs.value
    known = value is not None
    words = tuple(dict.fromkeys((*ours.flags, *theirs.flags)))
    if known and np.isnan(limits[0]):
        words = (*words, flags.NO_INTERVAL)
    groups = [*(ours.group or {}).values(), *(theirs.group or {}).values()]
    return replaced(
        ours, id=ours.id + ".difference", kind="difference", method=method, measure=measure,
        value=value,
        low=limits[0] if known else None, high=limits[1] if known else None, flags=words,
        group={people.group_name: " minus ".join(groups)},
        events=(ours.events or 0) + (theirs.events or 0), n=(ours.n or 0) + (theirs.n or 0),
        clusters=_patients_of(people, groups), arms=(ours, theirs),
        counted=(*ours.counted, *theirs.counted),
    )


def correlation(first: Floats, second: Floats) -> float:
    """Correlation of two estimates from what each patient adds to them; 0 where one is fixed."""
    size = float(np.sqrt((first**2).sum() * (second**2).sum()))
    return float(first @ second) / size if size > 0 else 0.0


def aligned(
    first: Floats, second: Floats,
) -> tuple[Floats, Floats]:
    """Two sums by patient at one length: a patient absent from a group adds nothing there."""
    size = max(first.size, second.size)
    return np.pad(first, (0, size - first.size)), np.pad(second, (0, size - second.size))


def triple(estimate: Estimate) -> tuple[float, float, float]:
    """Value, low and high, with NaN in place of None."""
    value, low, high = (np.nan if part is None else float(part)
                        for part in (estimate.value, estimate.low, estimate.high))
    return value, low, high


def _patients_of(people: Followed, groups: list[str]) -> int | None:
    if people.cluster is None:
        return None
    labels = [str(label) for label in people.groups]
    inside = np.isin(people.group, [labels.index(group) for group in groups])
    return int(np.unique(people.cluster[inside]).size)
