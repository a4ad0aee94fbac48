"""Segmented regression against R nlme and sandwich, and what it refuses."""

from __future__ import annotations

import numpy as np
import pytest
from reference_runs import assert_same, recorded, run_r

from analyses.statistics.control_charts.interrupted_series import (
    SeriesTooShort,
    default_lag,
    design,
    interrupted_series,
)
from analyses.statistics.control_charts.segmented import ar1, newey_west

# Seatbelts, Harvey and Durbin 1986, as written out by the R script.
R = recorded("monitoring_series")
X = design(len(R["values"]), R["first_after"])
Y = np.array(R["values"], float)


def test_ar1_errors_agree_with_nlme() -> None:
    fit, theirs = ar1(X, Y), R["gls"]
    assert fit.correlation == pytest.approx(theirs["correlation"], rel=1e-4)
    assert fit.coefficients == pytest.approx(np.array(theirs["coefficients"]), rel=1e-4)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(np.array(theirs["se"]), rel=1e-4)


def test_newey_west_agrees_with_sandwich() -> None:
    theirs = R["newey_west"]
    assert default_lag(Y.size) == theirs["lag"]
    for lag, errors in ((theirs["lag"], theirs["se"]), (12, theirs["se_lag_12"])):
        fit = newey_west(X, Y, lag)
        assert fit.coefficients == pytest.approx(np.array(theirs["coefficients"]), rel=1e-9)
        assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(np.array(errors), rel=1e-9)


def test_level_and_slope_are_read_at_the_change() -> None:
    time = np.arange(40)
    line = 10 - 0.1 * time + np.where(time >= 20, -4 + 0.3 * (time - 20), 0)
    noise = np.random.default_rng(0).normal(0, 0.01, 40)
    series = interrupted_series(line + noise, 20, measure="percentage points")
    assert series.level.value == pytest.approx(-4, abs=0.05)
    assert series.slope.value == pytest.approx(0.3, abs=0.005)
    assert series.effect_at_end.value == pytest.approx(-4 + 0.3 * 19, abs=0.05)
    assert series.level.low < series.level.value < series.level.high
    assert series.table["counterfactual"].iloc[-1] == pytest.approx(10 - 0.1 * 39, abs=0.05)


def test_the_interval_covers_a_change_that_is_not_there() -> None:
    rng, hits = np.random.default_rng(5), 0
    for _ in range(200):
        noise = rng.normal(0, 1, 60)
        for place in range(1, 60):
            noise[place] += 0.3 * noise[place - 1]
        level = interrupted_series(noise, 30, measure="points").level
        hits += level.low <= 0 <= level.high
    assert hits >= 178


def test_a_short_series_is_said_and_not_fitted() -> None:
    with pytest.raises(SeriesTooShort, match="7 months before the change and 13 after"):
        interrupted_series(range(20), 7, measure="percentage points")
    with pytest.raises(SeriesTooShort, match="does not vary"):
        interrupted_series([0] * 40, 20, measure="percentage points")


@pytest.mark.reference
def test_the_r_script_still_gives_these_values() -> None:
    assert_same(run_r("monitoring_series"), R, rel=1e-6)
