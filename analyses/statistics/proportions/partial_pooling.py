"""Several small groups compared by partial pooling: each group's share drawn towards the others'.

A group of few rows says little by itself; what the other groups say is used as far as the groups
are alike, which the data tell (Efron and Morris 1975, JASA 70:311, for the idea). The patient
enters by an effective number of rows, n/(1 + (m - 1)ρ), with the within-patient correlation ρ of
all rows, drawn towards 0.2 where events are few (`clusters.shrunken_correlation`), and m the rows
of the patient that a row of the group comes from. That patients may be in several groups is not
used, which makes differences a little too wide.

Own approximation; the posterior is summed on a grid (`pooled_posterior`). Tried in
tests/reference/partial_pooling.md. It rests on groups that could be told apart by nothing
beforehand: where one is known to be of another kind, it should not be drawn towards the rest.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from analyses.statistics.arguments import check_level, codes, event_values, same_length
from analyses.statistics.arrays import Floats, Labels, Whole
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.proportions.clusters import shrunken_correlation
from analyses.statistics.proportions.pooled_posterior import PooledPosterior, pooled_posterior
from analyses.statistics.proportions.proportions_compared import FLOOR, in_order

METHOD = ("partial pooling of groups (t on the log odds, half-normal spread), effective n by "
          "shrunken within-patient correlation")
FEWEST_GROUPS = 5
FEWEST_ROWS = 5
"""Fewest groups, and fewest rows of each. With four, 3 of 12 settings tried with 200 sets were no
nearer the truth than the raw shares: fewer groups hardly tell how alike they are."""


@dataclass(frozen=True)
class PartialPooling:
    """Groups with strength borrowed from each other; estimates without counts of their own.

    groups: the share of each group (0 to 1), posterior mean and equal-tailed interval;
    differences: each group less the reference (-1 to 1); exceeding: the probability that each
    difference is larger than `important`, either way, none where that is None; spread: standard
    deviation of the groups in log odds, median and interval; left_out: groups of too few rows;
    why: why there is none of it ("" where there is).
    """

    groups: tuple[Estimate, ...] = ()
    differences: tuple[Estimate, ...] = ()
    exceeding: tuple[Estimate, ...] = ()
    spread: Estimate | None = None
    important: float | None = None
    left_out: tuple[str, ...] = ()
    why: str = ""

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """Every number."""
        return (*self.groups, *self.differences, *self.exceeding,
                *(() if self.spread is None else (self.spread,)))


def partial_pooling(
    event: ArrayLike, group: Sequence[Any] | Labels | pd.Series,
    cluster: Sequence[Any] | Labels, *, important: float | None = None, level: float = 0.95,
    reference: Any = None, by: str = "group", id: str = "pooled", unit: str = "",
) -> PartialPooling:
    """The shares of several groups, each drawn towards the others as far as they are alike.

    event: 0/1 or booleans, one a row; group: labels, one a row, in the order of a categorical,
    else sorted; cluster: the patient of each row. important: a size of difference (0 to 1) whose
    probability of being passed is wanted; reference: the group that the others are compared with,
    the one with most rows unless given. by: the grouping's name.

    Under 5 groups of 5 rows, or under 8 events or 8 rows without one in them, nothing is given
    and `why` says so. Raises ValueError for missing or wrong outcomes, a row without group or
    patient, an unknown reference, an important size outside 0 to 1, or unequal lengths.
    """
    outcome, (side, labels) = event_values(event), in_order(group)
    patient, _ = codes(cluster)
    same_length(event=outcome, group=side, cluster=patient)
    check_level(level)
    if important is not None and not 0 < important < 1:
        raise ValueError(f"The important difference is {important}; a difference of shares "
                         "between 0 and 1 is wanted, such as 0.05 for 5 percentage points.")
    if reference is not None and reference not in labels:
        raise ValueError(f"The reference {reference!r} is not a group; there are "
                         f"{', '.join(map(str, labels))}.")
    large, kept = _large(side, len(labels))
    out = tuple(str(labels[g]) for g in range(len(labels)) if g not in large)
    why = _why_none(outcome[kept], len(large))
    if why:
        return PartialPooling(important=important, left_out=out, why=why)
    events, rows = _by_patient(outcome[kept], np.searchsorted(large, side[kept]), patient[kept],
                               len(large))
    n = rows.sum(axis=1)
    first = int(np.argmax(n))
    if reference is not None and labels.index(reference) in large:
        first = int(np.searchsorted(large, labels.index(reference)))
    posterior = pooled_posterior(events.sum(axis=1), n, effective_rows(events, rows))
    named = [str(labels[g]) for g in large]
    whole = Estimate(id=id, kind="", value=None, level=level, method=METHOD, unit=unit)
    return _told(posterior, events, rows, whole, by, named, first, important, out)


def effective_rows(events: Floats, rows: Floats) -> Floats:
    """The independent rows that each group's rows are worth, from (groups, patients) totals."""
    n = rows.sum(axis=1)
    in_all = rows.sum(axis=0)
    here = in_all > 0
    repeated = bool((in_all > 1).any())
    correlation = float(shrunken_correlation(
        events.sum(axis=0)[here], in_all[here])) if repeated else 0.0
    typical = (rows**2).sum(axis=1) / n
    found: Floats = n / (1 + (typical - 1) * correlation)
    return found


def why_not_pooled(event: ArrayLike, group: Sequence[Any] | Labels | pd.Series) -> str:
    """Why several groups are not pooled; "" where they are. Arguments as of `partial_pooling`."""
    outcome, (side, labels) = event_values(event), in_order(group)
    same_length(event=outcome, group=side)
    large, kept = _large(side, len(labels))
    return _why_none(outcome[kept], len(large))


def _large(side: Whole, groups: int) -> tuple[Whole, np.ndarray]:
    """The groups of rows enough, and which rows are in one."""
    large = np.flatnonzero(np.bincount(side, minlength=groups) >= FEWEST_ROWS)
    return large, np.isin(side, large)


def _why_none(outcome: Floats, groups: int) -> str:
    if groups < FEWEST_GROUPS:
        return (f"{groups} group{'' if groups == 1 else 's'} of {FEWEST_ROWS} or more; at least "
                f"{FEWEST_GROUPS} are wanted to tell how alike they are")
    events = int(outcome.sum())
    if min(events, len(outcome) - events) < FLOOR:
        return (f"{events} with the event and {len(outcome) - events} without; at least {FLOOR} of "
                "each are wanted, so the counts stand alone")
    return ""


def _by_patient(
    outcome: Floats, side: Whole, patient: Whole, groups: int,
) -> tuple[Floats, Floats]:
    """Events and rows of each group and patient: (groups, patients)."""
    rows = np.zeros((groups, int(patient.max()) + 1))
    events = np.zeros_like(rows)
    np.add.at(rows, (side, patient), 1)
    np.add.at(events, (side, patient), outcome)
    return events, rows


def _told(
    posterior: PooledPosterior, events: Floats, rows: Floats, whole: Estimate, by: str,
    named: Sequence[str], first: int, important: float | None, out: tuple[str, ...],
) -> PartialPooling:
    tails = (1 - whole.level) / 2, (1 + whole.level) / 2
    low, high = (posterior.quantiles(at) for at in tails)
    groups = tuple(replaced(
        whole, kind="probability", value=value, low=low[g], high=high[g], group={by: named[g]},
        events=int(events[g].sum()), n=int(rows[g].sum()), clusters=int((rows[g] > 0).sum()))
        for g, value in enumerate(posterior.means))
    differences, exceeding = [], []
    for g in (g for g in range(len(named)) if g != first):
        found = posterior.difference(g, first)
        pair: Mapping[str, str] = {by: f"{named[g]} against {named[first]}"}
        differences.append(replaced(
            whole, id=f"{whole.id}.difference", kind="difference", value=found.mean,
            low=found.quantile(tails[0]), high=found.quantile(tails[1]), group=pair,
            arms=(groups[g], groups[first])))
        if important is not None:
            exceeding.append(replaced(
                whole, id=f"{whole.id}.exceeding", kind="probability",
                value=found.beyond(important), group={**pair, "more than": f"{important:g}"}))
    spread = replaced(
        whole, id=f"{whole.id}.spread", kind="standard deviation of log odds",
        value=posterior.spread_quantile(0.5), low=posterior.spread_quantile(tails[0]),
        high=posterior.spread_quantile(tails[1]), group={by: "all groups"},
        n=int(rows.sum()), events=int(events.sum()))
    return PartialPooling(groups, tuple(differences), tuple(exceeding), spread, important, out)
