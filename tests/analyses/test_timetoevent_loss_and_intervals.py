"""Weighting for loss to follow-up, and events that imaging only brackets.

The weighted curve and its Cox model of the censoring: mgus2 (R survival) by
tests/reference/timetoevent.R. Turnbull's estimate: breast cosmesis data of Finkelstein and Wolfe
1985, Biometrics 41:933, as distributed with the R package MLEcens (Maathuis).
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from reference_runs import recorded

from analyses.statistics.timetoevent.censoring_model import censoring_model
from analyses.statistics.timetoevent.incidence_curves import cumulative_incidence
from analyses.statistics.timetoevent.interval_censoring import interval_censored
from analyses.statistics.timetoevent.weighted_incidence import weighted_cumulative_incidence

WEIGHTED = recorded("timetoevent")["weighted"]
DATA = pd.DataFrame(WEIGHTED["data"])
COVARIATES = DATA[["age", "male", "hgb"]]

RADIOTHERAPY = (
    "45- 6-10 0-7 46- 46- 7-16 17- 7-14 37-44 0-8 4-11 15- 11-15 22- 46- 46- 25-37 46- 26-40 46- "
    "27-34 36-44 46- 36-48 37- 40- 17-25 46- 11-18 38- 5-12 37- 0-5 18- 24- 36- 5-11 19-35 17-25 "
    "24- 32- 33- 19-26 37- 34- 36-"
)
"""Radiotherapy alone: months without and with retraction; nothing after the dash, not seen."""


def _cosmesis() -> tuple[list[float], list[float]]:
    pairs = [pair.split("-") for pair in RADIOTHERAPY.split()]
    return [float(a) for a, _ in pairs], [float(b) if b else np.nan for _, b in pairs]


class TestWeightedForLoss:
    def test_the_model_of_loss_agrees_with_coxph(self) -> None:
        time, event = DATA["time"].to_numpy(), DATA["event"].to_numpy()
        rank = np.unique(time, return_inverse=True)[1]
        model = censoring_model(2.0 * rank + (event == 0), event == 0, COVARIATES.to_numpy(float))
        np.testing.assert_allclose(model.coefficients, WEIGHTED["coefficients"], rtol=1e-7)

    def test_the_weighted_curve_agrees_with_r(self) -> None:
        """A script of the definition (Robins and Finkelstein 2000) on R's coxph and basehaz."""
        found = weighted_cumulative_incidence(DATA["time"], DATA["event"], covariates=COVARIATES,
                                              replicates=2)
        np.testing.assert_allclose(found.table["time"], WEIGHTED["time"])
        np.testing.assert_allclose(found.table["estimate"], WEIGHTED["estimate"], rtol=1e-7)

    def test_without_covariates_it_is_the_plain_estimate(self) -> None:
        """Satten and Datta 2001, Am Stat 55:207: weighting by Kaplan–Meier gives Kaplan–Meier."""
        plain = cumulative_incidence(DATA["time"], DATA["event"])
        found = weighted_cumulative_incidence(DATA["time"], DATA["event"], replicates=100)
        np.testing.assert_allclose(found.table["estimate"], plain.table["estimate"], rtol=1e-12)
        ratio = found.table["se"].iloc[-50] / plain.table["se"].iloc[-50]
        assert 0.8 < ratio < 1.2
        assert any("no covariate of loss" in flag for flag in found.at(100).flags)

    def test_it_takes_out_the_bias_of_loss_that_a_covariate_explains(self) -> None:
        """Those with the covariate have the event and are lost; the truth is known."""
        rng = np.random.default_rng(8)
        n = 2500
        sick = rng.random(n) < 0.5
        ends = rng.exponential(1 / np.where(sick, 0.6, 0.05))
        lost = rng.exponential(1 / np.where(sick, 0.9, 0.02))
        truth = 1 - (np.exp(-0.6 * 2) + np.exp(-0.05 * 2)) / 2
        time, event = np.minimum(ends, lost), (ends <= lost).astype(int)
        plain = cumulative_incidence(time, event).at(2).value
        found = weighted_cumulative_incidence(time, event, covariates={"sick": sick},
                                              replicates=2).at(2).value
        assert plain < truth - 0.05
        assert found == pytest.approx(truth, abs=0.025)

    def test_the_same_seed_gives_the_same_interval(self) -> None:
        first, again = (
            weighted_cumulative_incidence(DATA["time"], DATA["event"], covariates=COVARIATES,
                                          replicates=20).table for _ in range(2)
        )
        assert first.equals(again)

    def test_whole_patients_are_drawn(self) -> None:
        """Every row twice under one patient: as wide as every row once, not narrower."""
        once = weighted_cumulative_incidence(DATA["time"], DATA["event"], replicates=200).at(100)
        twice = weighted_cumulative_incidence(
            np.tile(DATA["time"], 2), np.tile(DATA["event"], 2),
            cluster=np.tile(np.arange(len(DATA)), 2), replicates=200,
        ).at(100)
        assert twice.clusters == len(DATA)
        assert twice.high - twice.low == pytest.approx(once.high - once.low, rel=1e-6)

    def test_words_where_it_hangs_on_little(self) -> None:
        few = DATA.assign(event=DATA["event"].where(DATA.index > 5, 0).where(
            lambda e: (e > 0) | (DATA.index <= 5), 2))
        found = weighted_cumulative_incidence(few["time"], few["event"], covariates=COVARIATES,
                                              replicates=5).at(50)
        assert any("losses for 3 covariates: too few" in flag for flag in found.flags)

    def test_covariates_that_cannot_be_used(self) -> None:
        with pytest.raises(ValueError, match="missing values in hgb"):
            weighted_cumulative_incidence([1, 2], [0, 1], covariates={"hgb": [1.0, None]})
        with pytest.raises(ValueError, match="covariates has 1 rows and duration has 2"):
            weighted_cumulative_incidence([1, 2], [0, 1], covariates={"hgb": [1.0]})
        with pytest.raises(ValueError, match="does not settle"):
            weighted_cumulative_incidence(
                [1, 2, 3, 4, 5, 6], [0, 0, 0, 1, 1, 1], covariates={"x": [1, 1, 1, 0, 0, 0]},
            ).at(2)

    def test_categories_become_columns(self) -> None:
        kind = pd.Series(np.where(DATA["age"] > 70, "old", "young"))
        as_text = weighted_cumulative_incidence(DATA["time"], DATA["event"],
                                                covariates={"kind": kind}, replicates=2)
        as_number = weighted_cumulative_incidence(
            DATA["time"], DATA["event"], covariates={"kind": (kind == "old") * 1}, replicates=2)
        np.testing.assert_allclose(as_text.table["estimate"], as_number.table["estimate"])


class TestEventsBetweenTwoDates:
    def test_turnbull_on_the_breast_cosmesis_data(self) -> None:
        """Masses as published with the R package interval (Fay and Shaw 2010, J Stat Softw
        36(2), output of icfit; from memory)."""
        table = interval_censored(*_cosmesis()).table
        assert table["after"].tolist() == [4, 6, 7, 11, 24, 33, 38, 46]
        assert table["upto"].tolist() == [5, 7, 8, 12, 25, 34, 40, 48]
        printed = [0.0463, 0.0334, 0.0887, 0.0708, 0.0926, 0.0818, 0.1209, 0.4656]
        np.testing.assert_allclose(table["probability"], printed, atol=5.1e-5)

    def test_it_is_the_maximum(self) -> None:
        """At the maximum, and only there, no interval has a gradient above n (Gentleman and
        Geyer 1994, Biometrika 81:618). lifelines' own fit misses it."""
        last, first = _cosmesis()
        found = interval_censored(last, first).maximum_likelihood
        upto = np.where(np.isnan(first), np.inf, first)
        inside = ((np.array(last)[:, None] <= found.after) & (found.upto <= upto[:, None]))
        slope = (inside / (inside @ found.mass)[:, None]).sum(axis=0)
        np.testing.assert_allclose(slope, len(last), rtol=1e-6)
        assert found.excess < 1e-8

    def test_exact_times_give_kaplan_meier(self) -> None:
        time, event = [1.0, 2, 2, 3, 4, 5, 5, 6], [1, 1, 0, 1, 0, 1, 1, 1]
        first = [t if e else np.nan for t, e in zip(time, event, strict=True)]
        found = interval_censored(time, first)
        plain = cumulative_incidence(time, event)
        for t in (1, 2, 3.5, 5, 6):
            assert found.at(t).value == pytest.approx(plain.at(t).value)

    def test_how_wide_the_brackets_are(self) -> None:
        width = interval_censored(*_cosmesis(), measure="months").widths()
        wide = [b - a for a, b in zip(*_cosmesis(), strict=True) if not np.isnan(b)]
        assert width.value == np.median(wide) == 7
        assert width.n == len(wide) == 21
        assert [e.kind for e in width.beside] == ["lower quartile", "upper quartile", "maximum"]
        assert width.beside[-1].value == max(wide) == 16

    def test_the_limits_hold_every_placing_of_the_events(self) -> None:
        found = interval_censored(*_cosmesis(), measure="months")
        estimate = found.at(30)
        early, middle, late = estimate.beside
        assert early.value > middle.value > late.value
        assert estimate.low == min(e.low for e in estimate.beside)
        assert estimate.high == max(e.high for e in estimate.beside)
        assert late.value < estimate.value < early.value

    def test_inside_an_interval_the_estimate_is_a_range(self) -> None:
        estimate = interval_censored(*_cosmesis(), measure="months").at(39)
        assert any("not determined between 38 and 40 months" in flag for flag in estimate.flags)
        assert 0.4136 < estimate.value < 0.5345

    def test_the_sentence_says_what_it_changes(self) -> None:
        said = interval_censored(*_cosmesis(), measure="months").sentence(30)
        assert said.startswith("The 21 events are known only to lie between two dates, a median "
                               "of 7 months apart (at most 16 months); with each at its earliest")
        assert interval_censored([1, 2], [None, None]).sentence(1).startswith("No event was seen")

    def test_past_follow_up_there_are_words(self) -> None:
        estimate = interval_censored([1, 2, 3], [2, np.nan, np.nan]).at(5)
        assert estimate.value is None
        assert any("nobody was followed so long" in flag for flag in estimate.flags)

    def test_dates_the_wrong_way_round_are_refused(self) -> None:
        with pytest.raises(ValueError, match="first_positive lies before last_negative in row 2"):
            interval_censored([1, 5], [2, 3])
        with pytest.raises(ValueError, match="Nobody is followed"):
            interval_censored([], [])
