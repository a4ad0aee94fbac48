"""The baseline table against R (MASS birthwt), the tableone package, and by hand."""

from __future__ import annotations

import pandas as pd
import pytest
from reference_runs import assert_same, recorded, run_r
from small_cohort import small_tables

from analyses.measures.baseline import (
    LESION_FIELDS,
    PATIENT_FIELDS,
    baseline_estimates,
    baseline_frame,
    level_id,
)
from analyses.measures.measuring import mean_of, median_of
from analyses.population.unit_frames import units_of
from analyses.statistics.estimate import Estimate
from analyses.statistics.proportions.standardised import standardised_difference
from registry.schema import TABLES as SCHEMA

TABLES = small_tables()
UNITS = units_of(TABLES)
R = recorded("baseline")


@pytest.fixture(scope="module")
def births() -> pd.DataFrame:
    """MASS birthwt: 189 births, one row a mother."""
    frame = pd.DataFrame(R["data"])
    names = [f"M{i:03d}" for i in range(len(frame))]
    return frame.assign(key=names, patient_id=names)


@pytest.mark.parametrize("column", ["age", "lwt"])
def test_means_and_quartiles_as_in_r(births: pd.DataFrame, column: str) -> None:
    expected = R[column]
    mean = mean_of(births, column, id="x", unit="patient")
    assert mean.value == pytest.approx(expected["mean"], rel=1e-12)
    assert mean.beside[0].value == pytest.approx(expected["sd"], rel=1e-12)
    median = median_of(births, column, id="x", unit="patient")
    quartiles = {e.kind: e.value for e in median.beside}
    low, middle, high = expected["quartiles"]
    assert (quartiles["lower quartile"], median.value, quartiles["upper quartile"]) == (
        low, middle, high)


@pytest.mark.parametrize(("column", "by_levels"), [
    ("age", False), ("lwt", False), ("race", True)])
def test_standardised_differences_as_in_r(
    births: pd.DataFrame, column: str, by_levels: bool
) -> None:
    found = standardised_difference(births, "smoke", ["no", "yes"], column, by_levels,
                                    id="x", unit="patient")
    assert found.value == pytest.approx(R[column]["smd"], rel=1e-10)


def test_standardised_differences_as_in_tableone(births: pd.DataFrame) -> None:
    from tableone import TableOne

    table = TableOne(births, columns=["age", "lwt", "race"], categorical=["race"],
                     continuous=["age", "lwt"], groupby="smoke", smd=True).smd_table
    theirs = table.iloc[:, 0].abs()
    for column, by_levels in (("age", False), ("lwt", False), ("race", True)):
        found = standardised_difference(births, "smoke", ["no", "yes"], column, by_levels,
                                        id="x", unit="patient")
        assert found.value == pytest.approx(float(theirs[column]), rel=1e-9)


def test_a_level_nobody_has_in_one_group_does_not_undo_the_difference() -> None:
    frame = pd.DataFrame({"key": list("abcdefgh"), "g": ["x"] * 4 + ["y"] * 4,
                          "v": ["1", "1", "2", "2", "1", "2", "2", "2"]})
    found = standardised_difference(frame, "g", ["x", "y"], "v", True, id="i", unit="patient")
    # Two levels: |0.5 - 0.75| / sqrt((0.25 + 0.1875) / 2).
    assert found.value == pytest.approx(0.25 / (0.21875**0.5))


def test_groups_that_share_no_level_have_no_standardised_difference() -> None:
    frame = pd.DataFrame({"key": list("abcd"), "g": list("xxyy"), "v": list("1122")})
    found = standardised_difference(frame, "g", ["x", "y"], "v", True, id="i", unit="patient")
    assert found.value is None


def overall(id: str) -> Estimate:
    return next(e for e in baseline_estimates(UNITS) if e.id == id and not e.group)


def test_ages_and_sexes_by_hand() -> None:
    # Ages 31, 32, 33, 34, 35, 36, 37, 39, 40 of the nine treated patients.
    assert overall("baseline.age_y").value == pytest.approx(317 / 9)
    male = overall("baseline.sex.male")
    assert (male.events, male.n) == (2, 9)


def test_what_is_missing_is_shown_as_missing() -> None:
    missing = overall("baseline.hht.missing")
    assert (missing.events, missing.n) == (9, 9)
    assert overall("baseline.hht.yes").n == 0


def test_levels_of_a_field_add_up_to_those_recorded() -> None:
    found = baseline_estimates(UNITS, by=())
    for unit, fields in (("patient", PATIENT_FIELDS), ("lesion", LESION_FIELDS)):
        frame = baseline_frame(UNITS, unit)
        for field in fields:
            if field.how != "levels" or frame[field.column].dtype == "boolean":
                continue
            stem = level_id(field, "").rstrip(".")
            parts = [e for e in found if e.id.rsplit(".", 1)[0] == stem
                     and not e.id.endswith(".missing")]
            assert sum(e.events or 0 for e in parts) == (parts[0].n if parts else 0)


@pytest.mark.parametrize("by", ["sm_grade", "ponce_class", "intent", "agent", "period"])
def test_any_grouping_adds_up_to_the_whole(by: str) -> None:
    found = [e for e in baseline_estimates(UNITS, by=(by,)) if e.id == "baseline.sex.female"]
    whole = next(e for e in found if not e.group)
    assert sum(e.events or 0 for e in found if e.group) == whole.events


def test_every_field_is_in_the_schema_or_worked_out_with_a_label() -> None:
    known = {name for table in SCHEMA.values() for name in table.by_name}
    for field in (*PATIENT_FIELDS, *LESION_FIELDS):
        assert field.column in known or field.label


@pytest.mark.reference
def test_r_still_gives_the_recorded_values() -> None:
    assert_same(run_r("baseline"), R)
