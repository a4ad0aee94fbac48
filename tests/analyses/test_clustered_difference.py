"""Differences of proportions whose rows repeat within patients, against R survey."""

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
def test_agrees_with_r_survey_on_open_data(data):
    """svyglm(y ~ arm): coefficient and confint; its SE equals svycontrast of svyby.

    Arms lie between patients (ohio, respiratory, bacteria …) and within (retinopathy, cbpp).
    """
    found = clustered_difference(data["y"], data["arm"], data["id"], reference=0)
    assert found.value == pytest.approx(data["difference"], rel=1e-8, abs=1e-12)
    assert limits(found) == pytest.approx(data["difference_limits"], rel=1e-8, abs=1e-10)
    assert data["difference_se"] == pytest.approx(data["difference_by_se"], rel=1e-8)


def test_one_row_a_patient_is_newcombe():
    event, arm = [1] * 7 + [0] * 45 + [1] * 3 + [0] * 68, ["b"] * 52 + ["a"] * 71
    found = clustered_difference(event, arm, range(123), reference="a")
    assert limits(found) == pytest.approx(limits(proportion_difference(7, 52, 3, 71)))
    assert found.method == "Newcombe hybrid score"


def test_an_arm_without_events_still_has_an_honest_interval():
    """The model's variance would be 0 in that arm: the two clustered intervals are combined."""
    event = [0] * 40 + [1] * 6 + [0] * 34
    arm = ["new"] * 40 + ["old"] * 40
    patient = [i // 2 for i in range(80)]
    found = clustered_difference(event, arm, patient, reference="old")
    none, some = found.arms
    assert none.events == 0 and none.high > 0.1
    assert found.high == pytest.approx(
        found.value + (none.high**2 + (some.value - some.low) ** 2) ** 0.5)
    assert found.low < found.value < 0 and found.method == "hybrid of the two clustered intervals"


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
