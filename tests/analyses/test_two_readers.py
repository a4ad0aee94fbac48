"""Agreement of two readers, beside published and library values."""

from __future__ import annotations

import numpy as np
import pytest
from coverage_agreement import SHARES, coverage
from statsmodels.stats.inter_rater import cohens_kappa

from analyses.statistics.agreement.two_readers import cohen_kappa, gwet_ac1

CLASSES = ("ectopic", "abnormal intrauterine", "normal intrauterine")
TABLE = np.array([[13, 0, 0], [0, 20, 7], [0, 4, 56]])
"""Pregnancies classed by two abstractors: the table cont3x3abstractors of the R package irrCAC,
whose overview prints kappa 0.7964094 (standard error 0.05891072) and AC1 0.8493305 (0.04321747)."""
PUBLISHED = {cohen_kappa: (0.7964094, 0.05891072), gwet_ac1: (0.8493305, 0.04321747)}


def pairs(table: np.ndarray) -> tuple[list[str], list[str]]:
    """The table unfolded: what each reader said, unit by unit."""
    found = [(CLASSES[i], CLASSES[j]) for i in range(len(table)) for j in range(len(table))
             for _ in range(table[i, j])]
    return [a for a, _ in found], [b for _, b in found]


@pytest.mark.parametrize("coefficient", [cohen_kappa, gwet_ac1])
def test_the_published_table(coefficient):
    first, second = pairs(TABLE)
    found = coefficient(first, second, range(100), classes=CLASSES)
    value, error = PUBLISHED[coefficient]
    assert found.value == pytest.approx(value, abs=1e-7)
    # theirs divides by n where ours, summed by patient, divides by n - 1; t of 99 degrees
    reach = 1.984217 * error * np.sqrt(100 / 99)
    assert found.low == pytest.approx(value - reach, abs=2e-5)
    assert found.high == pytest.approx(value + reach, abs=2e-5)
    assert (found.n, found.clusters) == (100, 100)


def test_kappa_as_statsmodels_has_it():
    table = np.array([[30, 5, 2], [4, 20, 6], [1, 3, 29]])
    theirs = cohens_kappa(table)
    found = cohen_kappa(*pairs(table), range(100), classes=CLASSES)
    assert found.value == pytest.approx(theirs.kappa)
    assert found.high - found.value == pytest.approx(
        1.984217 * theirs.std_kappa * np.sqrt(100 / 99), rel=1e-5)


def test_units_of_one_patient_are_not_as_many_patients():
    first, second = pairs(TABLE)
    apart = gwet_ac1(first, second, range(100), classes=CLASSES)
    twice = gwet_ac1(first * 2, second * 2, [*range(100)] * 2, classes=CLASSES)
    assert twice.value == pytest.approx(apart.value) and twice.n == 200
    assert twice.high - twice.low == pytest.approx(apart.high - apart.low)


def test_where_nearly_all_is_of_one_class_kappa_falls_and_ac1_does_not():
    table = np.array([[1, 3, 0], [3, 93, 0], [0, 0, 0]])
    kappa, ac1 = (f(*pairs(table), range(100), classes=CLASSES) for f in PUBLISHED)
    assert kappa.value < 0.25 and ac1.value > 0.9


def test_full_agreement_has_no_interval_of_no_width():
    for coefficient in PUBLISHED:
        found = coefficient(["a", "b"] * 6, ["a", "b"] * 6, range(12), classes=("a", "b"))
        assert found.value == 1 and found.low is None and found.flags
    alike = cohen_kappa(["a"] * 9, ["a"] * 9, range(9), classes=("a", "b"))
    assert alike.value is None and alike.flags


@pytest.mark.slow
@pytest.mark.parametrize("shares", SHARES)
def test_the_intervals_hold_the_truth_about_as_often_as_they_say(shares):
    for held in coverage(shares, 0.7, 40, 400, 9)[:2]:
        assert 0.91 < held < 0.985


def test_a_class_that_was_not_offered_is_refused():
    with pytest.raises(ValueError, match="maybe"):
        gwet_ac1(["yes"], ["maybe"], [1], classes=("yes", "no"))
