"""Looking again at what a service watches: the rows that the log of signals gains."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from analyses.monitoring.monitoring_plan import MonitoringPlan, plans_going_on
from analyses.monitoring.watched import (
    Answer,
    Crossing,
    answered,
    new_crossings,
    watched_analysis,
)
from analyses.population.unit_frames import Units

NO_PLAN = ("No monitoring plan is declared in this registry, so nothing is watched. Write one and "
           "declare it: nidusbook monitor --registry … --plan FILE.toml. It is laid out so:")


@dataclass(frozen=True)
class Look:
    """One plan looked at: the answer, and the crossings that the log does not hold yet."""

    plan: MonitoringPlan
    answer: Answer
    added: tuple[Crossing, ...]

    @property
    def lines(self) -> tuple[str, ...]:
        """What is said of it on the screen."""
        many = len(self.added)
        log = (f"{many} signal{'s' * (many != 1)} added to the log, which now holds "
               f"{len(self.plan.signals) + many}.")
        return (f"Plan {self.plan.code} ({self.plan.measure}, declared "
                f"{self.plan.declared_on}):", f"  {self.answer.sentence}",
                f"  {self.answer.look_first}", f"  {log}", *self._undone())

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
        looks.append(Look(plan, answered(found, plan, problem), added))
    return looks


def log_rows(looks: Sequence[Look], found_on: date, freeze_hash: str) -> list[dict[str, Any]]:
    """The rows that the table of signals gains, numbered on within each plan."""
    return [
        {
            "plan_code": look.plan.code,
            "signal_no": max((s.number for s in look.plan.signals), default=0) + place,
            "found_on": found_on.isoformat(), "freeze_hash": freeze_hash,
            "direction": crossing.direction, "crossed_on": crossing.crossed_on.isoformat(),
            "chart_value": round(crossing.value, 6), "chart_limit": round(crossing.limit, 6),
        }
        for look in looks for place, crossing in enumerate(look.added, start=1)
    ]
