"""Missing outcomes: the weighted proportion against R, and the bounds by hand."""

from __future__ import annotations

import numpy as np
import pytest
from reference_runs import assert_same, recorded, run_r
from small_cohort import small_tables

from analyses.measures.missing_outcome import (
    FEWEST,
    missing_outcome_estimates,
    observation_terms,
    questioned,
)
from analyses.population.unit_frames import units_of
from analyses.statistics.proportions.weighted_proportion import _weighted, weighted_proportion
from analyses.statistics.regression.firth import penalised_logistic

R = recorded("observation_weights")
UNITS = units_of(small_tables())


def births() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """MASS birthwt: outcome with gaps, centred age and smoking, pairs as patients."""
    data = R["data"]
    seen = np.array(data["seen"], float)
    outcome = np.where(seen == 1, np.array(data["low"], float), np.nan)
    terms = np.column_stack([data["age"], data["smoke"]]).astype(float)
    return outcome, terms - terms.mean(axis=0), np.array(data["patient"])


def test_weighted_value_and_variance_as_in_r() -> None:
    outcome, terms, patient = births()
    found = weighted_proportion(outcome, terms, patient)
    assert found.value == pytest.approx(R["value"], rel=1e-8)
    seen = ~np.isnan(outcome)
    design = np.column_stack([np.ones(len(outcome)), terms])
    chance = penalised_logistic(design, seen.astype(float)).risk
    _, variance = _weighted(np.nan_to_num(outcome), seen, chance, design, patient - 1)
    assert variance == pytest.approx(R["variance"], rel=1e-6)


def test_the_interval_holds_the_value_and_the_effective_number_is_capped() -> None:
    outcome, terms, patient = births()
    found = weighted_proportion(outcome, terms, patient)
    assert found.low < found.value < found.high
    assert (found.events, found.n) == (int(np.nansum(outcome)), int((~np.isnan(outcome)).sum()))


def test_weighting_undoes_a_loss_that_the_covariate_explains() -> None:
    # 100 of each kind; risk 10 % and 50 %; every second one of the second kind is lost.
    kind = np.repeat([0.0, 1.0], 100)
    event = np.concatenate([np.arange(100) < 10, np.arange(100) < 50]).astype(float)
    lost = (kind == 1) & (np.arange(200) % 2 == 0)
    found = weighted_proportion(np.where(lost, np.nan, event), kind[:, None] - 0.5, range(200))
    assert found.value == pytest.approx(0.30, abs=0.003)
    assert np.nanmean(np.where(lost, np.nan, event)) == pytest.approx(35 / 150)


def test_nothing_missing_gives_words_and_no_weights() -> None:
    outcome, terms, patient = births()
    found = weighted_proportion(np.nan_to_num(outcome), terms, patient)
    assert found.value is None and found.notes()


def test_bounds_by_hand() -> None:
    found = {e.id: e for e in missing_outcome_estimates(UNITS)}
    bounds = found["missing.function.independent.bounds"]
    assert (bounds.events, bounds.n) == (4, 7)
    # Patients 3 and 5 without a late visit: 4/9 at worst, 6/9 at best.
    assert [(b.events, b.n) for b in bounds.beside] == [(4, 9), (6, 9)]
    # Never imaged: lesions of patients 4 and 5 (3 is ongoing). Confirmed of the rest: 2 of 7.
    imaged = found["missing.obliteration.imaged_confirmed.complete"]
    assert (imaged.events, imaged.n) == (2, 7)


def test_too_few_missing_are_not_modelled_and_it_is_said() -> None:
    found = {e.id: e for e in missing_outcome_estimates(UNITS)}
    weighted = found["missing.function.independent.weighted"]
    assert weighted.value is None
    assert "no model of observation" in weighted.as_text()


def test_terms_enter_only_as_numbers_allow() -> None:
    frame = questioned(UNITS)["function.independent"].frame
    names, values = observation_terms(frame, UNITS)
    assert names == [] and values.shape == (len(frame), 0)
    assert FEWEST == 5


@pytest.mark.reference
def test_r_still_gives_the_recorded_values() -> None:
    assert_same(run_r("observation_weights"), R, rel=1e-7)
