"""The quality report is of the declared plan's own measure, from its own baseline."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pandas as pd
import pytest
from meeting_reports import service

from analyses.content.blocks import Document
from analyses.documents.quality.quality_report import quality_document
from analyses.documents.quality.quality_work import QualityWork, quality_work
from analyses.measures.declared import about, share_of
from analyses.monitoring.project import Project, ProjectMeasure, ProjectProblem
from analyses.statistics.control_charts.stages import Change
from registry.schema import TABLES

WATCHED = "complication.haemorrhagic"


def plan_tables(days: pd.Series) -> dict[str, pd.DataFrame]:
    """A plan that watches bleeding from the first 60 % of the service's days, and one signal."""
    first, last = days.min(), days.sort_values().iloc[int(0.6 * len(days))]
    rows = {
        "monitoring_plans": {
            "plan_code": "BLEED-1", "declared_on": last + pd.Timedelta(days=1),
            "declared_by": "quality lead", "measure": WATCHED, "measure_unit": "session",
            "baseline_from": first, "baseline_to": last, "chart": "risk-adjusted CUSUM",
            "planned_to": days.max() + pd.DateOffset(years=1)},
        "signals": {
            "plan_code": "BLEED-1", "signal_no": 1, "found_on": days.max(),
            "freeze_hash": "a" * 64, "direction": "worse", "crossed_on": days.max(),
            "chart_value": 5.0, "chart_limit": 4.0, "done": "Pressure target lowered."},
    }
    return {name: TABLES[name].typed(pd.DataFrame([row])) for name, row in rows.items()}


@pytest.fixture(scope="module")
def work() -> QualityWork:
    results = service()[0]
    units = results.units
    days = units.sessions["session_date"].dropna()
    planned = replace(units, tables={**units.tables, **plan_tables(days)})
    return quality_work(replace(results, units=planned))


def texts(document: Document) -> str:
    return repr(document)


def test_measure_charts_limits_and_words_are_the_plans(work: QualityWork) -> None:
    found = work.analysis
    assert found is not None and work.measure == WATCHED
    marked = share_of(WATCHED).frame(work.results.units, "session")
    assert found.sessions["complication"].sum() == marked["event"].sum()
    assert found.event == about(WATCHED).subject == "a haemorrhagic complication"
    assert work.measures[0].measure.estimate == WATCHED
    inside = texts(quality_document(work, inside=True))
    assert "a haemorrhagic complication" in inside
    assert "sessions with any embolization complication" not in inside


def test_the_baseline_is_the_declared_one(work: QualityWork) -> None:
    found, plan = work.analysis, work.plan
    assert found is not None and plan is not None
    days = found.sessions["session_date"]
    assert found.sessions["baseline"].sum() == (days <= pd.Timestamp(plan.baseline_to)).sum()
    assert not (found.sessions["baseline"] & found.sessions["watched"]).any()


def test_the_heading_is_answered_first_and_what_was_done_stands_in_the_report(
    work: QualityWork,
) -> None:
    section = next(s for s in quality_document(work, inside=True).sections
                   if s.title == "Is harm more or less frequent?")
    assert repr(section.blocks[0]).count("Worse: by 1 signal since the baseline, ") == 1
    assert "Look first at" in repr(section.blocks[0])
    assert "Pressure target lowered." in texts(quality_document(work, inside=True))


def test_what_leaves_names_no_day_of_a_signal(work: QualityWork) -> None:
    assert work.plan is not None
    day = work.plan.signals[0].crossed_on
    outside = texts(quality_document(work, inside=False))
    assert day.isoformat() not in outside and f"{day.year} Q" in outside


def test_few_events_are_shown_one_by_one_inside_only(work: QualityWork) -> None:
    found = work.analysis
    assert found is not None
    few = replace(work, analysis=replace(found, cusums=(), designs=()))
    assert "events-one-by-one" in texts(quality_document(few, inside=True))
    assert "events-one-by-one" not in texts(quality_document(few, inside=False))


def test_a_change_outside_the_data_is_refused() -> None:
    project = Project("t", "a", "b", (ProjectMeasure("Any", "outcome", "d", "complication.any"),),
                      (Change(date(1999, 1, 1), "too early", True),
                       Change(date(2099, 1, 1), "too late", True)))
    with pytest.raises(ProjectProblem) as found:
        quality_work(service()[0], project=project)
    assert "too early" in str(found.value) and "too late" in str(found.value)


def test_a_projects_change_with_too_few_sessions_since_is_refused() -> None:
    results = service()[0]
    last = results.units.sessions["session_date"].max().date()
    project = Project("t", "a", "b", (ProjectMeasure("Any", "outcome", "d", "complication.any"),),
                      (Change(last, "only just", True),))
    with pytest.raises(ProjectProblem, match="change “only just”.*at least 10 on each side"):
        quality_work(results, project=project)


def test_a_declared_change_with_too_few_sessions_is_said_and_not_drawn(work: QualityWork) -> None:
    units = work.results.units
    last = units.sessions["session_date"].max()
    change = TABLES["practice_changes"].typed(pd.DataFrame([{
        "plan_code": "BLEED-1", "change_no": 1, "changed_on": last, "change": "Only just"}]))
    planned = replace(units, tables={**units.tables, "practice_changes": change})
    found = quality_work(replace(work.results, units=planned))
    assert found.changes == () and all(shown.since is None for shown in found.measures)
    section = next(s for s in quality_document(found, inside=True).sections
                   if s.title == "Before and after")
    assert "Only just" in repr(section) and "so it is not marked" in repr(section)
