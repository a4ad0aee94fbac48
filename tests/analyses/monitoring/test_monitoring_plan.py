"""A plan declared once, the log of signals that only grows, and the heading's question answered."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from monitoring_procedures import procedures
from small_cohort import small_tables

from analyses.monitoring.looking_again import Look, limit_declared, log_rows, with_rows
from analyses.monitoring.monitoring_plan import (
    LoggedSignal,
    MonitoringPlan,
    plans_going_on,
)
from analyses.monitoring.plan_file import EXAMPLE, PlanFileProblem, read_plan_file, watchable
from analyses.monitoring.service import QualityAnalysis, quality_analysis
from analyses.monitoring.watched import (
    BETTER,
    NO_SIGN,
    UNTOLD,
    WORSE,
    answered,
    crossings,
    new_crossings,
)
from analyses.population.unit_frames import units_of
from analyses.statistics.control_charts.stages import Change

PLAN = MonitoringPlan("HARM-2026", date(2026, 1, 1), "complication.any", date(2019, 1, 1),
                      date(2021, 12, 31), date(2025, 12, 31), 2.0)


def service(seed: int, after: float) -> pd.DataFrame:
    """Eight sessions a month from 2019: a risk of 5 %, from 2022 on `after`, for good."""
    frame = procedures(530, seed=seed, a_month=8.0)
    rng = np.random.default_rng(seed + 100)
    risk = np.where(frame["session_date"] > pd.Timestamp(PLAN.baseline_to), after, 0.05)
    return frame.assign(complication=rng.random(len(frame)) < risk)


def judged(rows: pd.DataFrame) -> QualityAnalysis:
    """A freeze judged from the plan's own baseline."""
    return quality_analysis(rows, baseline_from=PLAN.baseline_from, terms=(),
                            baseline_until=PLAN.baseline_to, planned_to=PLAN.planned_to)


def looked_again(rows: pd.DataFrame, plan: MonitoringPlan, day: date) -> MonitoringPlan:
    """The plan with what a look at a later freeze adds to its log."""
    found = judged(rows)
    look = Look(plan, answered(found, plan), tuple(new_crossings(found, plan)))
    added = tuple(LoggedSignal(row["signal_no"], row["direction"],
                               date.fromisoformat(row["crossed_on"]), day)
                  for row in log_rows([look], day, "a" * 64))
    return replace(plan, signals=(*plan.signals, *added))


def first_stands(seed: int, days: pd.DatetimeIndex) -> bool:
    """Whether a service of 15 % instead of 5 signals; its first signal stands ever after."""
    rows, plan, first = service(seed, 0.15), PLAN, None
    for day in days:
        plan = looked_again(rows[rows["session_date"] < day], plan, day.date())
        first = first or next(iter(plan.signals), None)
        if first is not None:
            assert plan.signals[0] == first
            answer = answered(None, plan)
            assert answer.verdict == WORSE and first.crossed_on.isoformat() in answer.sentence
    return first is not None


def test_the_first_signal_stands_at_the_later_freezes() -> None:
    days = pd.DatetimeIndex(["2022-10-01", "2023-07-01", "2024-07-01"])
    assert first_stands(0, days) and first_stands(1, days)


@pytest.mark.slow
def test_the_first_signal_of_eight_services_stands_at_every_later_freeze() -> None:
    days = pd.date_range("2022-04-01", "2024-07-01", freq="3MS")
    assert sum(first_stands(seed, days) for seed in range(8)) >= 7


def test_the_limit_does_not_move_with_what_comes_later() -> None:
    rows = service(3, 0.15)
    early = judged(rows[rows["session_date"] < "2022-09-01"])
    assert [d.limit for d in early.designs] == [d.limit for d in judged(rows).designs]


def test_a_signal_stays_in_the_log_when_the_data_no_longer_show_it() -> None:
    rows = service(1, 0.3)
    plan = looked_again(rows, PLAN, date(2024, 1, 1))
    assert plan.signals
    calm = rows.assign(complication=rows["complication"]
                       & (rows["session_date"] <= pd.Timestamp(PLAN.baseline_to)))
    again = looked_again(calm, plan, date(2025, 1, 1))
    assert set(plan.signals) <= set(again.signals)
    assert answered(judged(rows), plan).verdict == WORSE


def test_nothing_is_added_twice() -> None:
    rows = service(1, 0.3)
    plan = looked_again(rows, PLAN, date(2024, 1, 1))
    assert looked_again(rows, plan, date(2024, 2, 1)) == plan
    assert len(crossings(judged(rows))) == len(plan.signals)


def test_the_declaration_keeps_its_limit_and_a_later_look_tells_when_it_is_another() -> None:
    rows = service(1, 0.05)
    found = judged(rows)
    look = Look(PLAN, answered(found, PLAN), (), found)
    stated = limit_declared(look)
    assert stated["chart_limit"] == pytest.approx(found.designs[0].limit, abs=1e-6)
    # Held at the highest risk that the baseline leaves open, over the sessions planned.
    assert stated["run_length"] > found.designs[0].trials
    declared = replace(PLAN, limit=stated["chart_limit"])
    later = judged(rows.assign(complication=rows["complication"] | (rows.index % 50 == 7)))
    same, moved = (" ".join(Look(declared, answered(f, declared), (), f).lines)
                   for f in (found, later))
    assert "at the declaration" not in same
    assert f"The limit was {declared.limit:.2f} at the declaration; now it is" in moved


def test_a_plan_is_looked_at_with_the_rows_it_is_declared_with(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_text(EXAMPLE, encoding="utf-8")
    rows = read_plan_file(tmp_path / "plan.toml", date(2026, 5, 1)).rows(date(2026, 5, 1))
    units = with_rows(with_rows(units_of(small_tables()), rows), rows)
    [plan] = plans_going_on(units.tables)
    assert plan.code == "HARM-2026" and plan.limit is None
    assert [change.day for change in plan.changes] == [date(2024, 3, 1)]
    without = Look(plan, answered(None, plan, "Too few."), ())
    assert limit_declared(without) == {}


def test_the_answer_names_all_signals_the_newest_first_then_what_to_look_at() -> None:
    plan = replace(PLAN, signals=(
        LoggedSignal(1, "worse", date(2022, 3, 1), date(2022, 6, 1)),
        LoggedSignal(2, "better", date(2023, 5, 1), date(2023, 6, 1))))
    found = answered(judged(service(2, 0.05)), plan)
    assert found.verdict == BETTER
    assert found.sentence.index("2023-05-01 (better)") < found.sentence.index("2022-03-01 (worse)")
    assert found.look_first.startswith("Look first at")


def test_without_a_plan_or_with_too_few_events_it_cannot_be_told() -> None:
    rows = service(2, 0.05)
    assert answered(judged(rows), None).verdict == UNTOLD
    one = judged(rows.assign(complication=rows.index == 3))
    assert one.cusums == () and answered(one, PLAN).verdict == UNTOLD
    assert "1 events in" in answered(one, PLAN).sentence


def test_an_unchanged_service_reads_no_sign_and_is_told_what_would_have_been_seen() -> None:
    found = answered(judged(service(4, 0.05)), PLAN)
    assert found.verdict == NO_SIGN and "not evidence of safety" in found.sentence


def test_a_plan_of_a_freeze_carries_its_changes_and_its_log() -> None:
    plans = pd.DataFrame([{
        "plan_code": code, "declared_on": day, "measure": "complication.any",
        "baseline_from": "2019-01-01", "baseline_to": "2021-12-31", "planned_to": None,
        "odds_ratio": None, "ended_on": ended, "purpose": None}
        for code, day, ended in (("OLD", "2024-01-01", "2025-01-01"), ("A", "2025-01-01", None),
                                 ("B", "2026-01-01", None))])
    changes = pd.DataFrame([{"plan_code": "B", "change_no": 1, "changed_on": "2024-03-01",
                             "change": "Reflux limit"}])
    signals = pd.DataFrame([{"plan_code": "B", "signal_no": 1, "direction": "worse",
                             "crossed_on": "2024-05-01", "found_on": "2024-06-01",
                             "done": "Reflux limit agreed."}])
    found = plans_going_on({"monitoring_plans": plans, "practice_changes": changes,
                            "signals": signals})
    assert [plan.code for plan in found] == ["B", "A"]
    assert found[0].changes == (Change(date(2024, 3, 1), "Reflux limit", True),)
    assert found[0].signals[0].done == "Reflux limit agreed." and not found[1].signals


def test_the_example_is_a_plan(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_text(EXAMPLE, encoding="utf-8")
    plan = read_plan_file(tmp_path / "plan.toml", date(2026, 5, 1))
    assert set(plan.rows(date(2026, 5, 1))) == {"monitoring_plans", "practice_changes"}
    assert "complication.any" in watchable()


def test_all_problems_of_a_plan_are_told_at_once(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_text(
        'code = "A-1"\ndeclared_by = "somebody"\nmeasure = "obliteration.final_confirmed"\n'
        'baseline_from = 2022-01-01\nbaseline_to = 2021-01-01\nodds_ratio = 1\nspeed = 3\n'
        '[[changes]]\ndate = 2030-01-01\n', encoding="utf-8")
    with pytest.raises(PlanFileProblem) as found:
        read_plan_file(tmp_path / "plan.toml", date(2026, 5, 1))
    said = str(found.value)
    for words in ("'speed' is not known", "a role is wanted", "counted of sessions is wanted",
                  "is not after baseline_from", "planned_to is missing", "odds_ratio is 1",
                  "has not come yet", "change 1: what is missing"):
        assert words in said


def test_what_to_look_at_first_fits_the_direction() -> None:
    """An improvement may be events that nobody wrote down; a rise is looked at event by event."""
    from analyses.monitoring.watched import _look_first, counted_whole

    one, none = (counted_whole("run_up", n, "event") for n in (1, 0))
    assert "left unrecorded (1 event recorded" in _look_first("better", (one,))
    assert _look_first("worse", (one,)).startswith("Look first at the 1 event in the run-up")
    assert "run-up" not in _look_first("worse", (none,)) + _look_first("better", ())
