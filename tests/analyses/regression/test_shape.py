"""Splines and the question whether a straight line is enough."""

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from analyses.statistics.regression.functional_form import functional_form
from analyses.statistics.regression.splines import default_knots, spline_basis


def test_the_basis_is_harrells():
    # Harrell, Regression Modeling Strategies 2015, equation 2.25, written out for one value.
    knots, x = (1.0, 2.0, 4.0, 7.0), 5.0
    first = ((x - 1) ** 3 - (x - 4) ** 3 * (7 - 1) / (7 - 4)) / (7 - 1) ** 2
    second = ((x - 2) ** 3 - (x - 4) ** 3 * (7 - 2) / (7 - 4)) / (7 - 1) ** 2
    np.testing.assert_allclose(spline_basis(np.array([x]), knots)[0], [x, first, second])


def test_it_is_straight_beyond_the_outer_knots_and_smooth_at_them():
    knots = (0.0, 1.0, 2.0, 4.0)
    for ends in (np.linspace(-3, 0, 7), np.linspace(4, 9, 7)):
        assert np.abs(np.diff(spline_basis(ends, knots), 2, axis=0)).max() < 1e-9
    around = spline_basis(np.array([1 - 1e-6, 1.0, 1 + 1e-6]), knots)
    assert np.abs(np.diff(around, 2, axis=0)).max() < 1e-10


def test_default_knots_lie_at_the_published_quantiles():
    values = np.arange(1.0, 1001.0)
    assert default_knots(values, 3) == tuple(np.quantile(values, [0.10, 0.50, 0.90]))
    assert default_knots(values, 5) == tuple(np.quantile(values, [0.05, 0.275, 0.5, 0.725, 0.95]))
    with pytest.raises(ValueError, match="too few or too tied"):
        default_knots(np.repeat([1.0, 2.0], 20), 4)
    with pytest.raises(ValueError, match="3, 4 or 5"):
        default_knots(values, 9)


def bent(curve, seed=6, patients=400):
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(patients), 2)
    x = rng.normal(size=len(patient))
    risk = expit(-1.5 + (1.2 * x**2 - 1 if curve else 0.5 * x))
    return pd.DataFrame({"patient_id": patient, "x": x, "z": rng.normal(size=len(x)),
                         "event": rng.random(len(x)) < risk})


def test_a_bend_shows_in_the_ratios_of_its_two_parts():
    """Risk falls before the middle and rises after it: seen. A true line: one ratio for both."""
    found = functional_form(bent(True), "event", ["x", "z"], "x", cluster="patient_id")
    assert found.below < 0.7 < 1 / 0.7 < found.above
    assert "as a curve" in found.sentence and "events" in found.sentence
    straight = functional_form(bent(False), "event", ["x", "z"], "x", cluster="patient_id")
    assert found.above / found.below > 4 > straight.above / straight.below > 1 / 4
    assert straight.below == pytest.approx(np.exp(0.5), rel=0.4)
    assert straight.above == pytest.approx(np.exp(0.5), rel=0.4)


def test_the_ratio_a_step_is_that_of_the_fitted_curve():
    """Between two values the curve's ratio is that of its predicted odds, whatever the step."""
    data = bent(True)
    found = functional_form(
        data, "event", [{"column": "x", "form": "linear", "per": 0.5}, "z"], "x",
        cluster="patient_id")
    low, middle = np.quantile(data["x"], [0.1, 0.5])
    frame = data.iloc[[0, 0]].assign(x=[low, middle])
    one, two = found.curve.predict(frame)
    odds = (two / (1 - two)) / (one / (1 - one))
    assert found.below == pytest.approx(odds ** (0.5 / (middle - low)))


def test_only_a_term_of_the_model_can_be_asked_about():
    with pytest.raises(ValueError, match="'w' is not among the terms"):
        functional_form(bent(False), "event", ["x"], "w")
