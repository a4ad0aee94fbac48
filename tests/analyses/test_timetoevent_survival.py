"""Kaplan–Meier and what follows from it, against R survival on open data sets.

Recorded by tests/reference/timetoevent.R: lung, veteran, ovarian, pbc, diabetic, colon and heart
from R's survival package (Therneau), gehan from MASS (Venables and Ripley), and four made-up
times whose curve stands level at one half.
"""

from __future__ import annotations

import numpy as np
import pytest
from reference_runs import assert_same, recorded, run_r

from analyses.statistics.timetoevent.log_rank import log_rank_test
from analyses.statistics.timetoevent.survival_curves import follow_up, survival
from analyses.words import flags

R = recorded("timetoevent")
PLAIN, CLUSTERED = R["plain"], R["clustered"]


def _numbers(values: list[float | None]) -> np.ndarray:
    return np.array([np.nan if v is None else v for v in values], dtype=float)


def _same(found: object, expected: list[float | None] | float, rel: float = 1e-8) -> None:
    np.testing.assert_allclose(
        np.asarray(found, dtype=float), _numbers(np.atleast_1d(expected).tolist()),
        rtol=rel, atol=1e-10,
    )


def _same_curve(table, expected: dict) -> None:
    """R gives no limits where the curve stands at 1 or 0; ours are checked elsewhere."""
    for column in ("time", "estimate", "se", "at_risk", "events", "censored"):
        if column != "se":
            _same(table[column], expected[column])
    inside = (table["estimate"] > 0) & (table["estimate"] < 1)
    assert inside.any()
    for column in ("se", "low", "high"):
        _same(table[column][inside], list(np.array(expected[column], dtype=object)[inside]))


@pytest.mark.parametrize("name", sorted(PLAIN))
class TestAgreesWithR:
    def test_curve_and_log_log_limits(self, name: str) -> None:
        one = PLAIN[name]
        curves = survival(one["data"]["time"], one["data"]["status"], level=one["level"])
        _same_curve(curves.table, one["curve"])

    def test_reverse_kaplan_meier(self, name: str) -> None:
        one = PLAIN[name]
        curves = follow_up(one["data"]["time"], one["data"]["status"], level=one["level"])
        if sum(one["data"]["status"]) < len(one["data"]["status"]):
            _same_curve(curves.table, one["follow_up_curve"])
        _same_median(curves.median(), one["follow_up"], 0)

    def test_medians_and_restricted_means(self, name: str) -> None:
        one = PLAIN[name]
        data = one["data"]
        curves = survival(data["time"], data["status"], level=one["level"])
        _same_median(curves.median(), one["all"], None)
        _same([*curves.curve().restricted_mean(one["tau"])],
              [one["all"]["rmean"], one["all"]["rmean_se"]])
        by = survival(data["time"], data["status"], group=data["group"], level=one["level"])
        assert list(by.groups) == one["groups"]
        for place, group in enumerate(by.groups):
            _same_median(by.median(group), one["by_group"], place)
            _same([*by.curve(group).restricted_mean(one["tau"])],
                  [one["by_group"]["rmean"][place], one["by_group"]["rmean_se"][place]])

    def test_log_rank(self, name: str) -> None:
        one = PLAIN[name]
        test = log_rank_test(one["data"]["time"], one["data"]["status"], one["data"]["group"])
        _same([test.statistic, test.p], [one["log_rank"]["statistic"], one["log_rank"]["p"]])
        _same(test.table["observed"], one["log_rank"]["observed"])
        _same(test.table["expected"], one["log_rank"]["expected"])


def _same_median(estimate, expected: dict, place: int | None) -> None:
    """R writes NA for a limit that is not reached; ours is infinite, or absent with the value."""
    def of(key: str) -> float | None:
        value = expected[key]
        return value[place] if isinstance(value, list) else value

    assert estimate.value == (None if of("median") is None else pytest.approx(of("median")))
    if of("low") is not None:
        assert estimate.low == pytest.approx(of("low"))
        assert estimate.high == (np.inf if of("high") is None else pytest.approx(of("high")))
    else:
        assert estimate.low is None


@pytest.mark.parametrize("name", sorted(CLUSTERED))
class TestPatientsWhoRepeat:
    """R survfit(cluster =, robust = TRUE); log-rank: robust score of coxph, Breslow's ties."""

    def test_curve(self, name: str) -> None:
        one = CLUSTERED[name]
        data = one["data"]
        curves = survival(data["time"], data["status"], cluster=data["id"])
        _same_curve(curves.table, one["curve"])
        _same_median(curves.median(), dict(zip(("median", "low", "high"), one["median"],
                                               strict=True)), None)

    def test_restricted_mean_and_its_difference(self, name: str) -> None:
        """Standard errors from R's residuals(type = "rmst") summed by patient, over groups too."""
        one = CLUSTERED[name]
        data = one["data"]
        curves = survival(data["time"], data["status"], cluster=data["id"])
        _same(curves.curve().restricted_mean(one["tau"])[1], one["rmean_se"])
        test = log_rank_test(data["time"], data["status"], data["group"], cluster=data["id"],
                             tau=one["tau"])
        width = (test.effects[0].high - test.effects[0].low) / 2 / 1.959963984540054
        _same(width, one["difference_se"])

    def test_log_rank(self, name: str) -> None:
        one = CLUSTERED[name]
        data = one["data"]
        test = log_rank_test(data["time"], data["status"], data["group"], cluster=data["id"])
        _same(test.statistic, one["log_rank"])


def test_late_entry_agrees_with_r() -> None:
    """heart (Stanford): waiting for and after transplantation; log-rank as coxph's exact score."""
    data = R["entry"]["data"]
    curves = survival(data["time"], data["status"], entry=data["entry"])
    table, expected = curves.table, R["entry"]["curve"]
    # R also lists the times at which rows only enter; compare at the times where rows leave.
    place = np.searchsorted(expected["time"], table["time"])
    inside = ((table["estimate"] < 1) & (table["estimate"] > 0)).to_numpy()
    for column in ("time", "estimate", "at_risk", "events"):
        _same(table[column], list(_numbers(expected[column])[place]))
    for column in ("se", "low", "high"):
        _same(table[column][inside], list(_numbers(expected[column])[place][inside]))
    test = log_rank_test(data["time"], data["status"], data["group"], entry=data["entry"])
    _same(test.statistic, R["entry"]["log_rank"], rel=1e-7)


def test_agrees_with_lifelines_where_lifelines_is_right() -> None:
    """A second library on tied data: estimates, log–log limits, log-rank (lifelines 0.30)."""
    from lifelines import KaplanMeierFitter
    from lifelines.statistics import multivariate_logrank_test

    data = PLAIN["veteran"]["data"]
    fitted = KaplanMeierFitter().fit(data["time"], data["status"])
    table = survival(data["time"], data["status"]).table
    _same(fitted.survival_function_["KM_estimate"].iloc[1:], table["estimate"].tolist())
    limits = fitted.confidence_interval_.iloc[1:-1]
    _same(limits.iloc[:, 0], table["low"].tolist()[:-1])
    test = log_rank_test(data["time"], data["status"], data["group"])
    theirs = multivariate_logrank_test(data["time"], data["group"], data["status"])
    _same(test.statistic, theirs.test_statistic)


def test_freireich_remission_times() -> None:
    """Freireich 1963: survival on 6-MP at 10 weeks 0.753, SE 0.0963 as printed by Klein and
    Moeschberger 2003, table 4.1 (from memory); medians 23 and 8 weeks (Gehan 1965)."""
    data = PLAIN["gehan"]["data"]
    curves = survival(data["time"], data["status"], group=data["group"], measure="weeks")
    assert curves.at(10, "6-MP").value == pytest.approx(0.753, abs=5e-4)
    table = curves.table
    row = table[(table["group"] == "6-MP") & (table["time"] == 10)].iloc[0]
    assert row["se"] == pytest.approx(0.0963, abs=5e-5)
    assert curves.median("6-MP").value == 23
    assert curves.median("control").value == 8


def test_before_the_first_event_the_lower_limit_is_exact() -> None:
    """20 followed to the end without an event: 0/20, Clopper–Pearson 16.8 % (Newcombe 1998)."""
    estimate = survival([2.0] * 20, [0] * 20).at(1)
    assert estimate.value == 1
    assert 1 - estimate.low == pytest.approx(0.1684, abs=5e-5)
    assert estimate.high == 1
    assert any("no event yet" in flag for flag in estimate.flags)


def test_before_the_first_event_only_those_followed_so_far_count() -> None:
    curves = survival([1.0] * 10 + [3.0] * 10, [0] * 20)
    assert curves.at(2).low == pytest.approx(0.025 ** (1 / 10))
    by_patient = survival([3.0] * 10, [0] * 10, cluster=[1, 1, 2, 2, 3, 3, 4, 4, 5, 5])
    assert by_patient.at(2).low == pytest.approx(0.025 ** (1 / 5))


def test_where_everybody_had_the_event() -> None:
    curves = survival([1, 2, 3, 4], [1, 1, 1, 1])
    last = curves.table.iloc[-1]
    assert (last["estimate"], last["low"]) == (0, 0)
    assert last["high"] == curves.table.iloc[-2]["high"]
    beyond = curves.at(9)
    assert beyond.value == 0
    assert "the curve has reached 0" in beyond.flags


def test_past_the_last_follow_up_words_and_no_number() -> None:
    estimate = survival([1, 2, 5], [1, 0, 0], measure="years").at(6)
    assert (estimate.value, estimate.low, estimate.high) == (None, None, None)
    assert "nobody was followed so long: the last follow-up is at 5 years" in estimate.flags
    assert survival([1, 2, 5], [1, 0, 0]).restricted_mean(6).value is None


def test_a_median_that_is_not_reached_says_so() -> None:
    estimate = survival([1, 2, 3, 4, 5], [1, 0, 0, 0, 0]).median()
    assert estimate.value is None
    assert any("not reached" in flag for flag in estimate.flags)
    nobody = survival([1, 2], [0, 0]).median()
    assert (nobody.value, nobody.low) == (None, None)


def test_an_upper_limit_that_is_not_reached_is_unbounded() -> None:
    data = PLAIN["ovarian"]["data"]
    estimate = survival(data["time"], data["status"]).median()
    assert estimate.high == np.inf
    assert flags.UNBOUNDED in estimate.flags


def test_one_person() -> None:
    assert survival([5], [0]).at(5).value == 1
    assert survival([5], [1]).at(5).value == 0
    assert survival([5], [1]).at(5).high == pytest.approx(0.975)


def test_an_event_at_time_zero_counts_at_once() -> None:
    assert survival([0, 0, 2, 3], [1, 0, 0, 0]).at(0).value == pytest.approx(0.75)


def test_times_that_differ_by_rounding_are_one_time() -> None:
    """0.1 + 0.2 and 0.3 are the same day."""
    table = survival([0.1 + 0.2, 0.3, 1.0], [1, 1, 0]).table
    assert table["time"].tolist() == pytest.approx([0.3, 1.0])
    assert table["events"].tolist() == [2, 0]


def test_the_order_of_the_rows_does_not_matter() -> None:
    data = PLAIN["veteran"]["data"]
    time, status = np.array(data["time"]), np.array(data["status"])
    mixed = np.random.default_rng(4).permutation(time.size)
    first, again = survival(time, status).table, survival(time[mixed], status[mixed]).table
    assert first.equals(again)


def test_one_patient_only_gets_no_interval() -> None:
    estimate = survival([1, 2, 3], [1, 0, 1], cluster=["A", "A", "A"]).at(2)
    assert estimate.value is not None
    assert estimate.low is None
    assert flags.ONE_CLUSTER in estimate.flags
    assert estimate.unit == "row"


def test_patients_who_do_not_differ_give_no_interval_and_words() -> None:
    """Every patient one lesion with and one without the event: no variance between patients."""
    estimate = survival([1, 2] * 30, [1, 0] * 30, cluster=np.repeat(np.arange(30), 2)).at(1)
    assert estimate.value == pytest.approx(0.5)
    assert (estimate.low, estimate.high) == (None, None)
    assert flags.NO_INTERVAL in estimate.flags


def test_competing_events_are_refused_or_said() -> None:
    with pytest.raises(ValueError, match="1 competing events"):
        survival([1, 2, 3], [1, 2, 0])
    estimate = survival([1, 2, 3], [1, 2, 0], competing="censor").at(2)
    assert estimate.value == pytest.approx(2 / 3)
    assert any("competing events counted as censored" in flag for flag in estimate.flags)


def test_numbers_at_risk() -> None:
    table = survival([1, 2, 2, 4], [1, 0, 1, 0]).at_risk_table([0, 2, 3, 5])
    assert table["at_risk"].tolist() == [4, 3, 1, 0]
    assert table["events"].tolist() == [0, 2, 2, 2]
    assert table["censored"].tolist() == [0, 1, 1, 2]


def test_the_rows_behind_a_number() -> None:
    estimate = survival([1, 2, 3], [1, 0, 1], keys=["AV-001", "AV-002", "AV-003"]).at(2)
    assert estimate.rows()["key"].tolist() == ["AV-001", "AV-002", "AV-003"]
    assert estimate.rows()["event"].tolist() == [True, False, False]
    assert (estimate.events, estimate.n) == (1, 3)


def test_the_test_never_stands_without_its_effect() -> None:
    data = PLAIN["lung"]["data"]
    test = log_rank_test(data["time"], data["status"], data["group"], tau=500, measure="days")
    assert test.effects[0].value == pytest.approx(360.910954195466 - 278.763231529994)
    assert "82.1 days" in test.sentence()
    assert "log-rank test P = 0.0013, 1 df" in test.sentence()


def test_no_event_in_any_group_is_words() -> None:
    test = log_rank_test([1, 2, 3, 4], [0, 0, 0, 0], [1, 1, 2, 2])
    assert (test.statistic, test.p) == (None, None)
    assert "no event in any group" in test.sentence()


def test_difference_at_a_time_by_squares_and_sums() -> None:
    """Zou and Donner 2008: the limits of each curve, combined."""
    data = PLAIN["veteran"]["data"]
    curves = survival(data["time"], data["status"], group=data["group"])
    ours, theirs = curves.at(100, "large"), curves.at(100, "adeno")
    found = curves.difference(100, "large", "adeno")
    low = found.value - np.hypot(ours.value - ours.low, theirs.high - theirs.value)
    assert found.low == pytest.approx(low)
    assert found.group == {"group": "large minus adeno"}


@pytest.mark.parametrize(("duration", "event", "words"), [
    ([], [], "Nobody is followed"),
    ([1, float("nan")], [1, 0], "duration is missing or infinite in row 2"),
    ([1, -2, -3], [1, 0, 1], "duration is negative in rows 2, 3"),
    ([1, 2], [1, 0.5], "event is not a code in row 2"),
    ([1, 2], [1], "event has 1 entries and duration has 2"),
    (["a"], [1], "duration holds something that is not a number"),
])
def test_input_that_cannot_be_read(duration: list, event: list, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        survival(duration, event)


def test_all_problems_are_told_at_once() -> None:
    with pytest.raises(ValueError, match=r"negative in row 1.*not a code in row 2") as caught:
        survival([-1, 2], [0, -1])
    assert "\n" not in str(caught.value)


def test_a_blank_group_or_a_late_entry_after_the_end_is_refused() -> None:
    with pytest.raises(ValueError, match="group is blank in row 2"):
        survival([1, 2], [0, 1], group=["a", None])
    with pytest.raises(ValueError, match="entry is not before duration in row 1"):
        survival([1, 2], [0, 1], entry=[1, 0])
    with pytest.raises(ValueError, match="Say which group; the groups are 'a', 'b'"):
        survival([1, 2], [0, 1], group=["a", "b"]).at(1)
    with pytest.raises(ValueError, match="time is -1"):
        survival([1, 2], [0, 1]).at(-1)


@pytest.mark.reference
def test_the_r_script_still_gives_the_recorded_values() -> None:
    assert_same(run_r("timetoevent"), R)
