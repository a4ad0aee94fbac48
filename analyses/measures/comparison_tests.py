"""The tests beside trends and groups as estimates, so that what is printed of them is on record.

A test is never shown alone: the shares, or the change a step, stand beside it.
"""

from __future__ import annotations

from analyses.measures.comparisons import COMPARED, all_heterogeneity, trends
from analyses.measures.headlines import headlines
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate, replaced

ALL_GROUPS = "all groups"


def comparison_tests(units: Units) -> list[Estimate]:
    """`trend.ID.test` and `heterogeneity.ID` (kind "chi-squared"), their P values beside."""
    found: list[Estimate] = []
    for headline in headlines(units).values():
        for trend in trends(headline):
            e = trend.estimate
            found += _test(f"{e.id}.test", e.unit, dict(e.group or {}), trend.method,
                           trend.statistic, (trend.p, trend.permutation_p))
    for test in all_heterogeneity(units, COMPARED):
        found += _test(f"heterogeneity.{test.id}", test.unit, {test.column: ALL_GROUPS},
                       test.method, test.statistic, (test.p, None))
    return found


def _test(
    id: str, unit: str, group: dict[str, str], method: str, statistic: float | None,
    p: tuple[float | None, float | None],
) -> list[Estimate]:
    if statistic is None:
        return []
    found = Estimate(id=id, kind="chi-squared", value=statistic, unit=unit, group=group,
                     method=method)
    beside = tuple(
        replaced(found, id=f"{id}.{word}", kind="P value", value=value)
        for word, value in zip(("p", "permutation_p"), p, strict=True) if value is not None)
    return [replaced(found, beside=beside)]
