"""What the missing outcomes could do to a proportion: best and worst case."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from analyses.statistics.arguments import codes, events_or_missing, same_length
from analyses.statistics.arrays import Labels
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.proportions.clustered import clustered_proportion
from analyses.words.flags import BOUNDS_FOR_MISSING, NOTHING_COUNTED, NOTHING_MISSING

METHOD = "best and worst case for the missing outcomes, each with its interval"


def proportion_bounds(
    event: ArrayLike, cluster: Sequence[Any] | Labels, *, level: float = 0.95,
    id: str = "proportion", unit: str = "", group: Mapping[str, str] | None = None,
    keys: Sequence[Any] | None = None,
) -> Estimate:
    """The known outcomes, with bounds that hold whatever the missing outcomes were.

    event: 0, 1 or missing (None, NaN), one a row; cluster: the patient of each row. Value, events
    and n are those of the known rows. Low is the lower limit with every missing outcome counted
    as no event, high the upper limit with every one counted as an event, both by
    `clustered_proportion`; the two cases stand in `beside` with ids ending `.missing_none` and
    `.missing_all`. Source: Horowitz and Manski 2000, J Am Stat Assoc 95:77 (the worst-case
    bounds), widened by each case's own interval.

    Raises ValueError for outcomes other than 0, 1 or missing, missing patients, or columns of
    different length.
    """
    outcome, (patient, _) = events_or_missing(event), codes(cluster)
    same_length(event=outcome, cluster=patient)
    if keys is not None:
        same_length(event=outcome, keys=keys)
    known = ~np.isnan(outcome)
    kept_keys = None if keys is None else [k for k, here in zip(keys, known, strict=True) if here]
    seen = clustered_proportion(
        outcome[known], patient[known], level=level, id=id, unit=unit, group=group, keys=kept_keys,
    )
    if known.all():
        flags = seen.flags if NOTHING_COUNTED in seen.flags else (*seen.flags, NOTHING_MISSING)
        return replaced(seen, flags=flags)
    cases = tuple(
        replaced(clustered_proportion(
            np.where(known, outcome, filled), patient, level=level, id=f"{id}.{case}", unit=unit,
            group=group, keys=keys,
        ), beside=())
        for case, filled in (("missing_none", 0.0), ("missing_all", 1.0))
    )
    return replaced(
        seen, low=cases[0].low, high=cases[1].high, method=METHOD, beside=cases,
        effective_n=None, flags=(BOUNDS_FOR_MISSING,),
    )
