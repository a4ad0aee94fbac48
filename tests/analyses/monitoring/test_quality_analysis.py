"""The analysis of a whole service: parts, sentences, and what it says when it cannot."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
from monitoring_procedures import procedures

from analyses.documents.quality.quality_charts import cusum_blocks
from analyses.figures.chart_figures import (
    chart_figure,
    funnel_figure,
    learning_figure,
    running_figure,
    series_figure,
)
from analyses.monitoring.service import quality_analysis
from analyses.statistics.control_charts.detection import point_power
from analyses.statistics.control_charts.interrupted_series import interrupted_series
from analyses.statistics.control_charts.periods import count_by_period
from analyses.statistics.control_charts.stages import Change

CHANGES = (Change(date(2021, 6, 1), "Reflux limit agreed", True),
           Change(date(2022, 6, 1), "New shaker"))


def test_a_small_service_gets_the_charts_its_event_rate_carries() -> None:
    found = quality_analysis(procedures(300, seed=2, worse_from=200), changes=CHANGES)
    assert found.choice.kind == "g" and found.chart is not None
    assert found.chart.stages == ["before", "after Reflux limit agreed"]
    assert [cusum.worse for cusum in found.cusums] == [True, False]
    assert len(found.cusums[0].table) == 150  # the baseline is not monitored with itself
    assert found.sessions["expected"][found.sessions["baseline"]].sum() == pytest.approx(
        found.sessions["complication"][found.sessions["baseline"]].sum())
    assert found.learning is not None and found.funnel is not None
    # Eleven to fourteen quarters hold no line: the difference from the counts stands instead.
    assert found.series is None and "Before and after" in found.sections


def test_every_estimate_has_an_id_and_the_sentences_say_what_cannot_be_seen() -> None:
    found = quality_analysis(procedures(300, seed=2), changes=CHANGES)
    assert all(e.id.startswith("monitoring.") for e in found.estimates)
    said = " ".join(found.sentences)
    for words in ("chance of a false signal in the", "sessions planned",
                  "in 90 % of services it is no more than 10 %", "not a league table",
                  "cannot show a doubled risk", "do not decide the treatment"):
        assert words in said
    assert "caused" not in said


def test_a_doubled_risk_is_found_and_an_unchanged_one_mostly_not() -> None:
    worse = [quality_analysis(procedures(400, seed=s, worse_from=200)) for s in range(4)]
    same = [quality_analysis(procedures(400, seed=s)) for s in range(4)]
    signals = [sum(len(a.cusums[0].signals) > 0 for a in some) for some in (worse, same)]
    assert signals[0] >= 3 > signals[1]


def test_a_busy_service_gets_a_p_chart() -> None:
    found = quality_analysis(procedures(3000, seed=3, a_month=70))
    assert found.choice.kind == "p" and found.chart is not None
    assert found.chart.table["trials"].sum() == 3000
    assert 0 < point_power(found.chart, 1.0) < point_power(found.chart, 2.0) < 1


def test_without_events_the_analysis_says_so_instead_of_printing() -> None:
    found = quality_analysis(procedures(40, seed=5).assign(complication=False))
    assert found.chart is None and found.risk is None and found.cusums == ()
    assert "0 events in 20 baseline sessions" in found.problems[0]
    assert "up to" in found.sections["The event"][0]


def test_one_session_is_enough_not_to_fail() -> None:
    found = quality_analysis(procedures(1, seed=5))
    assert found.choice.kind == "none" and found.sentences


def test_missing_operators_and_case_numbers_are_left_out_and_told() -> None:
    frame = procedures(120, seed=4)
    frame.loc[:9, ["operator_id", "case_number"]] = None
    found = quality_analysis(frame)
    assert "10 sessions without an operator's code" in found.sections["By operator code"][0]
    assert found.funnel is not None and found.funnel.table["trials"].sum() == 110


def test_all_faults_of_the_table_are_told_at_once() -> None:
    frame = procedures(30, seed=1)
    with pytest.raises(ValueError, match="no column operator_id, ruptured"):
        quality_analysis(frame.drop(columns=["operator_id", "ruptured"]))
    frame.loc[3, "patient_id"] = None
    frame["session_date"] = frame["session_date"].astype(str)
    frame.loc[5, "session_date"] = "31 February"
    with pytest.raises(ValueError, match=r"session_date.*1 rows; patient_id.*1 rows"):
        quality_analysis(frame)


def test_sessions_of_unknown_outcome_are_left_out_and_told() -> None:
    frame = procedures(100, seed=1).astype({"complication": "boolean"})
    frame.loc[:4, "complication"] = pd.NA
    found = quality_analysis(frame)
    assert len(found.sessions) == 95 and "5 of 100 sessions are left out" in found.problems[0]


def test_the_order_of_the_rows_does_not_matter() -> None:
    frame = procedures(200, seed=6)
    shuffled = frame.sample(frac=1, random_state=1)
    one, two = quality_analysis(frame), quality_analysis(shuffled)
    assert [e.as_record() for e in one.estimates] == [e.as_record() for e in two.estimates]
    assert one.sentences == two.sentences


def test_declared_risks_follow_their_rows() -> None:
    frame = procedures(200, seed=6)
    risk = np.where(frame["sm_grade"] >= 4, 0.2, 0.08)
    found = quality_analysis(frame, expected=risk, expected_source="a published score")
    assert "a published score" in found.sections["Expected risk"][0]
    high = found.sessions["sm_grade"] >= 4
    assert (found.sessions.loc[high, "expected"] == 0.2).all()


def test_periods_without_sessions_keep_their_row() -> None:
    table = count_by_period(pd.to_datetime(["2024-01-05", "2024-03-07"]), [1, 0], "month")
    assert table["label"].tolist() == ["2024-01", "2024-02", "2024-03"]
    assert table["trials"].tolist() == [1, 0, 1]
    halves = count_by_period(pd.to_datetime(["2024-01-05", "2024-07-07"]), [1, 0], "half-year")
    assert halves["label"].tolist() == ["2024 H1", "2024 H2"]


@pytest.mark.parametrize(("count", "a_month", "kind"), [(400, 8.0, "g"), (3000, 110, "p")])
def test_a_declared_baseline_alone_sets_the_limits_of_every_chart(
    count: int, a_month: float, kind: str,
) -> None:
    """What comes later, and every change, leaves the limits where they are."""
    rows = procedures(count, seed=3, a_month=a_month)
    end = rows["session_date"].iloc[count // 2]
    worse = rows.assign(complication=rows["complication"] | (rows["session_date"] > end))
    change = Change((end + pd.Timedelta(days=90)).date(), "Reflux limit", True)
    early = quality_analysis(rows[rows["session_date"] <= end], baseline_until=end)
    late = quality_analysis(worse, baseline_until=end, changes=(change,))
    assert early.choice.kind == late.choice.kind == kind and late.changes == (change,)
    assert (early.run is None) == (kind == "p"), "too few quarters for a run chart"
    for one, two in ((early.chart, late.chart), *([(early.run, late.run)] if early.run else ())):
        points = len(one.table)
        limits = ["value", "centre", "lower", "upper"]
        pd.testing.assert_frame_equal(one.table[limits], two.table[limits].iloc[:points])
        assert two.table["baseline"].sum() == points and two.stages == ["all"]
        assert two.method.endswith(("limits from the baseline alone", "median of the baseline"))
    assert late.chart.signals["label"].size > early.chart.signals["label"].size or kind == "g"


def test_a_gap_that_began_before_the_baseline_sets_no_limit() -> None:
    rows = procedures(400, seed=3, a_month=8.0)
    first, last = rows["session_date"].iloc[60], rows["session_date"].iloc[330]
    chart = quality_analysis(rows, baseline_from=first, baseline_until=last).chart
    inside = rows["session_date"].between(first, last) & rows["complication"]
    assert chart.kind == "g" and chart.table["baseline"].sum() == inside.sum() - 1
    gaps = chart.table.loc[chart.table["baseline"], "value"]
    assert chart.table["centre"].unique() == pytest.approx([gaps.mean()])


def test_a_change_with_too_few_sessions_on_a_side_is_not_drawn_and_says_so() -> None:
    rows = procedures(300, seed=2)
    late = Change(rows["session_date"].iloc[-4].date(), "New shaker", True)
    found = quality_analysis(rows, changes=(CHANGES[0], late))
    assert found.changes == (CHANGES[0],) and len(found.chart.stages) == 2
    assert [change for change, _ in found.compared] == [CHANGES[0]]
    said = next(p for p in found.problems if "New shaker" in p)
    assert "4 since" in said and "at least 10 on each side are wanted, so it is not marked" in said


def test_every_figure_can_be_drawn() -> None:
    found = quality_analysis(procedures(300, seed=2, worse_from=200), changes=CHANGES)
    figures = [
        chart_figure(found.chart, changes=CHANGES), chart_figure(found.run),
        chart_figure(quality_analysis(procedures(300, seed=2), baseline_until="2022-01-01").chart),
        chart_figure(found.ewma), cusum_blocks(found)[-1].draw(6.9),
        funnel_figure(found.funnel), funnel_figure(found.funnel_adjusted),
        learning_figure(found.learning), running_figure(found.learning),
        series_figure(interrupted_series([2, 1, 3] * 8, [20] * 24, 12), CHANGES[0].what),
    ]
    for figure in figures:
        figure.canvas.draw()
        labels = [axes.get_ylabel() for axes in figure.axes]
        assert all(labels), "every axis names its measure"
