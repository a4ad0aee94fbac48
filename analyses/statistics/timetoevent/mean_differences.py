"""The difference of two groups in the mean time without the event, up to a horizon."""

from __future__ import annotations

from collections.abc import Hashable

import numpy as np

from analyses.statistics.estimate import Estimate
from analyses.statistics.timetoevent.survival_curves import SurvivalCurves
from analyses.statistics.timetoevent.time_differences import aligned, difference_estimate
from analyses.statistics.timetoevent.time_limits import z_value


def difference_in_restricted_mean(
    curves: SurvivalCurves, tau: float, group: Hashable, reference: Hashable,
) -> Estimate:
    """Restricted mean of `group` minus that of `reference`, normal interval.

    Royston and Parmar 2013, BMC Med Res Methodol 13:152. No limits with no event in either.
    """
    ours, theirs = (curves.restricted_mean(tau, g) for g in (group, reference))
    low = high = float("nan")
    if ours.value is not None and theirs.value is not None:
        wide = z_value(curves.labels.level) * _se_of_difference(curves, tau, group, reference)
        if wide > 0:
            low, high = (max(-tau, ours.value - theirs.value - wide),
                         min(tau, ours.value - theirs.value + wide))
    return difference_estimate(
        curves.people, ours, theirs, (low, high),
        f"difference in restricted mean to {curves.labels.time(tau)}, normal interval",
        curves.labels.measure or "units of time",
    )


def _se_of_difference(
    curves: SurvivalCurves, tau: float, group: Hashable, reference: Hashable,
) -> float:
    ours, theirs = curves.curve(group), curves.curve(reference)
    if not curves.people.repeated:
        return float(np.hypot(ours.restricted_mean(tau)[1], theirs.restricted_mean(tau)[1]))
    first, second = aligned(ours.restricted_influence(tau), theirs.restricted_influence(tau))
    return float(np.sqrt(((first - second)**2).sum()))
