"""Limits of differences of clustered proportions, for any number of replicates at once.

The same arithmetic as `clustered_difference` where patients repeat, on totals by patient as in
`clusters`: a report exchanges its own outcomes a few hundred times and looks at every difference.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from analyses.statistics.arrays import Floats
from analyses.statistics.proportions.clusters import WORTH, shrunken
from analyses.statistics.proportions.intervals import wilson


class DifferenceLimits(NamedTuple):
    """First arm minus second, and its limits; arrays without the patient axis."""

    value: Floats
    low: Floats
    high: Floats


def difference_limits(
    events_1: Floats, rows_1: Floats, events_2: Floats, rows_2: Floats, level: float = 0.95,
) -> DifferenceLimits:
    """The hybrid of two arms' clustered intervals, with the correlation of shared patients.

    Each argument: totals by patient in the last axis, the same patients in both arms (0 rows
    where a patient has none in an arm). Zou and Donner 2008, Stat Med 27:1693. NaN where an arm
    has no interval.
    """
    first, second = shrunken(events_1, rows_1, level), shrunken(events_2, rows_2, level)
    one = events_1.sum(axis=-1) / rows_1.sum(axis=-1)
    two = events_2.sum(axis=-1) / rows_2.sum(axis=-1)
    together = arms_correlation(events_1, rows_1, events_2, rows_2)
    below = _recovered(one - first.low, second.high - two, together)
    above = _recovered(first.high - one, two - second.low, together)
    return DifferenceLimits(one - two, np.maximum(one - two - below, -1.0),
                            np.minimum(one - two + above, 1.0))


def newcombe_limits(
    events_1: ArrayLike, n_1: ArrayLike, events_2: ArrayLike, n_2: ArrayLike, level: float = 0.95,
) -> DifferenceLimits:
    """Newcombe's hybrid score limits of independent units (method 10 of Stat Med 1998 17:873).

    Counts of events and units of each arm, for any number of replicates.
    """
    (x_1, m_1), (x_2, m_2) = ((np.asarray(x, float), np.asarray(n, float))
                              for x, n in ((events_1, n_1), (events_2, n_2)))
    one, two = x_1 / m_1, x_2 / m_2
    (low_1, high_1), (low_2, high_2) = wilson(x_1, m_1, level), wilson(x_2, m_2, level)
    below, above = np.hypot(one - low_1, high_2 - two), np.hypot(high_1 - one, two - low_2)
    return DifferenceLimits(one - two, np.maximum(one - two - below, -1.0),
                            np.minimum(one - two + above, 1.0))


def arms_correlation(
    events_1: Floats, rows_1: Floats, events_2: Floats, rows_2: Floats,
) -> Floats:
    """Correlation of two arms' proportions, which the patients they share give them.

    Each arm's influence by patient, and their correlation times k/(8 + k), k the fewest events or
    rows without one in an arm: with few it cannot be told from the rows. 0 where the outcome does
    not vary between the patients of an arm.
    """
    parts = [events - (events.sum(axis=-1) / rows.sum(axis=-1))[..., None] * rows
             for events, rows in ((events_1, rows_1), (events_2, rows_2))]
    spread = np.sqrt((parts[0] ** 2).sum(axis=-1) * (parts[1] ** 2).sum(axis=-1))
    fewest = np.minimum(_fewer(events_1, rows_1), _fewer(events_2, rows_2))
    with np.errstate(divide="ignore", invalid="ignore"):
        own = np.where(spread > 0, (parts[0] * parts[1]).sum(axis=-1) / spread, 0.0)
    found: Floats = own * fewest / (WORTH + fewest)
    return found


def _fewer(events: Floats, rows: Floats) -> Floats:
    """Events, or rows without one where those are fewer."""
    found: Floats = np.minimum(events.sum(axis=-1), (rows - events).sum(axis=-1))
    return found


def _recovered(first: Floats, second: Floats, together: Floats) -> Floats:
    """The half width on one side, from the arms' own half widths that face it."""
    found: Floats = np.sqrt(np.maximum(first**2 + second**2 - 2 * together * first * second, 0.0))
    return found
