"""A proportion of independent units: one row a patient."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from analyses.statistics.arguments import check_level, counts_of
from analyses.statistics.estimate import CountedRow, Estimate, counted_rows, replaced
from analyses.statistics.presentation import few_units, presentation_flags
from analyses.statistics.proportions.intervals import METHODS, Limits
from analyses.words.flags import NOTHING_COUNTED


def proportion(
    events: int, trials: int, *, method: str = "clopper-pearson", level: float = 0.95,
    id: str = "proportion", unit: str = "", group: Mapping[str, str] | None = None,
    keys: Sequence[Any] | None = None, event_keys: Sequence[Any] = (),
) -> Estimate:
    """A proportion of units that are independent of each other (one row a patient).

    events, trials: counts. method: "clopper-pearson" (Clopper and Pearson 1934), "wilson"
    (Newcombe 1998, Stat Med 17:857), "jeffreys" (Brown, Cai and DasGupta 2001) or
    "agresti-coull" (Agresti and Coull 1998). keys: one a trial; event_keys: those that were
    events. Value and bounds from 0 to 1. Where rows of one patient repeat, use
    `clustered_proportion`.

    Raises ValueError for missing, negative or broken counts, more events than trials, an unknown
    method, a level outside 0 to 1, or keys that do not fit the counts.
    """
    found, n = counts_of(events, trials)
    name, limits = _method(method)
    level = check_level(level)
    counted = Estimate(
        id=id, kind="proportion", value=None, unit=unit, group=group, level=level, method=name,
        events=found, n=n, clusters=n if unit == "patient" else None,
        counted=_keyed(keys, event_keys, found, n),
    )
    if n == 0:
        return replaced(counted, flags=(NOTHING_COUNTED,))
    low, high = (float(limit) for limit in limits(found, n, level))
    low_95, high_95 = (float(limit) for limit in limits(found, n, 0.95))
    flags = (*few_units(n), *presentation_flags(found / n, low_95, high_95, n))
    return replaced(
        counted, value=found / n, low=low, high=high, effective_n=n, flags=flags,
    )


def _method(method: str) -> tuple[str, Callable[..., Limits]]:
    if method not in METHODS:
        raise ValueError(f"The method is {method!r}; one of {', '.join(METHODS)} is wanted.")
    return METHODS[method]


def _keyed(
    keys: Sequence[Any] | None, event_keys: Sequence[Any], found: int, n: int
) -> tuple[CountedRow, ...]:
    if keys is None:
        return ()
    happened = set(event_keys)
    pairs = counted_rows(keys, [key in happened for key in keys])
    if len(pairs) != n or sum(row.event for row in pairs) != found:
        raise ValueError(
            f"{len(pairs)} keys with {len(happened)} event keys do not fit {found} of {n}."
        )
    return pairs
