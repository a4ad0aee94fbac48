"""The technique models tried on their own outcomes, exchanged."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analyses.models.model_plan import PlannedModel
from analyses.models.null_ratios import leaves_out_one, null_ratios
from analyses.models.planned_run import run_model
from analyses.statistics.regression.fitting import fit, fit_outcomes
from analyses.statistics.regression.terms import Term


def sessions(strong: float, seed: int = 4, patients: int = 90) -> pd.DataFrame:
    """Two sessions a patient; the risk rises with `x` where `strong` is not 0."""
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(patients), 2)
    x = rng.normal(size=len(patient))
    event = rng.random(len(x)) < 1 / (1 + np.exp(1.2 - strong * x))
    return pd.DataFrame({"patient_id": patient.astype(str), "key": np.arange(len(x)).astype(str),
                         "x": x, "z": rng.normal(size=len(x)), "event": event})


MODELS = [PlannedModel(f"event by {name}", "session", "event", Term((name,), "linear"))
          for name in ("x", "z")]


def results_of(data: pd.DataFrame):
    return [run_model(model, data, 0.95, "planned") for model in MODELS]


def test_a_true_association_is_seen_and_is_not_what_chance_shows() -> None:
    data = sessions(2.0)
    found = null_ratios(results_of(data), {"session": data}, exchanges=40)
    assert found.printed == 2 and found.seen >= 1 and found.of == "ratio"
    assert found.average < 0.3, "about 5 % of two ratios"
    assert null_ratios(results_of(data), {"session": data}, exchanges=40) == found  # seeded


def test_chance_shows_about_one_in_twenty() -> None:
    """Of 200 exchanges: at most 5 % of the ratios and 3 Monte Carlo errors."""
    data = sessions(0.0, patients=60)
    found = null_ratios(results_of(data)[:1], {"session": data}, exchanges=200)
    assert 0 < found.average <= 0.05 + 3 * (0.05 * 0.95 / 200) ** 0.5


def test_patients_are_exchanged_whole_and_unknown_outcomes_stay_out() -> None:
    """Each patient has one outcome in both rows: so it is after every exchange."""
    from analyses.models.null_ratios import _exchanged

    data = sessions(0.0).assign(event=lambda d: d.groupby("patient_id")["event"].transform("max"))
    data = data.assign(event=data["event"].astype("boolean"))
    data.loc[data["patient_id"] == "7", "event"] = pd.NA
    for values in _exchanged(data, "event", 5, 1):
        after = values.groupby(data.set_index("key").loc[values.index, "patient_id"]).nunique()
        assert (after == 1).all() and "7" not in after.index
        assert values.sum() == data["event"].sum()


def test_the_same_outcomes_give_the_same_model() -> None:
    data = sessions(1.0)
    model = fit(data, "event", ["x", "z"], cluster="patient_id")
    again = fit_outcomes(model, model.rows.y)
    pd.testing.assert_frame_equal(again.table, model.table)
    other = data.assign(event=data["event"].to_numpy()[::-1])
    moved = fit_outcomes(model, other["event"].to_numpy(dtype=float))
    expected = fit(other, "event", ["x", "z"], cluster="patient_id")
    assert moved.events == expected.events
    np.testing.assert_allclose(moved.table, expected.table)


def test_outcomes_too_few_give_no_ratio() -> None:
    data = sessions(1.0)
    model = fit(data, "event", ["x"], cluster="patient_id")
    few = np.zeros(model.n)
    few[:3] = 1
    assert fit_outcomes(model, few).estimator == "exact"
    with pytest.raises(ValueError, match="the same in all"):
        fit_outcomes(model, np.zeros(model.n))
    assert not leaves_out_one(model.estimate("x").__class__(
        id="a.b", kind="odds ratio", value=1.2, low=0.9, high=1.4))
