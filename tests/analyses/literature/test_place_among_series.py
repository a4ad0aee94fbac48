"""A new series like those pooled, and the place of a service among them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from coverage_pooling import WAYS, cell
from reference_runs import recorded
from scipy.special import expit, logit
from scipy.stats import binom

from analyses.literature.place import place_of
from analyses.measures.counting import shares
from analyses.measures.gate import Known
from analyses.statistics.pooling.pooled_proportion import pool_proportions
from analyses.statistics.proportions.independent import proportion

SETS = tuple(recorded("pooling")["predictive"])
FOUR = pool_proportions([3, 3, 9, 7], [117, 35, 195, 136], unit="session")


@pytest.mark.parametrize("name", SETS)
def test_prediction_agrees_with_plain_sums_over_a_fine_grid(name):
    """R, without a quadrature rule: sums over mu, tau and every series' own deviation."""
    entry = recorded("pooling")["predictive"][name]
    found = pool_proportions(entry["events"], entry["totals"])
    mine = (found.prediction.low, found.prediction.value, found.prediction.high)
    assert logit(mine) == pytest.approx(entry["limits"], abs=3e-3)
    count, total = entry["own"]
    chances = found.new.chances(total)
    assert chances[count:].sum() == pytest.approx(entry["as_many"], abs=3e-4)
    assert chances[:count + 1].sum() == pytest.approx(entry["as_few"], abs=3e-4)


def test_chances_of_all_counts_sum_to_one_and_agree_with_series_drawn():
    chances = FOUR.new.chances(128)
    assert chances.sum() == pytest.approx(1, abs=1e-9)
    rng = np.random.default_rng(5)
    part = rng.choice(len(FOUR.new.weight), size=200_000, p=FOUR.new.weight)
    drawn = rng.binomial(128, expit(FOUR.new.centre[part] + FOUR.new.spread[part]
                                    * rng.standard_normal(len(part))))
    assert chances[9:].sum() == pytest.approx((drawn >= 9).mean(), abs=0.004)


def test_alike_series_of_great_size_leave_little_but_chance():
    """Twelve large series of one proportion: a new one is nearly binomial."""
    found = pool_proportions([1000] * 12, [10000] * 12)
    assert found.new.chances(60)[:5].sum() == pytest.approx(binom.cdf(4, 60, 0.1), abs=0.01)


def test_the_prediction_is_wider_than_the_confidence_interval():
    assert FOUR.prediction.low < FOUR.estimate.low < FOUR.estimate.high < FOUR.prediction.high


@pytest.mark.parametrize(("events", "total", "words"), [
    (64, 1280, "lies within"), (2, 128, "overlaps and reaches below"),
    (90, 128, "lies above"), (16, 128, "overlaps and reaches above"),
    (0, 9000, "lies below"), (1, 6, "reaches beyond both ends of"),
])
def test_the_place_is_where_the_two_intervals_lie_and_no_more(events, total, words):
    """No side, no rank, no share of series beyond: version 1 said "lies in the middle half"."""
    own = proportion(events, total, unit="session")
    place = place_of(own, FOUR)
    assert f"%) {words} the 95 % prediction interval" in place.words
    assert own.number_text().partition(", ")[2].rstrip(")") in place.words
    assert place.prediction == FOUR.prediction
    for banned in ("half", "side", "of 100", "better", "worse", "rank", "p ="):
        assert banned not in place.words.lower()


def test_bounds_have_no_place():
    """The gate refuses a point where what is unknown points one way (`analyses.measures.gate`)."""
    rows = pd.DataFrame({"event": pd.array([True, False, False, None], dtype="boolean"),
                         "patient_id": list("abcd"), "key": list("abcd")})
    own = shares(rows, "event", id="a", unit="patient", by=(),
                 known=Known.ONLY_WITHOUT_AN_EVENT)[0]
    assert own.kind == "bounds"
    place = place_of(own, FOUR)
    assert place.prediction is None and "no place among published series" in place.words


def test_without_a_prediction_there_is_no_place():
    two = pool_proportions([92, 3], [846, 43])
    place = place_of(proportion(9, 128, unit="session"), two)
    assert place.prediction is None and "no prediction interval" in place.words
    empty = place_of(proportion(0, 0, unit="session"), FOUR)
    assert empty.prediction is None and "no row" in empty.words


@pytest.mark.slow
def test_the_intervals_hold_the_truth_about_as_often_as_they_say():
    """A small part of `tests/reference/coverage_pooling.md`: five series that differ, rare events.

    The floor is 93 % less three Monte Carlo standard errors; the t interval of Higgins 2009 is
    below it in the full table, which is why it is not ours.
    """
    replicates = 150
    shares, _ = cell(np.random.default_rng(3), replicates, 5, 0.4, 0.05)
    floor = 0.93 - 3 * (0.93 * 0.07 / replicates) ** 0.5
    found = dict(zip(WAYS, shares, strict=True))
    assert found["t, k − 1"] >= floor and found["new series"] >= floor
