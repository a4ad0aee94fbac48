"""Practice limits, data quality, follow-up list, changes and the words of a project."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analyses.monitoring.process import process_measures
from analyses.monitoring.project import EXAMPLE, ProjectProblem, read_project
from analyses.monitoring.quality_of_data import (
    completeness_by_month,
    time_to_entry,
)
from analyses.statistics.control_charts.stages import Change, stage_of
from registry.quality.follow_up import follow_up_due
from registry.quality.follow_up_schedule import Visit


def checks() -> pd.DataFrame:
    return pd.DataFrame({
        "date": pd.date_range("2024-01-01", periods=80, freq="9D"),
        "limit": ["rate", "pause"] * 40,
        "within": pd.array([True, True, False, True] * 19 + [None] * 4, dtype="boolean"),
        "patient_id": [f"AV-{k // 4}" for k in range(80)],
        "complication": ([0, 0, 1, 0] * 20),
    })


def test_practice_limits_count_kept_broken_and_not_recorded() -> None:
    found = process_measures(checks(), outcome="complication")
    rate = found.pareto.iloc[0]
    assert (rate["limit"], rate["broken"], rate["recorded"], rate["missing"]) == ("rate", 19, 38, 2)
    assert found.pareto["cumulative"].tolist() == [1.0, 1.0]
    kept = {e.group["limit"]: e for e in found.kept}
    assert (kept["rate"].events, kept["rate"].n) == (19, 38)
    by = {(e.group["limit"], e.group["was"]): e for e in found.outcome}
    assert (by["rate", "broken"].events, by["rate", "broken"].n) == (19, 19)
    assert set(found.charts) == {"rate", "pause"} and "does not explain" in found.notes[0]


def test_the_figures_of_data_and_process_can_be_drawn() -> None:
    from analyses.figures.quality_figures import (
        completeness_figure,
        entry_figure,
        pareto_figure,
    )

    frame = checks()
    days = frame["date"].tolist()
    for figure in (
        pareto_figure(process_measures(frame)),
        completeness_figure(completeness_by_month(frame, date="date", fields=["within"])),
        entry_figure(time_to_entry(days, [day + pd.Timedelta(days=9) for day in days])),
    ):
        figure.canvas.draw()
        assert any(axes.get_xlabel() or axes.get_ylabel() for axes in figure.axes)


def test_completeness_keeps_months_without_rows_apart_from_nothing_recorded() -> None:
    table = completeness_by_month(
        pd.DataFrame({"day": ["2025-11-02", "2026-01-03"], "dose": [1, None]}),
        date="day", fields=["dose"])
    assert table["month"].tolist() == ["2025-11", "2025-12", "2026-01"]
    assert table["rows"].tolist() == [1, 0, 1]
    assert table["share"].iloc[0] == 1 and np.isnan(table["share"].iloc[1])
    assert table["share"].iloc[2] == 0


def test_entry_dated_before_the_event_is_counted_apart() -> None:
    table = time_to_entry(["2025-11-02", "2025-11-03", "2025-11-09", "2025-11-10"],
                          ["2025-12-02", None, "2025-11-01", "2025-11-20"])
    row = table.iloc[0]
    assert (row["records"], row["not_dated"], row["before_event"]) == (4, 1, 1)
    assert row["median_days"] == 20


def lesions(**more: object) -> pd.DataFrame:
    return pd.DataFrame([{"patient_id": "AV-001", "lesion_no": 1,
                          "last_treatment_date": "2025-01-10", "resection_date": None,
                          "death_date": None, "plan_status": "ended", **more}])


def visits(*rows: tuple[str, str]) -> pd.DataFrame:
    return pd.DataFrame([("AV-001", 1, day, imaging) for day, imaging in rows],
                        columns=["patient_id", "lesion_no", "follow_up_date", "imaging"])


def states(table: pd.DataFrame) -> dict[str, str]:
    return dict(zip(table["what"], table["state"], strict=True))


def test_follow_up_is_due_overdue_missed_or_done() -> None:
    found = states(follow_up_due(
        lesions(resection_date="2025-01-10"),
        visits(("2025-01-15", "catheter angiography"), ("2026-01-02", "none")),
        today="2026-02-01"))
    assert found["catheter angiography after resection"] == "done"
    assert found["clinic at 3 months"] == "missed"  # the visit at 1 year came instead
    assert found["clinic at 1 year"] == "done"
    assert found["catheter angiography at 6 months"] == "overdue"


def test_a_late_visit_counts_once() -> None:
    found = states(follow_up_due(lesions(), visits(("2025-07-01", "none")), today="2025-12-01"))
    assert found["clinic at 3 months"] == "done" and found["clinic at 1 year"] == "due"


def test_magnetic_resonance_does_not_stand_in_for_catheter_angiography() -> None:
    found = states(follow_up_due(lesions(), visits(("2025-07-12", "MR angiography")),
                                 today="2025-08-01"))
    assert found["catheter angiography at 6 months"] == "due"


def test_the_dead_are_not_called_and_ongoing_plans_wait() -> None:
    assert follow_up_due(lesions(death_date="2025-02-01"), visits(), today="2026-02-01").empty
    assert follow_up_due(lesions(plan_status="ongoing"), visits(), today="2026-02-01").empty


def test_a_service_can_bring_its_own_schedule() -> None:
    table = follow_up_due(lesions(), visits(), today="2025-03-01",
                          schedule=[Visit("telephone at 30 days", "treatment", 30, 5, 5)])
    assert table["what"].tolist() == ["telephone at 30 days"]
    assert table["days_over"].tolist() == [15]


def test_changes_give_stages_by_day() -> None:
    changes = [Change(date(2025, 6, 1), "new shaker"),
               Change(date(2025, 3, 1), "reflux limit", new_stage=True)]
    assert stage_of(["2025-02-28", "2025-03-01", "2025-07-01"], changes) == [
        "before", "after reflux limit", "after reflux limit"]
    assert stage_of(["2025-02-28"], [Change(date(2025, 1, 1), "x")]) == ["all"]


def test_the_words_of_a_project_are_read(tmp_path: Path) -> None:
    path = tmp_path / "project.toml"
    path.write_text(EXAMPLE, encoding="utf-8")
    project = read_project(path)
    assert {measure.kind for measure in project.measures} == {"outcome", "balancing"}
    assert project.changes[0].day == date(2026, 1, 15) and project.changes[0].new_stage


def test_all_faults_of_the_words_are_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "project.toml"
    path.write_text('title = "T"\naims = "A"\n[[measures]]\nname = "M"\nkind = "main"\n'
                    '[[changes]]\ndate = "2026"\nwhat = "W"\n', encoding="utf-8")
    with pytest.raises(ProjectProblem) as told:
        read_project(path)
    for said in ("'aims' is not known", "aim is missing", "baseline is missing", "kind is 'main'",
                 "definition is missing", "date is '2026'", "no outcome measure"):
        assert said in str(told.value)
    path.write_text("aim = no quotes")
    with pytest.raises(ProjectProblem, match="is not TOML"):
        read_project(path)
    with pytest.raises(ProjectProblem, match="cannot be opened"):
        read_project(tmp_path / "absent.toml")
