"""Gaps are filled patient by patient, and pooled as Rubin, Barnard and Rubin say."""

import numpy as np
import pandas as pd
import pytest
from clustered_data import Cell, as_frame, draw

from analyses.statistics.regression.fitting import fit
from analyses.statistics.regression.imputation import impute
from analyses.statistics.regression.imputed_fit import fit_imputed
from analyses.statistics.regression.rubin import pool


def sessions(seed=41, patients=200):
    cell = Cell(patients, 0.15, 2.5, 0.2, "continuous session")
    return as_frame(*draw(cell, np.random.default_rng(seed)))


def with_gaps(data, seed=1, exposure=0.25, grade=0.2):
    rng = np.random.default_rng(seed)
    data = data.copy()
    data.loc[rng.random(len(data)) < exposure, "exposure"] = np.nan
    patients = data["patient_id"].unique()
    data.loc[data["patient_id"].isin(patients[rng.random(len(patients)) < grade]), "sm_grade"] = (
        np.nan)
    return data


def test_a_property_of_the_patient_is_imputed_once_a_patient():
    data = with_gaps(sessions())
    found = impute(data, ["exposure", "sm_grade"], "event", cluster="patient_id", times=3)
    assert found.constant == ("sm_grade",)
    for frame in found.frames:
        assert (frame.groupby("patient_id")["sm_grade"].nunique() == 1).all()
        assert frame[["exposure", "sm_grade"]].notna().all(axis=None)
    first, second = found.frames[0]["sm_grade"], found.frames[1]["sm_grade"]
    assert (first != second).any()


def test_what_is_recorded_is_never_changed():
    data = with_gaps(sessions())
    found = impute(data, ["exposure", "sm_grade"], "event", cluster="patient_id", times=2)
    seen = data["exposure"].notna().to_numpy()
    for frame in found.frames:
        assert (frame["exposure"].to_numpy()[seen] == data["exposure"].to_numpy()[seen]).all()
        assert set(frame["sm_grade"]) <= set(data["sm_grade"].dropna())
    assert found.gaps["exposure"].sum() == (~seen).sum()


def test_a_value_known_in_one_row_of_the_patient_is_known_in_all():
    data = sessions()
    twice = data["patient_id"].duplicated()
    before = data["sm_grade"].to_numpy(copy=True)
    data.loc[twice, "sm_grade"] = np.nan
    found = impute(data, ["sm_grade"], "event", cluster="patient_id", times=2)
    assert not found.gaps["sm_grade"].any()
    assert (found.frames[0]["sm_grade"].to_numpy() == before).all()


def test_factors_and_yes_no_columns_keep_their_values():
    data = sessions()
    rng = np.random.default_rng(5)
    data["agent"] = np.where(data["exposure"] > 0, "EVOH 6 %", "EVOH 8 %")
    data["halted"] = (data["exposure"] > 0.5)
    data["halted"] = data["halted"].astype("boolean")
    gap = rng.random(len(data)) < 0.3
    truth = data["agent"].to_numpy(copy=True)
    data.loc[gap, "agent"] = None
    data.loc[rng.random(len(data)) < 0.2, "halted"] = pd.NA
    found = impute(data, ["exposure", "agent", "halted"], "event", cluster="patient_id", times=2)
    frame = found.frames[0]
    assert set(frame["agent"]) == {"EVOH 6 %", "EVOH 8 %"} and frame["halted"].notna().all()
    # The agent follows from the exposure, so most gaps must come back right.
    assert (frame["agent"].to_numpy()[gap] == truth[gap]).mean() > 0.85


def test_columns_as_a_freeze_has_them_keep_their_types():
    data = sessions()
    data = data.assign(sm_grade=(data["sm_grade"] + 2.8).round().astype("Int64"),
                       event=data["event"].astype("boolean"),
                       patient_id=data["patient_id"].astype("string"),
                       agent=np.where(data["exposure"] > 0, "EVOH 6 %", "EVOH 8 %"))
    data["agent"] = data["agent"].astype("string")
    for place, column in enumerate(("exposure", "agent", "sm_grade")):
        data.loc[data.index[place::6], column] = pd.NA
    found = fit_imputed(data, "event", ["exposure", "agent", "sm_grade"], cluster="patient_id",
                        times=3)
    frame = found.imputation.frames[0]
    assert frame["agent"].dtype == "string" and frame["sm_grade"].dtype == "Int64"
    assert found.n == len(data) and np.isfinite(found.table[["low", "high"]]).all(axis=None)


def test_values_missing_because_of_the_outcome_bias_complete_rows_not_the_imputation():
    estimates = {"whole": [], "imputed": [], "complete": []}
    for seed in range(6):
        data = sessions(seed=100 + seed, patients=300)
        rng = np.random.default_rng(seed)
        # Recorded less often after an event and at a high grade: missing at random.
        chance = np.where((data["event"] == 1) & (data["sm_grade"] > 0), 0.75, 0.10)
        gaps = data.assign(exposure=data["exposure"].where(rng.random(len(data)) > chance))
        terms = ["exposure", "sm_grade"]
        whole = fit(data, "event", terms, cluster="patient_id").table
        found = fit_imputed(gaps, "event", terms, cluster="patient_id", times=5, seed=seed).table
        estimates["whole"].append(whole["estimate"]["sm_grade"])
        estimates["imputed"].append(found["estimate"]["sm_grade"])
        estimates["complete"].append(found["complete_estimate"]["sm_grade"])
    mean = {name: np.mean(values) for name, values in estimates.items()}
    assert abs(mean["complete"] - mean["whole"]) > 0.2
    assert abs(mean["imputed"] - mean["whole"]) < abs(mean["complete"] - mean["whole"]) / 3


def test_the_complete_rows_stand_beside_the_pooled_answer():
    data = with_gaps(sessions())
    found = fit_imputed(data, "event", ["exposure", "sm_grade"], cluster="patient_id", times=5)
    complete = fit(data, "event", ["exposure", "sm_grade"], cluster="patient_id")
    assert found.n == len(data) and found.complete.n == complete.n < found.n
    np.testing.assert_allclose(found.table["complete_estimate"], complete.table["estimate"])
    assert (found.table["df"] < found.clusters).all()
    assert found.table["missing_information"].between(0, 1).all()
    assert "Rubin" in found.estimates("session")[0].method
    assert any(f"exposure {data['exposure'].isna().sum()}" in w for w in found.warnings)


def test_nothing_missing_pools_to_the_plain_fit():
    data = sessions()
    found = fit_imputed(data, "event", ["exposure"], cluster="patient_id", times=3).table
    plain = fit(data, "event", ["exposure"], cluster="patient_id").table
    np.testing.assert_allclose(found[["estimate", "se"]], plain[["estimate", "se"]], rtol=1e-10)


def test_pooling_refuses_a_single_set():
    with pytest.raises(ValueError, match="at least 2"):
        pool(np.ones((1, 2)), np.ones((1, 2)), 50)


def test_a_column_with_nothing_recorded_is_named():
    with pytest.raises(ValueError, match="empty: nothing recorded"):
        impute(sessions().assign(empty=np.nan), ["empty"], "event", cluster="patient_id")


def test_same_seed_same_values():
    data = with_gaps(sessions())
    one, two = (impute(data, ["exposure"], "event", cluster="patient_id", times=2).frames[1]
                for _ in range(2))
    pd.testing.assert_frame_equal(one, two)
