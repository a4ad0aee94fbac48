"""Control charts against textbooks, handbooks and base R."""

from __future__ import annotations

import numpy as np
import pytest
from reference_runs import assert_same, recorded, run_r

from analyses.statistics.control_charts.attribute_charts import (
    dispersion,
    laney_p_chart,
    p_chart,
    u_chart,
)
from analyses.statistics.control_charts.ewma import event_ewma_chart, ewma_chart
from analyses.statistics.control_charts.rare_event_charts import (
    g_chart,
    gaps_between_events,
    geometric_limits,
    t_chart,
)
from analyses.statistics.control_charts.run_charts import (
    fewest_crossings,
    longest_run_limit,
    run_chart,
)

R = recorded("monitoring_charts")

# Montgomery, Statistical Quality Control, exercise 6-1 (data from memory; their sum, 117 in 20
# samples of 100, and the limits are the printed ones).
EXERCISE = [7, 4, 1, 3, 6, 8, 10, 5, 2, 7, 6, 15, 0, 9, 5, 1, 4, 5, 7, 12]
# Montgomery's frozen orange juice example (cans in samples of 50); the NIST/SEMATECH e-Handbook
# 6.3.3.2 prints the same thirty proportions as chips on wafers, centre 0.2313. From memory.
CANS = [12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15,
        9, 12, 7, 13, 9, 6]


def test_p_chart_gives_montgomerys_limits_for_exercise_6_1() -> None:
    chart = p_chart(EXERCISE, [100] * 20)
    first = chart.table.iloc[0]
    assert first["centre"] == pytest.approx(0.0585)
    assert first["upper"] == pytest.approx(0.1289, abs=5e-5)
    assert first["lower"] == 0
    assert chart.signals["label"].tolist() == [12]


def test_p_chart_gives_the_handbooks_limits_and_signals() -> None:
    chart = p_chart(CANS, [50] * 30)
    first = chart.table.iloc[0]
    assert first["centre"] == pytest.approx(0.2313, abs=5e-5)
    assert first["lower"] == pytest.approx(0.0524, abs=5e-5)
    assert first["upper"] == pytest.approx(0.4102, abs=5e-5)
    assert chart.signals["label"].tolist() == [15, 23]  # as Montgomery finds


def test_limits_without_the_two_samples_are_montgomerys_revised_ones() -> None:
    kept = [k not in (15, 23) for k in range(1, 31)]
    first = p_chart(CANS, [50] * 30, baseline=kept).table.iloc[0]
    assert first["centre"] == pytest.approx(0.2150, abs=5e-5)  # printed, from memory
    assert first["upper"] == pytest.approx(0.3893, abs=1e-4)
    assert first["lower"] == pytest.approx(0.0407, abs=1e-4)


def test_u_chart_gives_the_handbooks_limits_for_defects_on_wafers() -> None:
    # NIST/SEMATECH e-Handbook 6.3.3.1: 400 defects on 25 wafers, centre 16, limits 28 and 4
    # (a c chart: every wafer one unit). From memory.
    defects = [16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20,
               11, 19, 16, 31, 13]
    table = u_chart(defects, [1] * 25).table
    assert table["centre"].iloc[0] == 16
    assert (table["lower"].iloc[0], table["upper"].iloc[0]) == (4, 28)
    assert table.loc[table["signal"], "value"].tolist() == [31]


def test_limits_follow_each_periods_own_size() -> None:
    table = p_chart([2, 2, 2], [10, 40, 160]).table
    width = table["upper"] - table["centre"]
    assert width.iloc[0] == pytest.approx(2 * width.iloc[1]) == pytest.approx(4 * width.iloc[2])


def test_overdispersion_and_laneys_factor_agree_with_base_r() -> None:
    spread = dispersion(EXERCISE, [100] * 20)
    assert spread.sigma_z == pytest.approx(R["laney"]["sigma_z"], rel=1e-12)
    assert spread.statistic == pytest.approx(R["laney"]["statistic"], rel=1e-12)
    assert spread.p == pytest.approx(R["laney"]["p"], rel=1e-9)
    plain, laney = p_chart(EXERCISE, [100] * 20), laney_p_chart(EXERCISE, [100] * 20)
    ratio = (laney.table["upper"] - 0.0585) / (plain.table["upper"] - 0.0585)
    assert ratio.iloc[0] == pytest.approx(spread.sigma_z)
    assert "Laney" in plain.notes[0] and not laney.notes


def test_geometric_limits_agree_with_base_r() -> None:
    for case in R["geometric"]:
        lower, upper = geometric_limits(case["mean"])
        assert upper == case["upper"]
        assert lower == case["lower"] or (np.isnan(lower) and case["lower"] == 0)


def test_g_chart_three_sigma_limits_follow_benneyan() -> None:
    # Benneyan 2001, Health Care Manag Sci 4:305: mean ± 3·sqrt(mean·(mean + 1)).
    row = g_chart([3, 10, 0, 22, 5, 40], limits="three-sigma").table.iloc[0]
    mean = 80 / 6
    assert row["upper"] == pytest.approx(mean + 3 * (mean * (mean + 1)) ** 0.5)
    assert row["lower"] == 0


def test_g_chart_says_when_it_cannot_show_a_deterioration() -> None:
    assert "cannot show a deterioration" in " ".join(g_chart([3, 10, 0, 22, 5, 40]).notes)
    assert g_chart([900, 1100, 1000, 0, 1200]).signals["value"].tolist() == [0]


def test_gaps_count_event_free_sessions_and_leave_the_last_open() -> None:
    gaps = gaps_between_events([0, 0, 1, 1, 0, 1, 0, 0])
    assert gaps.between.tolist() == [2, 0, 1]
    assert gaps.since_last == 2


def test_t_chart_limits_are_exponential_quantiles() -> None:
    row = t_chart([30, 50, 10, 70]).table.iloc[0]
    assert 1 - np.exp(-row["lower"] / 40) == pytest.approx(0.00135)
    assert np.exp(-row["upper"] / 40) == pytest.approx(0.00135)


def test_ewma_gives_the_handbooks_limits_and_last_value() -> None:
    # NIST/SEMATECH e-Handbook 6.3.2.4: weight 0.3, centre 50, s 2.0539; limits 52.5884 and
    # 47.4115; the twentieth average 51.99. From memory.
    values = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3,
              47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    last = ewma_chart(values, centre=50, sd=2.0539, weight=0.3).table.iloc[-1]
    assert last["upper"] == pytest.approx(52.5884, abs=1e-4)
    assert last["lower"] == pytest.approx(47.4115, abs=1e-4)
    assert last["value"] == pytest.approx(51.99, abs=5e-3)


def test_event_ewma_variance_is_that_of_the_weighted_sum() -> None:
    p = np.array([0.05, 0.2, 0.1, 0.3])
    table = event_ewma_chart([0, 1, 0, 0], p, weight=0.1, width=2).table
    weights = 0.1 * 0.9 ** np.arange(4)[::-1]
    assert table["upper"].iloc[-1] == pytest.approx(2 * np.sqrt(np.sum(weights**2 * p * (1 - p))))
    assert table["value"].iloc[-1] == pytest.approx(weights @ (np.array([0, 1, 0, 0]) - p))


def test_run_rules_use_the_published_critical_values() -> None:
    # Longest run: published table of log2(n) + 3 rounded: 10 6, 22 7, 23 8, 45 8, 46 9, 91 10.
    # Crossings: for 13 points fewer than three, or a run of at least seven, is not chance
    # (worked example by the authors of the rules, Anhøj and Wentzel-Larsen 2018).
    assert [longest_run_limit(n) for n in (10, 22, 23, 45, 46, 91)] == [6, 7, 8, 8, 9, 10]
    assert (fewest_crossings(13), longest_run_limit(13)) == (3, 7)
    assert [fewest_crossings(n) for n in (10, 13, 24, 50)] == R["crossings"]


def test_run_chart_marks_shifts_and_trends() -> None:
    chart = run_chart([5, 3, 6, 4, 9, 9, 9, 8, 9, 9, 2, 5, 4, 6, 2, 7, 1])
    assert chart.signals["label"].tolist() == [5, 6, 7, 8, 9, 10]
    assert all("shift: 6 points" in reason for reason in chart.signals["reason"])
    rising = run_chart([5, 1, 2, 3, 4, 5, 1, 5, 1, 5, 1])
    assert rising.signals["label"].tolist() == [2, 3, 4, 5, 6]


def test_a_run_chart_of_mostly_zeros_is_not_judged() -> None:
    chart = run_chart([0, 10, 0, 0, 20, 0, 0, 0, 5, 8, 9, 12, 6, 7, 0, 0, 0, 0])
    assert chart.signals.empty and "rules are not used" in chart.notes[0]


def test_a_shift_above_an_earlier_median_is_still_seen() -> None:
    chart = run_chart([3, 1, 2, 4, 2, 1, 3] + [8] * 6, baseline=[True] * 7 + [False] * 6)
    assert set(range(8, 14)) <= set(chart.signals["label"])


def test_equal_neighbours_neither_make_nor_break_a_trend() -> None:
    chart = run_chart([9, 1, 2, 2, 3, 4, 5, 0, 9, 0, 9, 0])
    assert "trend: 5 points" in chart.table["reason"].iloc[4]


def test_stages_get_limits_of_their_own() -> None:
    table = p_chart([5, 5, 1, 1], [50] * 4, stage=["before", "before", "after", "after"]).table
    assert table["centre"].tolist() == [0.1, 0.1, 0.02, 0.02]
    with pytest.raises(ValueError, match="comes back"):
        p_chart([1, 1, 1], [5] * 3, stage=["a", "b", "a"])


@pytest.mark.parametrize(("events", "trials", "said"), [
    ([3], [2], "3 of 2"), ([1.5], [4], "whole numbers"), ([1, 1], [4], "equally long"),
    ([1], [0], "empty periods"), ([float("nan")], [4], "blank"),
])
def test_bad_counts_are_told_in_words(events: list, trials: list, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        p_chart(events, trials)


@pytest.mark.reference
def test_the_r_script_still_gives_these_values() -> None:
    assert_same(run_r("monitoring_charts"), R)
