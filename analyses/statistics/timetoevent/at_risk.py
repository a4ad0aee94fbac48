"""Who is at risk when: the counts that every estimator and test here is built from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyses.statistics.arrays import Floats, Whole
from analyses.statistics.timetoevent.time_inputs import Followed


@dataclass(frozen=True)
class Counts:
    """One entry a distinct time at which somebody left; `events` has a row a code from 1 up.

    At risk at t are those with entry < t <= duration: somebody censored at t is still at risk
    for an event at t (Kalbfleisch and Prentice 2002, section 1.4).
    """

    time: Floats
    at_risk: Floats
    events: Floats
    censored: Floats

    def of(self, code: int) -> Floats:
        """Events of one code; nobody where the code does not occur."""
        rows = self.events.shape[0]
        return self.events[code - 1] if code <= rows else np.zeros_like(self.at_risk)

    @property
    def all_events(self) -> Floats:
        """Events of any code."""
        found: Floats = self.events.sum(axis=0)
        return found


def counts(
    people: Followed,
    times: Floats | None = None,
    highest_code: int | None = None,
) -> Counts:
    """Count at the distinct durations, or at `times` (sorted, holding every duration)."""
    at = np.unique(people.duration) if times is None else times
    codes = max(1, int(people.event.max(initial=1)) if highest_code is None else highest_code)
    place = np.searchsorted(at, people.duration)
    left = np.zeros((codes + 1, at.size))
    np.add.at(left, (people.event, place), 1.0)
    return Counts(at, number_at_risk(people, at), left[1:], left[0])


def number_at_risk(people: Followed, times: Floats) -> Floats:
    """How many rows are under observation just before each time."""
    gone = np.searchsorted(np.sort(people.duration), times, side="left")
    if people.entry is None:
        return (people.duration.size - gone).astype(np.float64)
    come = np.searchsorted(np.sort(people.entry), times, side="left")
    return (come - gone).astype(np.float64)


FEW_LEFT = 0.1
"""Under this share of those at the start still watched, nothing is read off (Pocock and others
2002, Lancet 359:1686, end a curve where 10–20 % are left; from memory). The analysis plan's
"fewer than 10 (or a tenth)": from 100 on a tenth is the stricter; under 100 ten would leave a
small series without any number, and a tenth holds too."""


def read_to(people: Followed) -> float:
    """The last time at which a curve of these people may be read.

    As long as FEW_LEFT of them (with late entry: of the most ever under observation) are still at
    risk; or until the first is lost, since up to there the curve is the plain share of all.
    Infinite where nobody was lost: what happened to each is known.
    """
    lost = people.duration[people.event == 0]
    at = np.unique(people.duration)
    left = number_at_risk(people, at)
    watched = at[left >= FEW_LEFT * left.max()].max()
    return float(max(watched, lost.min() if lost.size else np.inf))


def throughout(people: Followed, times: Floats) -> Floats:
    """How many independent units were under observation from the first entry to each time.

    Units are patients where they are named, else rows. A late entrant does not count: nobody
    watched its early time.
    """
    duration, cluster = people.duration, people.cluster
    if people.entry is not None:
        early = people.entry <= people.entry.min()
        duration = duration[early]
        cluster = None if cluster is None else cluster[early]
    if cluster is not None:
        last = np.full(int(cluster.max(initial=0)) + 1, -np.inf)
        np.maximum.at(last, cluster, duration)
        duration = last[np.isfinite(last)]
    return (duration.size - np.searchsorted(np.sort(duration), times, "left")).astype(float)


def at_risk_matrix(people: Followed, times: Floats) -> Floats:
    """1 where a row (down) is at risk at a time (across), else 0."""
    inside = people.duration[:, None] >= times[None, :]
    if people.entry is not None:
        inside &= people.entry[:, None] < times[None, :]
    return inside.astype(np.float64)


def event_matrix(
    people: Followed, times: Floats, code: int | None,
) -> Floats:
    """1 where a row (down) has the event at a time (across); any event where code is None."""
    hit = people.event > 0 if code is None else people.event == code
    found: Floats = (hit[:, None] & (people.duration[:, None] == times[None, :])).astype(np.float64)
    return found


def by_cluster(
    influence: Floats, cluster: Whole | None,
) -> Floats:
    """Sum the rows' influence by patient (unchanged where no patients are named)."""
    if cluster is None:
        return influence
    total = np.zeros((int(cluster.max(initial=0)) + 1, *influence.shape[1:]))
    np.add.at(total, cluster, influence)
    return total
