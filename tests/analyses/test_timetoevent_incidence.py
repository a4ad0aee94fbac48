"""Cumulative incidence with competing events, against R cmprsk and survival on open data sets.

Recorded by tests/reference/competing_risks.R: the help example of cmprsk's cuminc (Gray), and
mgus2, pbc and transplant from R's survival (Therneau); mgus2 also cut to whole years, so that
nearly every time is tied.
"""

from __future__ import annotations

import numpy as np
import pytest
from reference_runs import assert_same, recorded, run_r

from analyses.statistics.timetoevent.gray import gray_test
from analyses.statistics.timetoevent.incidence_curves import cumulative_incidence
from analyses.statistics.timetoevent.survival_curves import survival
from analyses.statistics.timetoevent.weighted_incidence import weighted_cumulative_incidence

R = recorded("competing_risks")
SETS, CLUSTERED = R["sets"], R["clustered"]


def _numbers(values: list[float | None]) -> np.ndarray:
    return np.array([np.nan if v is None else v for v in values], dtype=float)


def _same(found: object, expected: object, rel: float = 1e-8) -> None:
    np.testing.assert_allclose(np.asarray(found, dtype=float),
                               np.asarray(expected, dtype=float), rtol=rel, atol=1e-10)


@pytest.mark.parametrize("name", sorted(SETS))
class TestAgreesWithCmprsk:
    def test_estimates_variances_and_limits_of_every_cause(self, name: str) -> None:
        one = SETS[name]
        curves = cumulative_incidence(one["data"]["time"], one["data"]["event"])
        assert list(curves.causes) == [c["cause"] for c in one["causes"]]
        for cause in one["causes"]:
            table = curves.cause_table(cause["cause"])
            _same(table["time"], one["time"])
            _same(table["estimate"], cause["estimate"])
            _same(table["se"] ** 2, cause["variance"])
            inside = ((table["estimate"] > 0) & (table["estimate"] < 1)).to_numpy()
            _same(table["low"][inside], _numbers(cause["low"])[inside])
            _same(table["high"][inside], _numbers(cause["high"])[inside])

    def test_groups(self, name: str) -> None:
        one = SETS[name]
        data, there = one["data"], one["at_half"]
        curves = cumulative_incidence(data["time"], data["event"], group=data["group"])
        found, squares = [], []
        for label in there["name"]:
            group, cause = label.rsplit(" ", 1)
            found.append(curves.at(one["half"], group, cause=int(cause)).value)
            table = curves.cause_table(int(cause))
            mine = table[(table["group"] == group) & (table["time"] <= one["half"])]
            squares.append(mine["se"].iloc[-1] ** 2)
        _same(found, there["estimate"])
        _same(squares, there["variance"])

    def test_gray(self, name: str) -> None:
        one = SETS[name]
        data, gray = one["data"], one["gray"]
        for cause, statistic, p in zip(gray["cause"], gray["statistic"], gray["p"], strict=True):
            test = gray_test(data["time"], data["event"], data["group"], cause=cause)
            _same(test.statistic, statistic)
            assert test.df == gray["df"]
            assert test.p == pytest.approx(p, rel=1e-6, abs=1e-12)


@pytest.mark.parametrize("name", sorted(CLUSTERED))
def test_variance_by_patient_agrees_with_survfit(name: str) -> None:
    """R survfit's influence of each row, summed by patient: infinitesimal jackknife."""
    one = CLUSTERED[name]
    data = one["data"]
    curves = cumulative_incidence(data["time"], data["event"], cluster=data["cluster"])
    place = np.searchsorted(one["time"], curves.table["time"])
    for number, cause in enumerate(curves.causes):
        table = curves.cause_table(cause)
        _same(table["estimate"], np.array(one["estimate"])[place, number])
        _same(table["se"], np.array(one["se"])[place, number])


def test_ties_are_handled_exactly_where_lifelines_moves_them_at_random() -> None:
    """Two causes at one time share one risk set: 1/4 and 1/4 of four, in whatever order."""
    curves = cumulative_incidence([1, 1, 2, 2], [1, 2, 1, 2])
    assert curves.at(1).value == pytest.approx(1 / 4)
    assert curves.at(1, cause=2).value == pytest.approx(1 / 4)
    again = cumulative_incidence([2, 1, 2, 1], [2, 2, 1, 1])
    assert again.table.equals(curves.table)


def test_the_causes_and_no_event_share_out_the_whole() -> None:
    data = SETS["transplant"]["data"]
    table = cumulative_incidence(data["time"], data["event"]).table
    total = table[["estimate", "estimate_2", "estimate_3", "event_free"]].sum(axis=1)
    _same(total, np.ones(len(table)))


def test_without_competing_events_it_is_one_less_kaplan_meier() -> None:
    data = SETS["pbc"]["data"]
    event = (np.array(data["event"]) == 1).astype(int)
    table = cumulative_incidence(data["time"], event).table
    _same(table["estimate"], 1 - survival(data["time"], event).table["estimate"])


def test_censoring_deaths_would_overstate_the_event() -> None:
    """Why survival() refuses competing codes: 1 − Kaplan–Meier is never below Aalen–Johansen."""
    data = SETS["mgus2"]["data"]
    proper = cumulative_incidence(data["time"], data["event"]).table["estimate"]
    naive = 1 - survival(data["time"], data["event"], competing="censor").table["estimate"]
    assert (naive >= proper - 1e-12).all()
    assert naive.iloc[-1] > 1.5 * proper.iloc[-1]


def test_no_event_yet_gives_an_exact_upper_limit() -> None:
    """0/20, Clopper–Pearson 16.8 % (Newcombe 1998, Stat Med 17:857)."""
    estimate = cumulative_incidence([2.0] * 20, [0] * 20).at(1)
    assert (estimate.value, estimate.low) == (0, 0)
    assert estimate.high == pytest.approx(0.1684, abs=5e-5)


def test_the_dead_still_count_in_the_exact_limit() -> None:
    """Ten died first, nobody was lost: still 0/20 for the event of interest."""
    estimate = cumulative_incidence([1.0] * 10 + [5.0] * 10, [2] * 10 + [0] * 10).at(3)
    assert estimate.high == pytest.approx(0.1684, abs=5e-5)
    everybody = cumulative_incidence([1.0] * 20, [2] * 20).at(4)
    assert everybody.high == pytest.approx(0.1684, abs=5e-5)
    assert "everybody has had an event by then" in everybody.flags


def test_everybody_had_the_event() -> None:
    table = cumulative_incidence([1, 2, 3], [1, 1, 1]).table
    assert table["estimate"].iloc[-1] == pytest.approx(1)
    assert table["high"].iloc[-1] == 1
    assert table["low"].iloc[-1] == pytest.approx(table["low"].iloc[-2])


def test_limits_always_hold_the_estimate() -> None:
    rng = np.random.default_rng(11)
    for _ in range(50):
        n = int(rng.integers(1, 30))
        curves = cumulative_incidence(rng.integers(0, 8, n), rng.integers(0, 3, n))
        for cause in curves.causes:
            table = curves.cause_table(cause)
            assert (table["low"] <= table["estimate"] + 1e-12).all()
            assert (table["high"] >= table["estimate"] - 1e-12).all()
            assert table["low"].between(0, 1).all()
            assert table["high"].between(0, 1).all()


def test_past_the_last_follow_up_words_and_no_number() -> None:
    estimate = cumulative_incidence([1, 2, 5], [1, 2, 0], measure="years").at(6)
    assert estimate.value is None
    assert "nobody was followed so long: the last follow-up is at 5 years" in estimate.flags


def test_where_few_are_left_nothing_is_read_off() -> None:
    curves = cumulative_incidence(np.arange(1, 101), np.tile([0, 1], 50))
    estimate = curves.at(92)
    assert estimate.value is None and estimate.low is None and estimate.high is None
    assert "only 9 of 100 still followed at 92: not read off" in estimate.flags
    assert curves.at(91).value is not None  # ten of a hundred


def test_with_lesions_open_it_is_never_said_that_everybody_had_an_event() -> None:
    """Sixty lesions, 24 open at their last look, the last observation an event.

    Version 1: "100 %, everybody has had an event by then".
    """
    years = np.concatenate([np.linspace(0.1, 3.4, 35), np.linspace(0.5, 3.3, 24), [3.5]])
    event = np.concatenate([np.ones(35, int), np.zeros(24, int), [1]])
    patient = np.concatenate([np.arange(35), np.arange(24), [40]])
    for cluster in (None, patient):
        curves = cumulative_incidence(years, event, cluster=cluster, measure="years")
        assert curves.table["estimate"].iloc[-1] == 1  # the curve does jump there
        for time in (3.45, 3.5, 5, 50):
            found = curves.at(time)
            assert (found.value, found.low, found.high) == (None, None, None)
            assert not any("everybody" in flag for flag in found.flags)
        free = survival(years, event, cluster=cluster).at(5)
        assert free.value is None and "the curve has reached 0" not in free.flags
        weighted = weighted_cumulative_incidence(
            years, event, covariates=None, cluster=cluster, replicates=5).at(5)
        assert weighted.value is None and not any("everybody" in f for f in weighted.flags)


def test_with_nobody_lost_every_time_may_be_read() -> None:
    """Of 60, 58 had the event early: what happened to each is known until the two are lost."""
    curves = cumulative_incidence([1.0] * 58 + [6.0, 7.0], [1] * 58 + [0, 0])
    assert curves.at(5).value == pytest.approx(58 / 60)
    assert curves.at(6).value == pytest.approx(58 / 60) and curves.at(6.5).value is None
    everybody = cumulative_incidence([1.0] * 60, [1, 2] * 30).at(9)
    assert everybody.value == 0.5 and "everybody has had an event by then" in everybody.flags


def test_a_group_has_one_interval_alone_or_beside_others() -> None:
    """A group without a patient twice, in a series with some: version 1 gave it two intervals
    (by patient beside others, by row alone)."""
    rng = np.random.default_rng(4)
    years, event = rng.exponential(2, 80), rng.integers(0, 3, 80)
    group = np.repeat(["a", "b"], 40)
    patient = np.concatenate([np.arange(40), 100 + np.arange(40) // 2])
    both = cumulative_incidence(years, event, group=group, cluster=patient)
    kept = survival(years, (event > 0).astype(int), group=group, cluster=patient)
    for name in ("a", "b"):
        mine = group == name
        for beside, alone in (
                (both.at(1, name), cumulative_incidence(
                    years[mine], event[mine], cluster=None if name == "a" else patient[mine])),
                (kept.at(1, name), survival(
                    years[mine], (event[mine] > 0).astype(int),
                    cluster=None if name == "a" else patient[mine]))):
            found = alone.at(1)
            assert (beside.value, beside.low, beside.high) == pytest.approx(
                (found.value, found.low, found.high))
            assert beside.method == found.method
    arms = both.difference(1, "b", "a").arms
    assert [arm.low for arm in arms] == [both.at(1, "b").low, both.at(1, "a").low]


def test_one_person() -> None:
    assert cumulative_incidence([3], [2]).at(3).value == 0
    assert cumulative_incidence([3], [1]).at(3).value == 1


def test_grays_test_never_stands_without_its_difference() -> None:
    data = SETS["mgus2"]["data"]
    test = gray_test(data["time"], data["event"], data["group"], time=120, measure="months")
    curves = cumulative_incidence(data["time"], data["event"], group=data["group"])
    assert test.effects[0].value == pytest.approx(
        curves.at(120, "M").value - curves.at(120, "F").value)
    assert test.effects[0].low < test.effects[0].value < test.effects[0].high
    assert "Gray's test P = 0.27, 1 df" in test.sentence()
    # Not "56/753 (5.5 %)": with censoring the probability is not events over patients.
    assert test.effects[0].as_text().startswith("5.5 % against 7.4 %: −1.9 percentage points")
    assert test.table["observed"].tolist() == [59, 56]


def test_several_rows_a_patient_have_a_difference_but_no_test() -> None:
    data = SETS["transplant"]["data"]
    patient = np.arange(len(data["time"])) // 2
    test = gray_test(data["time"], data["event"], data["group"], cluster=patient, time=100)
    assert (test.statistic, test.p) == (None, None)
    assert test.effects[0].low < test.effects[0].value < test.effects[0].high
    assert "several rows a patient" in test.sentence()


def test_patients_in_both_groups_are_allowed_for() -> None:
    """Both eyes of everybody alike: the difference is known better than two strangers' is."""
    rng = np.random.default_rng(3)
    time, event = rng.exponential(size=60), rng.integers(0, 3, 60)
    twice = np.concatenate([time, time + 1e-4 * rng.random(60)])
    codes, side = np.tile(event, 2), np.repeat(["left", "right"], 60)
    paired = cumulative_incidence(twice, codes, group=side, cluster=np.tile(np.arange(60), 2))
    apart = cumulative_incidence(twice, codes, group=side)
    one, other = paired.difference(0.8, "right", "left"), apart.difference(0.8, "right", "left")
    assert one.high - one.low < 0.2 * (other.high - other.low)
    assert one.clusters == 60


def test_input_that_cannot_be_read() -> None:
    with pytest.raises(ValueError, match="There is no event code 3; the codes here are 1, 2"):
        cumulative_incidence([1, 2], [1, 2]).at(1, cause=3)
    with pytest.raises(ValueError, match="at least two groups"):
        gray_test([1, 2], [1, 2], ["a", "a"])
    with pytest.raises(ValueError, match="Nobody is followed"):
        cumulative_incidence([], [])
    with pytest.raises(ValueError, match="level"):
        cumulative_incidence([1], [1], level=95)


@pytest.mark.slow
def test_the_interval_covers() -> None:
    """4,000 samples of 120, two exponential causes, a third lost: 95 % within Monte Carlo error.

    True cumulative incidence of cause 1 at time t: h1/(h1 + h2) · (1 − exp(−(h1 + h2)t)).
    """
    rng = np.random.default_rng(20240229)
    replicates, n, h1, h2, t = 4000, 120, 0.10, 0.03, 2.0
    truth = h1 / (h1 + h2) * (1 - np.exp(-(h1 + h2) * t))
    covered = 0
    for _ in range(replicates):
        ends = rng.exponential(1 / (h1 + h2), n)
        cause = np.where(rng.random(n) < h1 / (h1 + h2), 1, 2)
        lost = rng.uniform(0, 6, n)
        estimate = cumulative_incidence(np.minimum(ends, lost),
                                        np.where(ends <= lost, cause, 0)).at(t)
        covered += estimate.low <= truth <= estimate.high
    share = covered / replicates
    assert share > 0.95 - 3 * np.sqrt(0.95 * 0.05 / replicates)
    assert share < 0.97


@pytest.mark.reference
def test_the_r_script_still_gives_the_recorded_values() -> None:
    assert_same(run_r("competing_risks"), R)
