"""Looking again at what a service watches: the rows that the log of signals gains."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import isfinite
from typing import Any

import numpy as np

from analyses.monitoring.monitoring_plan import MonitoringPlan, plans_going_on
from analyses.monitoring.service import QualityAnalysis
from analyses.monitoring.watched import (
    Answer,
    Crossing,
    answered,
    new_crossings,
    watched_analysis,
)
from analyses.population.unit_frames import Units
from analyses.statistics.control_charts.cusum_design import CusumDesign
from analyses.statistics.control_charts.planned_period import log_shifts
from analyses.statistics.control_charts.run_length import average_run_length
from registry.schema import TABLES, MonitoringPlans

DIGITS = 6
"""Digits behind the point with which values and limits are kept."""

NO_PLAN = ("No monitoring plan is declared in this registry, so nothing is watched. Write one and "
           "declare it: nidusbook monitor --registry … --plan FILE.toml. It is laid out so:")


@dataclass(frozen=True)
class Look:
    """One plan looked at: the answer, and the crossings that the log does not hold yet.

    found: the analysis, None where nothing was known.
    """

    plan: MonitoringPlan
    answer: Answer
    added: tuple[Crossing, ...]
    found: QualityAnalysis | None = None

    @property
    def lines(self) -> tuple[str, ...]:
        """What is said of it on the screen."""
        many = len(self.added)
        log = (f"{many} signal{'s' * (many != 1)} added to the log, which now holds "
               f"{len(self.plan.signals) + many}.")
        return (f"Plan {self.plan.code} ({self.plan.measure}, declared "
                f"{self.plan.declared_on}):", f"  {self.answer.sentence}",
                f"  {self.answer.look_first}", f"  {log}", *self._moved(), *self._undone())

    @property
    def design(self) -> CusumDesign | None:
        """The limit towards worse as it is worked out now; None where there is none."""
        designs = () if self.found is None else self.found.designs
        return next((d for d in designs if d.odds_ratio > 1), None)

    def _moved(self) -> tuple[str, ...]:
        """Where the limit is no longer that of the declaration."""
        then = self.plan.limit
        now = None if self.design is None else round(self.design.limit, DIGITS)
        if then is None or now == then:
            return ()
        found = "there is none" if now is None else f"it is {now:.2f}"
        return (f"  The limit was {then:.2f} at the declaration; now {found}: rows of the baseline "
                "were added or changed since. nidusbook check lists the changes.",)

    def _undone(self) -> tuple[str, ...]:
        """The signals about which nothing is written yet."""
        open_ones = [s for s in self.plan.signals if not s.done]
        if not open_ones:
            return ()
        named = ", ".join(f"{s.number} ({s.crossed_on})" for s in reversed(open_ones))
        return (f"  Nothing is written yet about what was done on signal {named}: fill in “What "
                "was done” on the sheet Signals of the entry workbook.",)


def look_again(units: Units) -> list[Look]:
    """Every plan that goes on, the newest first, judged from its own baseline."""
    looks = []
    for plan in plans_going_on(units.tables):
        found, problem = watched_analysis(units, plan.measure, plan=plan, changes=plan.changes)
        added = () if found is None else tuple(new_crossings(found, plan))
        looks.append(Look(plan, answered(found, plan, problem), added, found))
    return looks


def with_rows(units: Units, rows: Mapping[str, Sequence[Mapping[str, Any]]]) -> Units:
    """The units with these rows of the service's own tables, in place of those of the same plan."""
    import pandas as pd

    tables = dict(units.tables)
    for name, new in rows.items():
        made = TABLES[name].typed(pd.DataFrame(new))
        old = tables.get(name, TABLES[name].empty())
        kept = old[~old[MonitoringPlans.plan_code].isin(made[MonitoringPlans.plan_code])]
        tables[name] = made if kept.empty else pd.concat([kept, made], ignore_index=True)
    return replace(units, tables=tables)


def limit_declared(look: Look) -> dict[str, float]:
    """What a plan's row says of the limit that it is declared with; nothing where there is none."""
    design, found = look.design, look.found
    if design is None or found is None:
        return {}
    risks = found.sessions.loc[found.sessions["baseline"], "expected"].to_numpy(float)
    # A lucky baseline would promise too much: as far as the limit itself allows for.
    shift = float(np.exp(log_shifts(risks, float(design.guarded.value or 1.0))))
    length = average_run_length(risks, odds_ratio=design.odds_ratio, limit=design.limit,
                                shift=shift)
    stated = {MonitoringPlans.chart_limit: round(design.limit, DIGITS)}
    return stated | ({MonitoringPlans.run_length: round(length)} if isfinite(length) else {})


def log_rows(looks: Sequence[Look], found_on: date, freeze_hash: str) -> list[dict[str, Any]]:
    """The rows that the table of signals gains, numbered on within each plan."""
    return [
        {
            "plan_code": look.plan.code,
            "signal_no": max((s.number for s in look.plan.signals), default=0) + place,
            "found_on": found_on.isoformat(), "freeze_hash": freeze_hash,
            "direction": crossing.direction, "crossed_on": crossing.crossed_on.isoformat(),
            "chart_value": round(crossing.value, DIGITS),
            "chart_limit": round(crossing.limit, DIGITS),
        }
        for look in looks for place, crossing in enumerate(look.added, start=1)
    ]
