"""The file that declares a monitoring plan: TOML, checked whole, all problems at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from analyses.measures.declared import all_measures
from analyses.measures.measure import Share
from analyses.monitoring.monitoring_plan import CUSUM_CHART, ODDS_RATIO
from analyses.monitoring.words_file import FileProblem, toml_content
from analyses.statistics.control_charts.stages import Change
from registry.schema import TABLES, MonitoringPlans

EXAMPLE = '''\
code = "HARM-2026"                  # the plan's own code
declared_by = "quality lead"        # a role, never a name
purpose = "Is embolization getting safer or less safe?"
measure = "complication.any"        # a complication.* or combined.* counted of sessions
baseline_from = 2021-01-01          # the first and the last day of the baseline
baseline_to = 2023-12-31
planned_to = 2026-12-31             # the false-signal chance is given up to this day
odds_ratio = 2.0                    # the change to be found: this, or its inverse

[[changes]]
date = 2024-03-01
what = "Reflux limit agreed before each injection"
'''
WATCHED = ("complication.", "combined.")
TEXTS = ("code", "declared_by", "measure")
DAYS = ("baseline_from", "baseline_to", "planned_to")
KNOWN = {*TEXTS, *DAYS, "purpose", "odds_ratio", "changes"}
BETWEEN = (1.0, 20.0)


class PlanFileProblem(FileProblem):
    """The file cannot be used; the message names every place and its remedy."""


@dataclass(frozen=True)
class PlanFile:
    """A plan as a file declares it, without the day of the declaration."""

    code: str
    declared_by: str
    purpose: str
    measure: str
    baseline_from: date
    baseline_to: date
    planned_to: date
    odds_ratio: float
    changes: tuple[Change, ...]

    def rows(self, declared_on: date) -> dict[str, list[dict[str, Any]]]:
        """The rows of the registry's tables, by table, days as they are typed."""
        plan = {
            "plan_code": self.code, "declared_on": declared_on.isoformat(),
            "declared_by": self.declared_by, "purpose": self.purpose, "measure": self.measure,
            "measure_unit": "session", "baseline_from": self.baseline_from.isoformat(),
            "baseline_to": self.baseline_to.isoformat(),
            "planned_to": self.planned_to.isoformat(), "chart": CUSUM_CHART,
            "odds_ratio": self.odds_ratio,
        }
        changes = [{"plan_code": self.code, "change_no": number,
                    "changed_on": change.day.isoformat(), "change": change.what}
                   for number, change in enumerate(self.changes, start=1)]
        return {"monitoring_plans": [plan], **({"practice_changes": changes} if changes else {})}


def read_plan_file(path: str | Path, today: date) -> PlanFile:
    """Read a plan laid out as EXAMPLE. Raises PlanFileProblem with all problems at once.

    today: the day of the declaration; the baseline ends before it.
    """
    place = Path(path)
    content = toml_content(
        place, PlanFileProblem, "A text stands in quotes, a day without: 2026-03-01")
    problems = [*_texts(content), *_days(content, today), *_measured(content), *_numbers(content)]
    changes, wrong = _changes(content, today)
    problems += wrong
    if problems:
        raise PlanFileProblem("\n".join(f"{place.name}: {problem}" for problem in problems))
    return PlanFile(
        content["code"].strip(), content["declared_by"].strip(),
        str(content.get("purpose", "")).strip(), content["measure"].strip(),
        content["baseline_from"], content["baseline_to"], content["planned_to"],
        float(content.get("odds_ratio", ODDS_RATIO)), changes)


def watchable() -> list[str]:
    """The measures that can be watched: of complications or harm, counted of sessions."""
    return [id for id, one in all_measures().items()
            if isinstance(one, Share) and id.startswith(WATCHED) and "session" in one.units]


def _texts(content: Mapping[str, Any]) -> list[str]:
    said = [f"{name!r} is not known; known are {', '.join(sorted(KNOWN))}"
            for name in sorted(set(content) - KNOWN)]
    said += [f"{name} {_found(content, name)}; a text in quotes is wanted" for name in TEXTS
             if not isinstance(content.get(name), str) or not content[name].strip()]
    roles = TABLES["monitoring_plans"].by_name[MonitoringPlans.declared_by].values
    role = content.get("declared_by")
    if isinstance(role, str) and role.strip() and role.strip() not in roles:
        said.append(f"declared_by is {role!r}; a role is wanted: {', '.join(roles)}")
    return said


def _days(content: Mapping[str, Any], today: date) -> list[str]:
    said = [f"{name} {_found(content, name)}; a day without quotes is wanted: 2026-03-01"
            for name in DAYS if not _is_day(content.get(name))]
    first, last, end = (_day(content.get(name)) for name in DAYS)
    if first and last and not first < last:
        said.append(f"baseline_to ({last}) is not after baseline_from ({first})")
    if last and last >= today:
        said.append(f"baseline_to ({last}) is not over yet: a baseline lies before the day of the "
                    "declaration")
    if last and end and not last < end:
        said.append(f"planned_to ({end}) is not after baseline_to ({last})")
    return said


def _measured(content: Mapping[str, Any]) -> list[str]:
    named = content.get("measure")
    if not isinstance(named, str) or not named.strip() or named.strip() in watchable():
        return []
    return [f"measure is {named!r}; one that is counted of sessions is wanted: "
            f"{', '.join(watchable())}"]


def _numbers(content: Mapping[str, Any]) -> list[str]:
    ratio = content.get("odds_ratio", ODDS_RATIO)
    low, high = BETWEEN
    if isinstance(ratio, int | float) and not isinstance(ratio, bool) and low < ratio <= high:
        return []
    return [f"odds_ratio is {ratio!r}; a number above {low:g}, up to {high:g}, is wanted"]


def _changes(content: Mapping[str, Any], today: date) -> tuple[tuple[Change, ...], list[str]]:
    entries = content.get("changes", [])
    if not isinstance(entries, list) or not all(isinstance(one, dict) for one in entries):
        return (), ["changes: write each one under a line [[changes]], with date and what"]
    found, said = [], []
    for number, entry in enumerate(entries, start=1):
        day, what = entry.get("date"), entry.get("what")
        day = _day(day)
        if day is None:
            said.append(f"change {number}: date {_found(entry, 'date')}; a day without quotes is "
                        "wanted: 2026-03-01")
        elif day > today:
            said.append(f"change {number}: {day} has not come yet; declare it when it was made")
        if not isinstance(what, str) or not what.strip():
            said.append(f"change {number}: what {_found(entry, 'what')}; a text in quotes is "
                        "wanted")
        elif day is not None:
            found.append(Change(day, what.strip(), new_stage=True))
    return tuple(sorted(found, key=lambda change: change.day)), said


def _is_day(value: Any) -> bool:
    return isinstance(value, date) and not isinstance(value, datetime)


def _day(value: Any) -> date | None:
    return value if _is_day(value) else None


def _found(content: Mapping[str, Any], name: str) -> str:
    return "is missing" if content.get(name) is None else f"is {content[name]!r}"
