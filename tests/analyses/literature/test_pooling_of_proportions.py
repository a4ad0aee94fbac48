"""Pooled proportions, against R (metafor, lme4), against plain sums, and at the edges."""

from __future__ import annotations

import numpy as np
import pytest
from reference_runs import assert_same, recorded, run_r
from scipy.special import logit

from analyses.statistics.pooling import binomial_normal as likelihood
from analyses.statistics.pooling.binomial_normal import marginal, values
from analyses.statistics.pooling.maximum import peak
from analyses.statistics.pooling.pooled_interval import standard_error
from analyses.statistics.pooling.pooled_proportion import pool_proportions

SETS = tuple(recorded("pooling")["sets"])
METAFOR = 2e-5
"""metafor's own optimiser stops at about 1e-6 of its parameters."""


def arrays(entry):
    return np.array(entry["events"], dtype=float), np.array(entry["totals"], dtype=float)


@pytest.mark.parametrize("name", SETS)
def test_pooled_odds_and_spread_agree_with_lme4_and_metafor(name):
    """lme4::glmer and metafor::rma.glmm(measure = "PLO", method = "ML"), nAGQ = 25, open data."""
    entry = recorded("pooling")["sets"][name]
    found = pool_proportions(entry["events"], entry["totals"])
    error = standard_error(peak(*arrays(entry)))
    mine = (logit(found.estimate.value), found.heterogeneity.value, error)
    assert mine == pytest.approx([entry["lme4"][k] for k in ("mu", "tau", "se")], abs=1e-6)
    assert mine == pytest.approx([entry["metafor"][k] for k in ("mu", "tau", "se")], abs=METAFOR)


@pytest.mark.parametrize("name", SETS)
def test_intervals_agree_with_those_from_lme4s_own_deviance(name):
    entry = recorded("pooling")["sets"][name]
    found = pool_proportions(entry["events"], entry["totals"])
    spread, simple = found.heterogeneity, found.higgins
    assert (spread.low, spread.high) == pytest.approx(entry["profile"]["tau"], abs=2e-5)
    assert logit([simple.low, simple.high]) == pytest.approx(
        entry["prediction"]["k_minus_2"], abs=1e-6)


@pytest.mark.parametrize("name", SETS)
def test_the_common_model_agrees_with_metafor_and_is_the_crude_share(name):
    entry = recorded("pooling")["sets"][name]
    found = pool_proportions(entry["events"], entry["totals"], method="common").estimate
    assert logit(found.value) == pytest.approx(entry["common"]["mu"], abs=1e-8)
    assert found.value == pytest.approx(sum(entry["events"]) / sum(entry["totals"]), rel=1e-10)
    half = (logit(found.high) - logit(found.low)) / 2 / 1.959963984540054
    assert half == pytest.approx(entry["common"]["se"], rel=1e-5)


@pytest.mark.reference
def test_r_gives_the_recorded_values_again():
    assert_same(run_r("pooling"), recorded("pooling"), rel=1e-5)


@pytest.mark.parametrize("name", SETS)
def test_more_nodes_change_nothing(name, monkeypatch):
    y, n = arrays(recorded("pooling")["sets"][name])
    few = [marginal(y, n, mu, tau).value for mu in (-3.0, 0.0) for tau in (0.1, 1.0, 3.0)]
    rule = np.polynomial.hermite_e.hermegauss(151)
    monkeypatch.setattr(likelihood, "_rule", lambda: (rule[0], rule[1] / np.sqrt(2 * np.pi)))
    many = [marginal(y, n, mu, tau).value for mu in (-3.0, 0.0) for tau in (0.1, 1.0, 3.0)]
    assert few == pytest.approx(many, abs=2e-4)


def test_slopes_and_curvatures_are_those_of_the_likelihood():
    """Against differences of the likelihood itself."""
    y, n = np.array([3.0, 0.0, 9.0, 7.0]), np.array([117.0, 35.0, 195.0, 136.0])
    mu, tau, h = -3.1, 0.7, 1e-4

    def at(m, t):
        return marginal(y, n, m, t).value

    here = marginal(y, n, mu, tau)
    assert here.slope_mu == pytest.approx((at(mu + h, tau) - at(mu - h, tau)) / (2 * h), abs=1e-5)
    assert here.slope_tau == pytest.approx((at(mu, tau + h) - at(mu, tau - h)) / (2 * h), abs=1e-5)
    mixed = (at(mu + h, tau + h) - at(mu + h, tau - h) - at(mu - h, tau + h)
             + at(mu - h, tau - h)) / (4 * h * h)
    whole = ((at(mu + h, tau) - 2 * at(mu, tau) + at(mu - h, tau)) / h**2, mixed,
             (at(mu, tau + h) - 2 * at(mu, tau) + at(mu, tau - h)) / h**2)
    assert here.curvatures == pytest.approx(whole, abs=1e-3)
    assert values(y, n, np.array([mu, 0.0]), tau) == pytest.approx([at(mu, tau), at(0.0, tau)])


def test_turning_events_into_non_events_turns_the_answer():
    one = pool_proportions([3, 0, 9, 7], [117, 35, 195, 136])
    other = pool_proportions([114, 35, 186, 129], [117, 35, 195, 136])
    assert other.estimate.value == pytest.approx(1 - one.estimate.value, rel=1e-9)
    assert other.prediction.low == pytest.approx(1 - one.prediction.high, rel=1e-6)
    assert other.heterogeneity.value == pytest.approx(one.heterogeneity.value, rel=1e-7)


def test_a_series_without_an_event_counts_and_lowers_the_answer():
    without = pool_proportions([3, 9, 7], [117, 195, 136]).estimate.value
    assert pool_proportions([3, 9, 7, 0], [117, 195, 136, 80]).estimate.value < without


def test_the_order_of_the_series_does_not_matter():
    one = pool_proportions([3, 0, 9, 7], [117, 35, 195, 136])
    other = pool_proportions([7, 9, 0, 3], [136, 195, 35, 117])
    for a, b in zip(one.estimates, other.estimates, strict=True):
        assert (a.value, a.low, a.high) == pytest.approx((b.value, b.low, b.high), rel=1e-8)


@pytest.mark.parametrize(("events", "totals", "words"), [
    ([], [], "fewer than two series"), ([3], [10], "fewer than two series"),
    ([0, 0, 0], [10, 20, 30], "no event in any series"),
    ([10, 20], [10, 20], "an event in every unit"), ([0, 20], [10, 20], "either no event or"),
])
def test_what_cannot_be_pooled_is_said_in_words(events, totals, words):
    found = pool_proportions(events, totals)
    for estimate in found.estimates:
        assert estimate.value is None and words in estimate.flags[0]
    assert words in found.notes[0].lower() and found.new is None


def test_two_series_give_no_prediction_and_say_so():
    found = pool_proportions([92, 3], [846, 43])
    assert found.estimate.value is not None and found.prediction.value is None
    assert "two series cannot tell" in found.prediction.as_text()
    assert found.estimate.low < 0.05 and found.estimate.high > 0.25


def test_series_that_look_alike_are_not_said_to_be_alike():
    found = pool_proportions([10, 20, 30], [100, 200, 300])
    assert found.heterogeneity.value == 0 and found.heterogeneity.high > 0.3
    assert any("does not show that they are alike" in note for note in found.notes)


@pytest.mark.parametrize(("events", "totals", "words"), [
    ([1, 2], [10], "2 counts of events for 1 totals"), ([5, 2], [4, 9], "5 events among 4"),
    ([0, 1], [0, 9], "Series 1 counted no unit"), ([1.5, 2], [10, 9], "whole number"),
    ([None, 2], [10, 9], "whole number"), ([-1, 2], [10, 9], "from 0 up"),
])
def test_broken_counts_are_refused_in_a_sentence(events, totals, words):
    with pytest.raises(ValueError, match=words):
        pool_proportions(events, totals)


def test_an_unknown_method_is_refused():
    with pytest.raises(ValueError, match="one of glmm, common"):
        pool_proportions([1, 2], [10, 9], method="inverse variance")


def test_it_shows_itself_with_its_three_numbers_and_what_they_cannot_tell():
    text = str(pool_proportions([5, 6, 8], [202, 39, 192], unit="patient"))
    for words in ("3 series, 19 events among 433", "confidence interval", "prediction interval",
                  "standard deviation between series", "say little"):
        assert words in text
