"""Quality monitoring: is the service getting better or worse?

Charts, risk adjustment, comparison between operators, learning, change over time and the
quality of the data, worked out from arrays and data frames. Names are loaded when first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_WHERE = {
    "Chart": "chart",
    "run_chart": "run_charts",
    "p_chart": "attribute_charts",
    "u_chart": "attribute_charts",
    "laney_p_chart": "attribute_charts",
    "laney_u_chart": "attribute_charts",
    "dispersion": "attribute_charts",
    "g_chart": "rare_event_charts",
    "t_chart": "rare_event_charts",
    "gaps_between_events": "rare_event_charts",
    "days_between_events": "rare_event_charts",
    "ewma_chart": "ewma",
    "event_ewma_chart": "ewma",
    "Change": "stages",
    "read_changes": "stages",
    "stage_of": "stages",
    "choose_chart": "choosing",
    "cusum_scores": "scores",
    "risk_adjusted_cusum": "cusum",
    "average_run_length": "run_length",
    "cusum_limit": "run_length",
    "signal_probability": "run_length",
    "doubled_risk": "run_length",
    "observed_minus_expected": "observed_expected",
    "observed_expected_ratio": "observed_expected",
    "expected_risk": "risk_model",
    "funnel_plot": "funnel",
    "learning_curve": "learning",
    "process_measures": "process",
    "interrupted_series": "interrupted",
    "completeness_by_month": "data_quality",
    "time_to_entry": "data_quality",
    "queries_open": "data_quality",
    "read_project": "project",
    "quality_analysis": "service",
}

# The follow-up list is the registry's, so that the check and the report give the same one.
_ELSEWHERE = {"follow_up_due": "registry.follow_up", "follow_up_of": "registry.follow_up"}

__all__ = sorted([*_WHERE, *_ELSEWHERE])


def __getattr__(name: str) -> Any:
    if name in _WHERE:
        return getattr(import_module(f"{__name__}.{_WHERE[name]}"), name)
    if name in _ELSEWHERE:
        return getattr(import_module(_ELSEWHERE[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return __all__
