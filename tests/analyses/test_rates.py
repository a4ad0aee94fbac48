"""Rates per person-time and their ratios, against R's poisson.test and survey."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference_runs import assert_same, recorded, run_r

from analyses.statistics.rates.rates import (
    clustered_rate,
    clustered_rate_ratio,
    incidence_rate,
    overdispersion,
)

VALUES = recorded("rates")


def limits(estimate):
    return estimate.low, estimate.high


def rate_ratio(events_1, time_1, events_2, time_2, *, level=0.95):
    """Of two arms in which nobody has more than one event, all in equal times."""
    arms = [(events, time, max(events, 1)) for events, time in (
        (events_1, time_1), (events_2, time_2))]
    events = [float(e > 0) for e, _, rows in arms for _ in range(rows)]
    times = [time / rows for _, time, rows in arms for _ in range(rows)]
    sides = [place for place, (_, _, rows) in enumerate(arms) for _ in range(rows)]
    return clustered_rate_ratio(events, times, sides, range(len(sides)), reference=1, level=level)


def test_kim_2014_haemorrhages():
    """Kim 2014, Neurology, PMC4141996: 141 in 6,074 patient-years, printed 2.3 (2.0-2.7)."""
    found = incidence_rate(141, 6074)
    assert tuple(round(x, 3) for x in limits(found)) == (1.954, 2.738)
    assert found.as_text() == "141 in 6,074 patient-years (2.3 per 100 patient-years, 2.0–2.7)"


@pytest.mark.parametrize("row", VALUES["single"])
def test_garwood_agrees_with_poisson_test(row):
    found = incidence_rate(row["events"], row["time"], per=1, level=row["level"])
    assert limits(found) == pytest.approx(row["limits"], rel=1e-8, abs=1e-12)


@pytest.mark.parametrize("row", VALUES["two"])
def test_rate_ratio_agrees_with_poisson_test(row):
    found = rate_ratio(*row["counts"], level=row["level"])
    expected = [math.inf if x in (None, "Inf") else x for x in row["limits"]]
    assert limits(found) == pytest.approx(expected, rel=1e-8, abs=1e-12)


def test_no_events_leave_an_upper_bound():
    found = incidence_rate(0, 412)
    assert found.low == 0 and found.high == pytest.approx(-math.log(0.025) / 4.12)


def test_no_person_time_is_an_answer_but_events_in_it_are_not():
    assert incidence_rate(0, 0).flags == ("nothing-counted",)
    with pytest.raises(ValueError, match="no person-time"):
        incidence_rate(2, 0)


@pytest.mark.parametrize(("events", "time"), [
    (-1, 5), (1.5, 5), (1, -5), (1, float("nan")), (None, 5), (1, None), (1, math.inf),
])
def test_input_that_cannot_be_is_refused(events, time):
    with pytest.raises(ValueError, match="wanted"):
        incidence_rate(events, time)


def test_a_ratio_without_events_in_an_arm():
    none_second = rate_ratio(3, 10, 0, 20)
    assert none_second.value == none_second.high == math.inf and none_second.low > 0
    assert "unbounded" in none_second.flags and none_second.as_record()["value"] is None
    none_first = rate_ratio(0, 10, 4, 20)
    assert none_first.value == none_first.low == 0 and none_first.high > 1
    neither = rate_ratio(0, 10, 0, 20)
    assert neither.value is None and neither.flags == ("no-events",)
    with pytest.raises(ValueError, match="time in both"):
        rate_ratio(0, 0, 1, 20)


@pytest.mark.parametrize("data", VALUES["data"], ids=lambda d: d["name"])
def test_clustered_rates_agree_with_r_survey(data):
    """Robust variance of the rate from svyratio; the widened Garwood limits by definition."""
    found = clustered_rate(data["d"], data["t"], data["id"], per=1)
    assert limits(found) == pytest.approx(data["rate_limits"], rel=1e-8)
    events = np.bincount(data["id"], weights=data["d"])[1:]
    time = np.bincount(data["id"], weights=np.broadcast_to(data["t"], len(data["id"])))[1:]
    assert overdispersion(events, time) == pytest.approx(data["robust_over_poisson"], rel=1e-8)
    assert found.flags == ("widened-for-repeats",)


@pytest.mark.parametrize("data", VALUES["data"], ids=lambda d: d["name"])
def test_clustered_rate_ratios_agree_with_r_survey(data):
    """Robust variance of the log ratio from svyglm (quasi-Poisson); exact limits widened by it."""
    found = clustered_rate_ratio(
        data["d"], data["t"], data["arm"], data["id"], reference=data["reference"])
    assert found.value == pytest.approx(data["ratio"], rel=1e-8)
    assert limits(found) == pytest.approx(data["ratio_limits"], rel=1e-6)


def test_where_nobody_has_two_events_the_rate_is_garwood():
    events, years = [1, 0, 0, 1, 0], [0.5, 3.0, 4.0, 0.2, 2.3]
    found = clustered_rate(events, years, "abcde")
    assert limits(found) == limits(incidence_rate(2, 10.0)) and found.flags == ()
    assert (found.clusters, found.n) == (5, 5)


def test_a_patient_who_bleeds_twice_widens_the_interval():
    events, years = [2, 0, 0, 1, 0], [2.0] * 5
    found, plain = clustered_rate(events, years, "abcde"), incidence_rate(3, 10.0)
    assert found.value == plain.value and found.low < plain.low and found.high > plain.high


def test_rows_of_one_patient_are_added_up_first():
    split = clustered_rate([1, 1, 0, 1], [1, 1, 2, 2], ["a", "a", "b", "c"])
    whole = clustered_rate([2, 0, 1], [2, 2, 2], ["a", "b", "c"])
    assert limits(split) == pytest.approx(limits(whole))


def test_one_patient_with_all_the_events_gets_words():
    found = clustered_rate([2, 1], [1.0, 2.0], ["a", "a"])
    assert limits(found) == (None, None) and found.flags == ("one-patient",)
    assert clustered_rate([1], [3.0], ["a"]).low is not None


def test_keys_and_missing_rows():
    found = clustered_rate([2, 0], [1.0, 2.0], ["a", "b"], keys=["AV-001", "AV-002"])
    assert found.rows()["event"].tolist() == [True, False]
    assert clustered_rate([], [], []).value is None
    for wrong in (([1, None], [1, 1]), ([1, -1], [1, 1]), ([1, 0.5], [1, 1]), ([1, 0], [1])):
        with pytest.raises(ValueError, match="Row 2|whole|length"):
            clustered_rate(*wrong, ["a", "b"])


def test_two_arms_are_wanted_for_a_ratio():
    with pytest.raises(ValueError, match="two are wanted"):
        clustered_rate_ratio([1, 0], [1, 1], ["x", "x"], ["a", "b"], reference="x")


@given(st.lists(st.tuples(st.integers(0, 4), st.floats(0.1, 9), st.integers(0, 6)), min_size=1,
                max_size=40))
def test_the_clustered_interval_is_never_narrower(rows):
    found = clustered_rate(*([row[k] for row in rows] for k in range(3)))
    plain = incidence_rate(found.events, found.denominator)
    if found.low is not None:
        assert found.low <= plain.low + 1e-9 and found.high >= plain.high - 1e-9
        assert found.low <= found.value <= found.high


@pytest.mark.reference
def test_r_still_gives_the_recorded_rates():
    assert_same(run_r("rates"), VALUES)
