"""Differences of proportions whose rows repeat within patients, against R survey."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference_runs import recorded

from analyses.statistics.proportions.clustered import clustered_proportion
from analyses.statistics.proportions.difference import (
    clustered_difference,
    proportion_difference,
)

DATA = recorded("clustered")["data"]


def limits(estimate):
    return estimate.low, estimate.high


@pytest.mark.parametrize("data", DATA, ids=lambda d: d["name"])
def test_the_value_is_that_of_r_survey_on_open_data(data):
    """svyglm(y ~ arm): its coefficient is the plain difference.

    Arms lie between patients (ohio, respiratory, bacteria …) and within (retinopathy, cbpp).
    """
    found = clustered_difference(data["y"], data["arm"], data["id"], reference=0)
    assert found.value == pytest.approx(data["difference"], rel=1e-8, abs=1e-12)


@pytest.mark.parametrize("data", DATA, ids=lambda d: d["name"])
def test_the_limits_are_as_zou_and_donner_write_them(data):
    """Zou and Donner 2008, Stat Med 27:1693: lower = d - √((p1-l1)² + (u2-p2)² - 2r(...)(...)).

    The formula written out here from the arms' limits; r from the definition of a correlation.
    """
    y, arm, patient = (np.asarray(data[name]) for name in ("y", "arm", "id"))
    found = clustered_difference(y, arm, patient.tolist(), reference=0)
    one, two = (clustered_proportion(y[arm == side], patient[arm == side]) for side in (1, 0))
    r = expected_correlation(y, arm, patient)
    for limit, sign in ((found.low, -1), (found.high, 1)):
        first = one.value - one.low if sign < 0 else one.high - one.value
        second = two.high - two.value if sign < 0 else two.value - two.low
        reach = (first**2 + second**2 - 2 * r * first * second) ** 0.5
        assert limit == pytest.approx(one.value - two.value + sign * reach, abs=1e-12)


def expected_correlation(y, arm, patient):
    """Correlation of the two influences summed by patient, times k/(8 + k)."""
    sums = []
    for side in (1, 0):
        away = np.where(arm == side, y - y[arm == side].mean(), 0.0)
        sums.append([away[patient == name].sum() for name in np.unique(patient)])
    fewest = min(min(y[arm == s].sum(), (1 - y[arm == s]).sum()) for s in (0, 1))
    own = np.dot(*sums) / (np.dot(sums[0], sums[0]) * np.dot(sums[1], sums[1])) ** 0.5
    return own * fewest / (8 + fewest)


def test_with_many_events_they_come_near_to_those_of_r_survey():
    """svyglm's interval where each arm has 100 events and more: widths within a tenth."""
    near = []
    for data in DATA:
        y, arm = np.asarray(data["y"]), np.asarray(data["arm"])
        if min(min(y[arm == s].sum(), (1 - y[arm == s]).sum()) for s in (0, 1)) < 100:
            continue
        found = clustered_difference(data["y"], data["arm"], data["id"], reference=0)
        low, high = data["difference_limits"]
        near.append((found.high - found.low) / (high - low))
    assert near and all(0.9 < ratio < 1.1 for ratio in near), near


def test_one_row_a_patient_is_newcombe():
    event, arm = [1] * 7 + [0] * 45 + [1] * 3 + [0] * 68, ["b"] * 52 + ["a"] * 71
    found = clustered_difference(event, arm, range(123), reference="a")
    assert limits(found) == pytest.approx(limits(proportion_difference(7, 52, 3, 71)))
    assert found.method == "Newcombe hybrid score"


def test_an_arm_without_events_still_has_an_honest_interval():
    event = [0] * 40 + [1] * 6 + [0] * 34
    arm = ["new"] * 40 + ["old"] * 40
    patient = [i // 2 for i in range(80)]
    found = clustered_difference(event, arm, patient, reference="old")
    none, some = found.arms
    assert none.events == 0 and none.high > 0.05
    assert found.high == pytest.approx(
        found.value + (none.high**2 + (some.value - some.low) ** 2) ** 0.5)
    assert found.low < found.value < 0
    assert found.method == "hybrid of the arms' clustered intervals"


def test_one_event_in_the_smaller_arm_is_no_finding():
    """The Wald interval of a marginal model left 0 out here: 1 of 30 sessions against 10 of 120."""
    event = [1] + [0] * 29 + [1] * 10 + [0] * 110
    arm = ["few"] * 30 + ["many"] * 120
    found = clustered_difference(event, arm, [i // 2 for i in range(150)], reference="many")
    assert found.low < 0 < found.high


def test_patients_who_do_not_differ_do_not_make_a_sure_zero():
    found = clustered_difference(
        [1, 1, 0, 0, 0, 0] * 5, ["a", "b"] * 15, [i // 2 for i in range(30)])
    assert found.value == 0 and found.low < -0.1 and found.high > 0.1


def test_the_reference_decides_the_sign_and_arms_are_named():
    event, patient = [1, 0, 0, 1, 1, 0, 0, 0], [1, 1, 2, 2, 3, 3, 4, 4]
    arm = ["EVOH 6 %"] * 4 + ["EVOH 8 %"] * 4
    there = clustered_difference(event, arm, patient, reference="EVOH 6 %")
    back = clustered_difference(event, arm, patient, reference="EVOH 8 %")
    assert there.value == -back.value == -0.25
    assert [a.group for a in there.arms] == [{"arm": "EVOH 8 %"}, {"arm": "EVOH 6 %"}]
    assert limits(there) == pytest.approx((-back.high, -back.low))


def test_an_empty_arm_or_nothing_at_all_is_said():
    alone = clustered_difference([1, 0], ["a", "a"], [1, 2])
    assert alone.value is None and alone.flags == ("nothing-counted",)
    assert clustered_difference([], [], []).value is None
    lacking = clustered_difference([1, 0], ["a", "a"], [1, 2], reference="b")
    assert lacking.value is None and [a.n for a in lacking.arms] == [2, 0]
    assert lacking.arms[1].group == {"arm": "b"}


def test_two_patients_are_too_few_for_an_interval():
    found = clustered_difference([1, 0, 1, 0, 0], list("aabba"), [1, 1, 2, 2, 2])
    assert limits(found) == (None, None) and "no-interval" in found.flags


@pytest.mark.parametrize(("arm", "reference", "said"), [
    (["a", "b", "c"], None, "three|3 arms"), (["a", "b", "a"], "z", "reference arm"),
    (["a", None, "b"], None, "Row 2 has no arm"), (["a", "b"], None, "differ in length"),
])
def test_misuse_is_refused(arm, reference, said):
    with pytest.raises(ValueError, match=said):
        clustered_difference([1, 0, 1], arm, [1, 2, 3], reference=reference)


@given(st.lists(st.tuples(st.integers(0, 1), st.booleans(), st.integers(0, 9)), min_size=2,
                max_size=50))
def test_the_value_is_the_plain_difference_inside_its_interval(rows):
    event, arm, patient = ([row[k] for row in rows] for k in range(3))
    found = clustered_difference(event, arm, patient, reference=False)
    if found.value is None:
        return
    shares = [
        clustered_proportion([e for e, a in zip(event, arm, strict=True) if a is side],
                             [p for p, a in zip(patient, arm, strict=True) if a is side]).value
        for side in (True, False)
    ]
    assert found.value == pytest.approx(shares[0] - shares[1])
    if found.low is not None:
        assert -1 <= found.low <= found.value + 1e-12 and found.value - 1e-12 <= found.high <= 1
