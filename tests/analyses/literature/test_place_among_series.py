"""A new series like those pooled, and the place of a service among them."""

from __future__ import annotations

import numpy as np
import pytest
from coverage_pooling import WAYS, cell
from reference_runs import recorded
from scipy.special import expit, logit
from scipy.stats import binom

from analyses.literature.place import place_of
from analyses.statistics.pooling.pooled_proportion import pool_proportions
from analyses.statistics.proportions.clustered import clustered_proportion
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
    assert found.new.chance_of_as_many(*entry["own"]) == pytest.approx(
        entry["as_many"], abs=3e-4)
    assert found.new.chance_of_as_few(*entry["own"]) == pytest.approx(entry["as_few"], abs=3e-4)


def test_chances_of_whole_counts_are_those_of_the_binomial_mixture():
    chances = FOUR.new.chances(60)
    assert chances.sum() == pytest.approx(1, abs=1e-9)
    for count in (0, 1, 4, 30):
        assert FOUR.new.chance_of_as_many(count, 60) == pytest.approx(
            chances[count:].sum(), abs=1e-9)
        assert FOUR.new.chance_of_as_few(count, 60) == pytest.approx(
            chances[:count + 1].sum(), abs=1e-9)


def test_chances_agree_with_series_drawn_from_the_distribution():
    rng = np.random.default_rng(5)
    part = rng.choice(len(FOUR.new.weight), size=200_000, p=FOUR.new.weight)
    drawn = rng.binomial(128, expit(FOUR.new.centre[part] + FOUR.new.spread[part]
                                    * rng.standard_normal(len(part))))
    assert FOUR.new.chance_of_as_many(9, 128) == pytest.approx((drawn >= 9).mean(), abs=0.004)


def test_a_very_large_series_shows_its_own_proportion():
    low, high = FOUR.new.limits(0.95)
    assert FOUR.new.chance_of_as_few(low * 1e6, 1e6) == pytest.approx(0.025, abs=1e-3)
    assert FOUR.new.chance_of_as_many(high * 1e6, 1e6) == pytest.approx(0.025, abs=1e-3)


def test_alike_series_of_great_size_leave_little_but_chance():
    """Twelve large series of one proportion: a new one is nearly binomial."""
    found = pool_proportions([1000] * 12, [10000] * 12)
    assert found.new.chance_of_as_few(4, 60) == pytest.approx(binom.cdf(4, 60, 0.1), abs=0.01)


def test_the_prediction_is_wider_than_the_confidence_interval():
    assert FOUR.prediction.low < FOUR.estimate.low < FOUR.estimate.high < FOUR.prediction.high


def test_a_service_in_the_middle_is_said_to_be_there():
    place = place_of(proportion(6, 128, unit="session"), FOUR)
    assert "in the middle half" in place.words and "128 sessions" in place.words
    assert 0.25 < place.as_many.value < 1 and 0.25 < place.as_few.value < 1


@pytest.mark.parametrize(("events", "words"), [
    (16, "on the higher side, inside the range of 95 of 100"),
    (90, "on the higher side, outside the range of 95 of 100"),
    (2, "on the lower side, inside the range of 95 of 100"),
    (0, "on the lower side, outside the range of 95 of 100"),
])
def test_a_service_at_the_edge_is_said_to_be_there_without_a_verdict(events, words):
    place = place_of(proportion(events, 128, unit="session"), FOUR)
    assert words in place.words
    assert not any(word in place.words.lower() for word in ("better", "worse", "rank", "p ="))


def test_rows_that_repeat_are_compared_at_their_effective_number():
    """Sessions of 40 patients whose outcomes repeat are worth fewer independent ones."""
    patients = np.repeat(np.arange(40), 3)
    event = np.isin(patients, np.arange(6)).astype(int)
    own = clustered_proportion(event, patients, unit="session")
    place = place_of(own, FOUR)
    assert place.total == own.effective_n < 60
    assert place.events / place.total == pytest.approx(18 / 120)
    assert f"worth {round(place.total)} independent ones because patients repeat" in place.words
    alone = place_of(proportion(18, 120, unit="session"), FOUR)
    assert place.as_many.value > alone.as_many.value, "fewer rows, more room for chance"


def test_without_a_prediction_there_is_no_place():
    two = pool_proportions([92, 3], [846, 43])
    place = place_of(proportion(9, 128, unit="session"), two)
    assert place.estimates == () and "no prediction interval" in place.words
    empty = place_of(proportion(0, 0, unit="session"), FOUR)
    assert empty.estimates == () and "no row" in empty.words


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
