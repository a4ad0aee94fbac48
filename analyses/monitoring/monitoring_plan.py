"""A declared monitoring plan and its log of signals, as a freeze carries them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from analyses.statistics.control_charts.stages import Change
from registry.schema import MonitoringPlans, PracticeChanges, Signals

if TYPE_CHECKING:
    import pandas as pd

ODDS_RATIO = 2.0
CUSUM_CHART = "risk-adjusted CUSUM"


@dataclass(frozen=True)
class LoggedSignal:
    """One signal of the log: when it was crossed, when found, and what was done about it."""

    number: int
    direction: str
    crossed_on: date
    found_on: date
    done: str = ""


@dataclass(frozen=True)
class MonitoringPlan:
    """What a service watches, from which baseline, as it was declared; and the signals so far.

    planned_to: last day of the planned period, None where none was declared. signals: oldest
    first. limit: that towards worse as worked out at the declaration, None where there was none.
    """

    code: str
    declared_on: date
    measure: str
    baseline_from: date
    baseline_to: date
    planned_to: date | None
    odds_ratio: float
    changes: tuple[Change, ...] = ()
    signals: tuple[LoggedSignal, ...] = ()
    purpose: str = ""
    limit: float | None = None

    @property
    def looked_for(self) -> tuple[float, float]:
        """The odds ratios of both directions: worse, and better by the inverse."""
        return self.odds_ratio, 1 / self.odds_ratio


def plans_going_on(tables: Mapping[str, pd.DataFrame]) -> list[MonitoringPlan]:
    """The plans of a freeze whose watching was not ended, the newest first."""
    plans = tables.get("monitoring_plans")
    if plans is None or plans.empty:
        return []
    going_on = plans[plans[MonitoringPlans.ended_on].isna()]
    newest = going_on.sort_values(
        [MonitoringPlans.declared_on, MonitoringPlans.plan_code], ascending=[False, True])
    return [_plan(row, tables) for row in newest.to_dict("records")]


def _plan(row: Mapping[Any, Any], tables: Mapping[str, pd.DataFrame]) -> MonitoringPlan:
    code = row[MonitoringPlans.plan_code]
    odds_ratio = _known(row[MonitoringPlans.odds_ratio])
    planned_to = _known(row[MonitoringPlans.planned_to])
    return MonitoringPlan(
        code, _day(row[MonitoringPlans.declared_on]), row[MonitoringPlans.measure],
        _day(row[MonitoringPlans.baseline_from]), _day(row[MonitoringPlans.baseline_to]),
        None if planned_to is None else _day(planned_to),
        ODDS_RATIO if odds_ratio is None else float(odds_ratio),
        tuple(sorted((_change(r) for r in _of(tables, "practice_changes", code)),
                     key=lambda change: change.day)),
        tuple(sorted((_signal(r) for r in _of(tables, "signals", code)),
                     key=lambda signal: (signal.crossed_on, signal.number))),
        _known(row.get(MonitoringPlans.purpose)) or "",
        _known(row.get(MonitoringPlans.chart_limit)),
    )


def _of(
    tables: Mapping[str, pd.DataFrame], name: str, code: str,
) -> list[dict[Any, Any]]:
    frame = tables.get(name)
    if frame is None or frame.empty:
        return []
    found: list[dict[Any, Any]] = frame[frame[MonitoringPlans.plan_code] == code].to_dict("records")
    return found


def _change(row: Mapping[Any, Any]) -> Change:
    # A freeze for research leaves out words of a person's own.
    words = _known(row.get(PracticeChanges.change)) or f"change {row[PracticeChanges.change_no]}"
    return Change(_day(row[PracticeChanges.changed_on]), words, new_stage=True)


def _signal(row: Mapping[Any, Any]) -> LoggedSignal:
    return LoggedSignal(
        int(row[Signals.signal_no]), row[Signals.direction], _day(row[Signals.crossed_on]),
        _day(row[Signals.found_on]), _known(row.get(Signals.done)) or "")


def _known(value: Any) -> Any:
    import pandas as pd

    return None if value is None or pd.isna(value) else value


def _day(value: Any) -> date:
    import pandas as pd

    return pd.Timestamp(value).date()
