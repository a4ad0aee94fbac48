"""Time to an event: survival, competing events, their comparison, and interval censoring.

Arrays go in, typed objects come out; no clinical table is known here, no file is written and
nothing is drawn. A duration is the time from a start (first treatment, confirmed obliteration)
to an event or to the end of follow-up, in any one unit. Event codes: 0 censored, 1 the event
of interest, 2 and above competing events.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analyses.timetoevent.gray import gray_test
    from analyses.timetoevent.incidence_curves import cumulative_incidence
    from analyses.timetoevent.interval_censoring import interval_censored
    from analyses.timetoevent.log_rank import log_rank_test
    from analyses.timetoevent.survival_curves import follow_up, survival
    from analyses.timetoevent.weighted_incidence import weighted_cumulative_incidence

__all__ = [
    "cumulative_incidence", "follow_up", "gray_test", "interval_censored", "log_rank_test",
    "survival", "weighted_cumulative_incidence",
]

_WHERE = {
    "cumulative_incidence": "incidence_curves",
    "follow_up": "survival_curves",
    "gray_test": "gray",
    "interval_censored": "interval_censoring",
    "log_rank_test": "log_rank",
    "survival": "survival_curves",
    "weighted_cumulative_incidence": "weighted_incidence",
}


def __getattr__(name: str) -> Any:
    """Load a function only when somebody asks for it (importing pandas takes a while)."""
    if name in _WHERE:
        return getattr(import_module(f"{__name__}.{_WHERE[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
