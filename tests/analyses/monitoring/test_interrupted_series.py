"""Segmented regression of counts against R's quasi-binomial glm, and what it refuses."""

from __future__ import annotations

from datetime import date

import coverage_series
import numpy as np
import pandas as pd
import pytest
from monitoring_procedures import procedures
from reference_runs import assert_same, recorded, run_r
from truth_tables import ceiling_of

from analyses.monitoring.around_changes import around_each, series_of_change
from analyses.monitoring.service import quality_analysis
from analyses.statistics.control_charts.interrupted_series import (
    SeriesTooShort,
    design,
    interrupted_series,
    segmented,
)
from analyses.statistics.control_charts.stages import Change
from registry.schema import Sessions

# Seatbelts, Harvey and Durbin 1986, as written out by the R script.
R = recorded("monitoring_series")


def test_the_regression_agrees_with_r() -> None:
    x = design(len(R["events"]), R["first_after"])
    fit = segmented(x, np.array(R["events"], float), np.array(R["trials"], float))
    assert fit.coefficients == pytest.approx(np.array(R["coefficients"]), rel=1e-7)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(np.array(R["se"]), rel=1e-6)
    assert fit.dispersion == pytest.approx(R["dispersion"], rel=1e-7)


def test_level_and_slope_are_read_at_the_change() -> None:
    time = np.arange(40)
    line = -2 - 0.02 * time + np.where(time >= 20, 0.8 + 0.05 * (time - 20), 0)
    trials = np.full(40, 100_000)
    series = interrupted_series(np.round(trials / (1 + np.exp(-line))), trials, 20)
    assert np.log(series.level.value) == pytest.approx(0.8, abs=0.01)
    assert np.log(series.slope.value) == pytest.approx(0.05, abs=0.001)
    assert np.log(series.effect_at_end.value) == pytest.approx(0.8 + 0.05 * 19, abs=0.01)
    assert series.level.low < series.level.value < series.level.high
    assert series.fit.dispersion == 1
    carried = 100 / (1 + np.exp(2 + 0.02 * 39))
    assert series.table["counterfactual"].iloc[-1] == pytest.approx(carried, abs=0.05)


def test_a_short_series_is_said_and_not_fitted() -> None:
    some = np.tile([1, 2], 20)
    with pytest.raises(SeriesTooShort, match="8 months before the change and 8 after it"):
        interrupted_series(some[:16], [10] * 16, 8)
    with pytest.raises(SeriesTooShort, match="the smallest with 9 sessions: at least 12 of 10"):
        interrupted_series(some[:24], [9] + [10] * 23, 12, unit="session")
    with pytest.raises(SeriesTooShort, match="7 events in 240 trials: at least 8"):
        interrupted_series([1] * 7 + [0] * 17, [10] * 24, 12)
    with pytest.raises(SeriesTooShort, match="events in fewer than two"):
        interrupted_series([2] * 12 + [0] * 12, [10] * 24, 12)


def test_below_the_floor_the_difference_from_the_counts_stands_instead() -> None:
    rows = procedures(300, seed=2, worse_from=200)
    found = quality_analysis(rows, changes=(Change(date(2021, 6, 1), "Reflux limit", True),))
    assert found.series is None
    assert any("so no line is fitted" in problem for problem in found.problems)
    difference = next(e for e in found.estimates if e.id == "monitoring.before_after")
    since = found.sessions["session_date"].dt.date >= date(2021, 6, 1)
    shares = found.sessions.groupby(since)["complication"].mean()
    assert difference.value == pytest.approx(shares[True] - shares[False])
    assert "since “Reflux limit” less before" in found.sections["Before and after"][0]


def test_at_the_floor_a_change_of_level_is_rarely_found_where_there_is_none() -> None:
    """A normal line through percentages at 8 and 8 periods: 10.9 %."""
    found = coverage_series.cell(12, 10, 0.15, 0.3, 400)
    assert found.series > 0.9 and found.rejected <= ceiling_of(0.06, 400)


@pytest.mark.slow
def test_the_type_i_error_of_the_level_in_every_cell(capsys: pytest.CaptureFixture[str]) -> None:
    cells = coverage_series.grid(500)
    with capsys.disabled():
        print(f"\n{coverage_series.as_markdown(cells)}")
    over = [c for c in cells if c.rejected > ceiling_of(0.06, 500)]
    assert not over, coverage_series.as_markdown(over)


@pytest.mark.reference
def test_the_r_script_still_gives_these_values() -> None:
    assert_same(run_r("monitoring_series"), R, rel=1e-6)


def test_time_goes_on_through_a_period_that_is_left_out() -> None:
    _, time, after, since = design(5, 2, 1).T
    assert time.tolist() == [0, 1, 3, 4, 5]
    assert after.tolist() == [0, 0, 1, 1, 1] and since.tolist() == [0, 0, 0, 1, 2]


@pytest.mark.parametrize(("day", "left_out"), [(date(2018, 7, 1), 0), (date(2018, 7, 16), 1)])
def test_the_month_that_a_change_cuts_is_neither_before_nor_after(
    day: date, left_out: int,
) -> None:
    days = pd.date_range("2017-01-01", "2019-12-31", freq="2D")
    sessions = pd.DataFrame({Sessions.session_date: days,
                             "complication": np.arange(len(days)) % 5 == 0})
    change = Change(day, "a slower injection", new_stage=True)
    problems: list[str] = []
    series, _ = series_of_change(around_each(sessions, [change]), problems)
    assert series is not None and not problems
    assert len(series.table) == 36 - left_out
    assert ("2018-07" in set(series.table["label"])) is (left_out == 0)
    assert series.table["after"].sum() == 18 - left_out
    said = [note for note in series.notes if "neither before nor after" in note]
    assert len(said) == left_out
    in_july = int(((days >= "2018-07-01") & (days < "2018-08-01")).sum())
    assert all(note.startswith(f"The month of the change (2018-07), with {in_july} sessions")
               for note in said)
