"""What the quality report rests on: the charts, the practice limits, the project's measures."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

import pandas as pd

from analyses.documents.quality.chart_words import detection
from analyses.measures.declared import about, measure, shown_at
from analyses.measures.in_periods import share_in_periods
from analyses.measures.measure import Share
from analyses.measures.places import Place
from analyses.measures.results import Results
from analyses.monitoring.around_changes import around_each
from analyses.monitoring.limit_frame import limit_frame
from analyses.monitoring.monitoring_plan import MonitoringPlan, plans_going_on
from analyses.monitoring.plan_file import watchable
from analyses.monitoring.process import process_measures
from analyses.monitoring.project import Project, ProjectMeasure, ProjectProblem
from analyses.monitoring.watched import answered, watched_analysis, watched_rows
from analyses.statistics.estimate import Estimate
from registry.clinical.practice_limits import PracticeLimits
from registry.schema import Sessions

if TYPE_CHECKING:
    from analyses.monitoring.process import ProcessMeasures
    from analyses.monitoring.service import QualityAnalysis
    from analyses.statistics.control_charts.stages import Change

UNITS = ("session", "patient", "lesion", "catheter", "injection", "operation")
"""The unit a measure is shown in: the first of these that its estimate is given for."""
BEFORE, SINCE = "before the change", "since the change"
DAY = re.compile(r"\d{4}-\d{2}-\d{2}")

ROLES = {Place.QUALITY_OUTCOME: "outcome", Place.QUALITY_BALANCING: "balancing"}


def usual() -> tuple[ProjectMeasure, ...]:
    """The measures shown where no words file names any: those that say they stand here."""
    return tuple(ProjectMeasure(about(id).label, role, "", id)
                 for place, role in ROLES.items() for id, _ in shown_at(place))


@dataclass(frozen=True)
class Shown:
    """One measure as the report shows it: its words, and its estimate over each period.

    before, since: around the first change that begins a new stage; None where there is none, or
    where the measure is no share of units with a day. whole is None for a measure without an
    estimate.
    """

    measure: ProjectMeasure
    whole: Estimate | None
    before: Estimate | None
    since: Estimate | None

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """Those there are."""
        return tuple(e for e in (self.whole, self.before, self.since) if e is not None)


@dataclass(frozen=True)
class QualityWork:
    """What the quality report rests on.

    measure: the id of what is watched, the plan's where there is one. changes: those that are
    marked and compared. analysis is None, and
    `problem` says why, where no procedure's outcome is known; process is None where there is no
    check of a practice limit.
    """

    results: Results
    plan: MonitoringPlan | None
    measure: str
    changes: tuple[Change, ...]
    analysis: QualityAnalysis | None
    problem: str
    limits: PracticeLimits
    process: ProcessMeasures | None
    project: Project | None
    measures: tuple[Shown, ...]

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """Every estimate of the charts, the limits and the measures (beside the results')."""
        found = [e for shown in self.measures for e in shown.estimates]
        found += answered(self.analysis, self.plan, self.problem).estimates
        if self.analysis is not None:
            found += [*self.analysis.estimates, *detection(self.analysis.chart)]
        if self.process is not None:
            found += [*self.process.kept, *self.process.outcome]
        return tuple(found)


def quality_work(
    results: Results, *, project: Project | None = None,
) -> QualityWork:
    """Work out the charts, the practice limits and the measures of a freeze.

    What is watched, and from which baseline, is the newest plan's of the registry; without one
    the project's first outcome that can be watched, or the usual one. Procedures whose outcome is
    not known leave the charts; the report says how many. Raises ProjectProblem where a measure
    names an estimate that this report does not give, or a change lies outside the data.
    """
    plan = next(iter(plans_going_on(results.units.tables)), None)
    id = plan.measure if plan else _named(project)
    changes = _changes(results, plan, project, id)
    checks = limit_frame(results.units, id)
    analysis, problem = watched_analysis(results.units, id, plan=plan, changes=changes)
    if analysis is not None:
        changes = analysis.changes
    return QualityWork(
        results, plan, id, changes, analysis, problem, results.limits,
        process_measures(checks, outcome="complication", baseline=None if plan is None else (
            plan.baseline_from, plan.baseline_to)) if len(checks) else None, project,
        _measures(results, project, id, changes))


def _named(project: Project | None) -> str:
    """The first outcome of the project that can be watched; the usual one where there is none."""
    can = watchable()
    named = [m.estimate for m in project.measures if m.kind == "outcome"] if project else []
    return next((id for id in named if id in can), shown_at(Place.MONITORED)[0][0])


def _changes(
    results: Results, plan: MonitoringPlan | None, project: Project | None, measure: str,
) -> tuple[Change, ...]:
    """The changes of plan and project by day, each once.

    Raises ProjectProblem where one of the project lies outside the data or has too few sessions
    on a side. One of the plan is declared and stays: the report says what it lacks.
    """
    both = [*(plan.changes if plan else ()), *(project.changes if project else ())]
    by_day = {change.day: change for change in reversed(both)}
    found = tuple(by_day[day] for day in sorted(by_day))
    rows = watched_rows(results.units, measure)[0]
    known = rows[rows["complication"].notna() & rows[Sessions.session_date].notna()]
    if not found or known.empty:
        return found
    declared = {change.day for change in (plan.changes if plan else ())}
    refused = [*_outside(known, found), *_too_few(known, found)]
    said = [words for change, words in refused if change.day not in declared]
    if said:
        raise ProjectProblem("\n".join(said))
    return found


def _outside(known: pd.DataFrame, changes: Sequence[Change]) -> list[tuple[Change, str]]:
    """The changes before the first session or after the last, each with its sentence."""
    first, last = (day.date() for day in known[Sessions.session_date].agg(["min", "max"]))
    return [(c, f"change “{c.what}” of {c.day}: the sessions of this freeze lie between {first} "
                f"and {last}; give the day from which it held, or leave the change out until "
                "there are sessions after it") for c in changes if not first < c.day <= last]


def _too_few(known: pd.DataFrame, changes: Sequence[Change]) -> list[tuple[Change, str]]:
    """The changes with too few sessions on a side, each with its sentence."""
    told = [change for change, _ in _outside(known, changes)]
    return [(around.change, f"change {around.too_few}; write new_stage = false until there are")
            for around in around_each(known, changes)
            if not around.enough and around.change not in told]


def without_days(analysis: QualityAnalysis) -> QualityAnalysis:
    """The same charts with quarters in place of days: what may leave dates no patient's event."""
    chart, difference = analysis.chart, analysis.difference
    return replace(
        analysis,
        chart=None if chart is None else replace(chart, table=_by_quarter(chart.table)),
        difference=None if difference is None else _by_quarter(difference),
        cusums=tuple(replace(c, table=_by_quarter(c.table)) for c in analysis.cusums))


def first_change(changes: Sequence[Change]) -> Change | None:
    """The first change from which a new stage begins."""
    return next((c for c in changes if c.new_stage), None)


def quarter_of(day: date) -> str:
    """The quarter of a day: what may leave dates no patient's event."""
    return f"{day.year} Q{(day.month - 1) // 3 + 1}"


def _by_quarter(table: pd.DataFrame) -> pd.DataFrame:
    labels = table["label"].astype(str)
    days = pd.to_datetime(labels.where(labels.str.fullmatch(DAY.pattern)), errors="coerce")
    quarters = days.dt.year.astype("Int64").astype(str) + " Q" + days.dt.quarter.astype(
        "Int64").astype(str)
    return table.assign(label=labels.where(days.isna(), quarters))


def _measures(
    results: Results, project: Project | None, watched: str, changes: Sequence[Change],
) -> tuple[Shown, ...]:
    """What is watched first. Raises ProjectProblem with all unknown ids at once."""
    named = project.measures if project else usual()
    if watched not in {m.estimate for m in named}:
        named = (ProjectMeasure(about(watched).label, "outcome", "", watched), *named)
    unknown = [m for m in named if m.estimate and not results.units_of(m.estimate)]
    if unknown:
        raise ProjectProblem("\n".join(
            f"measure “{m.name}”: estimate {m.estimate!r} is not one of this report's; take an id "
            "from results.json, or leave the line out" for m in unknown))
    return tuple(_shown(results, m, first_change(changes)) for m in named)


def _shown(results: Results, measure: ProjectMeasure, change: Change | None) -> Shown:
    if not measure.estimate:
        return Shown(measure, None, None, None)
    given = results.units_of(measure.estimate)
    unit = next((u for u in UNITS if u in given), given[0])
    whole = results.one(measure.estimate, unit)
    if change is None:
        return Shown(measure, whole, None, None)
    return Shown(measure, whole, *_around(results, measure.estimate, unit, change))


def _around(
    results: Results, id: str, unit: str, change: Change,
) -> tuple[Estimate, Estimate] | tuple[None, None]:
    """The measure before and since a change; None for what is no share, or has no day."""
    one = measure(id)
    if not isinstance(one, Share) or unit not in one.units:
        return None, None
    last_before = change.day - timedelta(days=1)
    found = share_in_periods(one, results.units, unit,
                             {BEFORE: (None, last_before), SINCE: (change.day, None)})
    return (None, None) if found is None else (found[0], found[1])
