"""What an estimate over time is called, and the words for what stands in its way."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import numpy as np

from analyses.statistics.estimate import Estimate, counted_rows
from analyses.statistics.timetoevent.at_risk import number_at_risk, read_to
from analyses.statistics.timetoevent.time_inputs import Followed
from analyses.words import flags

FEW_PATIENTS = 20
"""Under this many patients a clustered standard error is known to be too small (common
practice, no source)."""


@dataclass(frozen=True)
class TimeLabels:
    """The names that go into every estimate of one analysis.

    label: what the probability is of, in words, for the title of a summary (else the id).
    """

    id: str
    unit: str
    measure: str
    level: float
    label: str = ""

    def title(self, rows: int) -> str:
        """What a summary is called: `Survival, 1,204 patients`."""
        return f"{self.label or self.id}, {rows:,} {self.unit}{'' if rows == 1 else 's'}"

    def estimate(
        self, people: Followed, kind: str, method: str, value: float | None,
        low: float | None = None, high: float | None = None, *,
        happened: Any, group: Hashable | None = None, words: tuple[str, ...] = (),
        measure: str = "", suffix: str = "",
    ) -> Estimate:
        """An estimate of these people; `happened` marks the rows that count as events."""
        words = (*words, *cluster_words(people))
        if value is not None and low is None and flags.ONE_CLUSTER not in words:
            words = (*words, flags.NO_INTERVAL)
        return Estimate(
            id=self.id + suffix, kind=kind, value=value, low=low, high=high, level=self.level,
            method=method, unit=self.unit, events=int(np.sum(happened)),
            n=int(people.duration.size), clusters=people.clusters,
            group=None if group is None else {people.group_name: str(group)},
            flags=words, measure=measure,
            counted=counted_rows(people.keys, happened),
        )

    def time(self, value: float) -> str:
        """A time with its unit: `2 years`."""
        return f"{value:g} {self.measure}".strip()


def cluster_words(people: Followed) -> tuple[str, ...]:
    """How far a clustered interval can be trusted."""
    if people.clusters is None or not people.repeated:
        return ()
    if people.clusters == 1:
        return (flags.ONE_CLUSTER,)
    if people.clusters < FEW_PATIENTS:
        return (f"only {people.clusters} patients: the interval may be too narrow",)
    return ()


def unread_words(people: Followed, time: float, labels: TimeLabels) -> tuple[str, ...]:
    """Said in place of a number at a time at which the curve may not be read; () where it may."""
    if time <= read_to(people):
        return ()
    last, everyone = float(people.duration.max()), people.duration.size
    if time > last:
        return (beyond_words(labels.time(last)),)
    left = int(number_at_risk(people, np.array([time]))[0])
    return (f"only {left} of {everyone} still followed at {labels.time(time)}: not read off",)


def beyond_words(last: str) -> str:
    """Said instead of a number past the end of follow-up."""
    return f"nobody was followed so long: the last follow-up is at {last}"


def one_group(groups: tuple[Hashable, ...], group: Hashable | None) -> tuple[int, Hashable | None]:
    """The number and label of the group asked for.

    Raises ValueError where groups exist and none of them was named, or another was.
    """
    if not groups:
        if group is not None:
            raise ValueError(f"There are no groups here, so none is called {group!r}.")
        return 0, None
    if group not in groups:
        known = ", ".join(repr(g) for g in groups)
        asked = "Say which group" if group is None else f"There is no group {group!r}"
        raise ValueError(f"{asked}; the groups are {known}.")
    return groups.index(group), group


def unit_name(unit: str, cluster: Any) -> str:
    """The unit counted: as given, else patient, or row where rows are clustered on patients."""
    return unit or ("patient" if cluster is None else "row")


def finite(value: float) -> float | None:
    """None in place of NaN."""
    return None if np.isnan(value) else float(value)
