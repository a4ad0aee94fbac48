"""The public face: what a notebook of one's own imports, each name loaded when first used.

Nothing is worked out here. `__all__` lists every public name; its docstring stands where it is
defined.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analyses.statistics.control_charts.attribute_charts import (
        laney_p_chart,
        laney_u_chart,
        p_chart,
        u_chart,
    )
    from analyses.statistics.control_charts.cusum import risk_adjusted_cusum
    from analyses.statistics.control_charts.cusum_scores import cusum_scores
    from analyses.statistics.control_charts.ewma import ewma_chart
    from analyses.statistics.control_charts.rare_event_charts import (
        days_between_events,
        g_chart,
        gaps_between_events,
        t_chart,
    )
    from analyses.statistics.control_charts.run_length import average_run_length, cusum_limit
    from analyses.statistics.estimate import Estimate
    from analyses.statistics.pooling.pooled_proportion import pool_proportions
    from analyses.statistics.proportions.clustered import clustered_proportion
    from analyses.statistics.proportions.difference import proportion_difference
    from analyses.statistics.proportions.independent import proportion
    from analyses.statistics.proportions.proportions_compared import compare_groups
    from analyses.statistics.proportions.trend import trend_across_groups
    from analyses.statistics.rates.rates import incidence_rate
    from analyses.statistics.regression.fitting import fit
    from analyses.statistics.timetoevent.gray import gray_test
    from analyses.statistics.timetoevent.incidence_curves import cumulative_incidence
    from analyses.statistics.timetoevent.survival_curves import survival
    from analyses.study.one_study import Study, open_study

_HOMES = {
    "Estimate": "statistics.estimate",
    "Study": "study.one_study",
    "average_run_length": "statistics.control_charts.run_length",
    "clustered_proportion": "statistics.proportions.clustered",
    "compare_groups": "statistics.proportions.proportions_compared",
    "cumulative_incidence": "statistics.timetoevent.incidence_curves",
    "cusum_limit": "statistics.control_charts.run_length",
    "cusum_scores": "statistics.control_charts.cusum_scores",
    "days_between_events": "statistics.control_charts.rare_event_charts",
    "ewma_chart": "statistics.control_charts.ewma",
    "fit": "statistics.regression.fitting",
    "g_chart": "statistics.control_charts.rare_event_charts",
    "gaps_between_events": "statistics.control_charts.rare_event_charts",
    "gray_test": "statistics.timetoevent.gray",
    "incidence_rate": "statistics.rates.rates",
    "laney_p_chart": "statistics.control_charts.attribute_charts",
    "laney_u_chart": "statistics.control_charts.attribute_charts",
    "open_study": "study.one_study",
    "p_chart": "statistics.control_charts.attribute_charts",
    "pool_proportions": "statistics.pooling.pooled_proportion",
    "proportion": "statistics.proportions.independent",
    "proportion_difference": "statistics.proportions.difference",
    "risk_adjusted_cusum": "statistics.control_charts.cusum",
    "survival": "statistics.timetoevent.survival_curves",
    "t_chart": "statistics.control_charts.rare_event_charts",
    "trend_across_groups": "statistics.proportions.trend",
    "u_chart": "statistics.control_charts.attribute_charts",
}

__all__ = [
    "Estimate", "Study", "average_run_length", "clustered_proportion", "compare_groups",
    "cumulative_incidence", "cusum_limit", "cusum_scores", "days_between_events", "ewma_chart",
    "fit", "g_chart", "gaps_between_events", "gray_test", "incidence_rate", "laney_p_chart",
    "laney_u_chart", "open_study", "p_chart", "pool_proportions", "proportion",
    "proportion_difference", "risk_adjusted_cusum", "survival", "t_chart", "trend_across_groups",
    "u_chart",
]


def __getattr__(name: str) -> Any:
    """Load a name's room when somebody first asks for it (importing pandas takes a while)."""
    if name not in _HOMES:
        raise AttributeError(f"module 'analyses' has no attribute {name!r}")
    return getattr(import_module(f"analyses.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return __all__
