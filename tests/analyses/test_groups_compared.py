"""Proportions of groups compared: counts, differences, one test by exchange of whole patients."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analyses import compare_groups
from analyses.statistics.proportions.difference import clustered_difference, proportion_difference
from analyses.statistics.regression.exact import permutation_p


def counts(*pairs: tuple[int, int]) -> tuple[np.ndarray, list[str], list[int]]:
    """Rows of independent patients: events and n of each group, called A, B, …"""
    event = np.concatenate([np.r_[np.ones(x), np.zeros(n - x)] for x, n in pairs])
    group = [name for name, (_, n) in zip("ABCDE", pairs, strict=False) for _ in range(n)]
    return event, group, list(range(len(event)))


def repeated(
    patients: int = 60, seed: int = 1, risk: float = 0.2, effect: float = 0.0,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """One to four rows a patient, the rows of a patient alike; the group is the patient's."""
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(patients), rng.integers(1, 5, patients))
    group = np.array(["old", "new"])[(rng.random(patients) < 0.4).astype(int)][patient]
    own = rng.beta(2 * risk, 2 * (1 - risk), patients)[patient]
    event = rng.random(len(patient)) < np.clip(own + effect * (group == "new"), 0, 1)
    return event.astype(float), group, patient


def test_two_groups_with_one_row_a_patient_get_fishers_exact_test_as_printed() -> None:
    """3/71 against 7/52: P = 0.0942, as printed (PMC6414495)."""
    found = compare_groups(*counts((3, 71), (7, 52)))
    assert round(found.p_value, 4) == 0.0942 and found.why == ""
    assert "Fisher" in found.method
    one, = found.differences
    newcombe = proportion_difference(7, 52, 3, 71)
    assert (one.value, one.low, one.high) == pytest.approx(
        (newcombe.value, newcombe.low, newcombe.high))
    assert found.table["events"].tolist() == [3, 7] and found.table["n"].tolist() == [71, 52]


def test_whole_patients_are_exchanged_and_the_seed_makes_it_the_same_each_time() -> None:
    event, group, patient = repeated(effect=0.25)
    found = compare_groups(event, group, patient)
    assert found.p_value == compare_groups(event, group, patient).p_value
    assert "exchange of whole patients, 9,999" in found.method
    x = np.column_stack([np.ones(len(event)), (group == "new").astype(float)])
    assert found.p_value == pytest.approx(permutation_p(x, event, [1], patient), abs=0.01)


def test_an_exchange_of_one_row_a_patient_agrees_with_the_hypergeometric_distribution() -> None:
    """The same arrangements, drawn instead of counted: as far apart or farther."""
    from scipy.stats import hypergeom

    event, group, patient = counts((6, 40), (15, 45))
    drawn = compare_groups(event, group, patient, strata=[1] * len(event))
    chances = hypergeom(85, 21, 40)
    away = np.abs(np.arange(22) - 21 * 40 / 85)
    exact = chances.pmf(np.arange(22))[away >= abs(6 - 21 * 40 / 85) - 1e-9].sum()
    assert drawn.p_value == pytest.approx(exact, abs=0.01)


def test_it_holds_its_level_where_rows_of_a_patient_are_alike() -> None:
    """No difference, 30 patients: 300 sets, at most 5 % and three standard errors rejected."""
    small = [compare_groups(*repeated(30, seed, 0.25), exchanges=199).p_value
             for seed in range(300)]
    tested = np.array([p for p in small if p is not None])
    assert len(tested) > 200
    assert (tested <= 0.05).mean() <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / len(tested))


def test_it_finds_a_difference_that_is_there() -> None:
    assert compare_groups(*repeated(120, 4, 0.15, effect=0.3)).p_value < 0.01


def test_differences_are_those_of_the_clustered_proportions_against_the_reference() -> None:
    event, group, patient = repeated(effect=0.2)
    one, = compare_groups(event, group, patient, reference="old").differences
    other = clustered_difference(event, group.tolist(), patient.tolist(), reference="old")
    assert (one.value, one.low, one.high) == (other.value, other.low, other.high)
    assert one.group == {"groups": "new minus old"}


def test_three_groups_have_one_test_and_two_differences() -> None:
    found = compare_groups(*counts((4, 40), (9, 40), (16, 40)))
    assert len(found.differences) == 2 and found.p_value < 0.05
    assert [e.group["groups"] for e in found.differences] == ["B minus A", "C minus A"]


def test_below_the_floor_the_counts_stand_alone() -> None:
    event, group, patient = repeated()
    event = np.zeros_like(event)
    event[:5] = 1
    found = compare_groups(event, group, patient)
    assert found.p_value is None and found.differences == ()
    assert "5 with the event" in found.why and found.table["events"].sum() == 5


def test_fishers_test_is_exact_and_stands_below_the_floor_too() -> None:
    """0/20 against 4/20: twice the chance of all four in one group, 2·C(20,4)/C(40,4)."""
    found = compare_groups(*counts((0, 20), (4, 20)))
    assert found.p_value == pytest.approx(2 * 4845 / 91390) and found.differences == ()


def test_a_group_too_small_for_the_test_is_named() -> None:
    found = compare_groups(*counts((10, 40), (12, 40), (1, 2)))
    assert found.left_out == ("C",) and found.p_value is not None
    assert "left out as too small: C" in found.test_text()


@pytest.mark.parametrize(("event", "why"), [
    ([], "nothing was counted"), ([0] * 20, "no row has the event"),
    ([1] * 20, "every row has the event"),
])
def test_what_cannot_be_tested_says_why(event: list[int], why: str) -> None:
    found = compare_groups(event, list("AB") * (len(event) // 2), range(len(event)))
    assert found.p_value is None and why in found.why


def test_one_group_is_told() -> None:
    assert "one group only" in compare_groups([0, 1], ["A", "A"], [1, 2]).why


def test_patients_who_cannot_change_places_give_no_test() -> None:
    """Group A's patients have two rows each, B's three: nobody can be exchanged across."""
    patient = np.r_[np.repeat(np.arange(15), 2), np.repeat(np.arange(15, 30), 3)]
    group = np.where(patient < 15, "A", "B")
    event = (np.arange(len(patient)) % 3 == 0).astype(int)
    found = compare_groups(event, group, patient)
    assert found.p_value is None and "change places" in found.why
    assert len(found.differences) == 1


def test_strata_keep_the_exchange_inside() -> None:
    """The event goes with the stratum alone, and so does the group: no difference is left."""
    rng = np.random.default_rng(3)
    grade = np.repeat([0, 1], 100)
    group = np.where(rng.random(200) < np.where(grade == 1, 0.8, 0.2), "B", "A")
    event = (rng.random(200) < np.where(grade == 1, 0.5, 0.1)).astype(int)
    plain = compare_groups(event, group, range(200))
    kept = compare_groups(event, group, range(200), strata=grade)
    assert plain.p_value < 0.01 and kept.p_value > 0.05


@pytest.mark.parametrize("group", [
    [0, 1] * 20, [True, False] * 20, np.array([2.5, 1.0] * 20), ["b", "a"] * 20,
    pd.Series(["x", "y"] * 20, index=range(100, 140)), pd.Categorical(["lo", "hi"] * 20),
    [1, "a"] * 20,
], ids=["whole", "yes or no", "number", "text", "series", "categorical", "mixed"])
def test_a_group_column_of_any_type_groups(group: object) -> None:
    found = compare_groups([1, 0] * 9 + [0, 1] * 11, group, range(40))
    assert len(found.table) == 2 and found.p_value is not None


def test_a_categorical_keeps_its_order() -> None:
    group = pd.Categorical(["I", "II", "V", "II"] * 10, categories=["V", "II", "I"], ordered=True)
    assert compare_groups([1, 0, 0, 1] * 10, group, range(40)).table.index.tolist() == [
        "V", "II", "I"]


@pytest.mark.parametrize(("arguments", "words"), [
    ((["no", "yes"], ["A", "B"], [1, 2]), "not a number"),
    (([0, 2], ["A", "B"], [1, 2]), "0 or 1"),
    (([0, 1], ["A", None], [1, 2]), "has no group"),
    (([0, 1], ["A", "B"], [1, None]), "has no patient"),
    (([0, 1], ["A", "B"], [1]), "differ in length"),
    (([0, 1], [1, "1"], [1, 2]), "written alike"),
])
def test_wrong_input_gets_a_sentence(arguments: tuple, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        compare_groups(*arguments)


def test_an_unknown_reference_is_refused() -> None:
    with pytest.raises(ValueError, match="reference group 'C'; the groups are A, B"):
        compare_groups(*counts((3, 10), (7, 10)), reference="C")


def test_it_shows_its_counts_differences_and_test() -> None:
    found = compare_groups(*counts((3, 71), (7, 52)))
    text = str(found)
    assert "3/71" in text and "7/52" in text and "P = 0.094" in text
    assert "<table>" in found._repr_html_()
