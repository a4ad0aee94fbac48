"""What the fictional service declared to watch: its monitoring plan and its change in practice."""

from __future__ import annotations

import pandas as pd

from registry.schema import TABLES, MonitoringPlans, PracticeChanges
from registry.schema.sessions import Sessions
from synthetic_cohort.cohort import Cohort

PLAN = "HARM-2020"
WATCHED_FOR = pd.DateOffset(years=4)


def monitoring_tables(cohort: Cohort) -> dict[str, pd.DataFrame]:
    """The typed tables of its plan: the baseline ends on the day before the change.

    No table for a service that changed nothing.
    """
    change = cohort.change_date
    if change is None:
        return {}
    last = change - pd.Timedelta(days=1)
    plan = {
        MonitoringPlans.plan_code: PLAN, MonitoringPlans.declared_on: change,
        MonitoringPlans.declared_by: "quality lead",
        MonitoringPlans.purpose: "Is embolization getting safer or less safe?",
        MonitoringPlans.measure: "complication.any", MonitoringPlans.measure_unit: "session",
        MonitoringPlans.baseline_from: cohort.tables["sessions"][Sessions.session_date].min(),
        MonitoringPlans.baseline_to: last, MonitoringPlans.planned_to: last + WATCHED_FOR,
        MonitoringPlans.chart: "risk-adjusted CUSUM", MonitoringPlans.odds_ratio: 2.0,
    }
    changed = {
        PracticeChanges.plan_code: PLAN, PracticeChanges.change_no: 1,
        PracticeChanges.changed_on: change,
        PracticeChanges.change: "Reflux limit agreed before each injection",
    }
    return {name: TABLES[name].typed(pd.DataFrame([row]))
            for name, row in (("monitoring_plans", plan), ("practice_changes", changed))}
