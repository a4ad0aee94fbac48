"""What a worked-out value is made from: every field is taken away in turn, and the values that
change are those that say so, no other."""

from __future__ import annotations

import pandas as pd
import pytest

from registry.clinical.grading import GRADE_COLUMNS, add_grades
from registry.clinical.technique import case_numbers, session_technique
from registry.clinical.worked_values import GRADES, worked_values
from registry.schema import TABLES
from synthetic_cohort import make_cohort

Tables = dict[str, pd.DataFrame]


def worked(tables: Tables) -> dict[str, pd.Series]:
    """Every worked-out value of these tables by the name of its column."""
    grades = add_grades(tables["patients"], tables["lesions"], tables["sessions"],
                        tables["radiosurgeries"], tables["resections"])
    sessions = session_technique(tables["sessions"], tables["injections"], tables["lesions"])
    found = {name: grades[name] for name in GRADE_COLUMNS}
    found |= {str(name): sessions[name] for name in sessions.columns}
    return {**found, "case_number": case_numbers(tables["sessions"])}


@pytest.fixture(scope="module")
def tables() -> Tables:
    """A service in which every field makes a difference to some lesion or session.

    One lesion was irradiated before it was embolized, shortly before the patient was 40; one
    injection had no pause, and so no longest one.
    """
    found = dict(make_cohort(150, 5, missing_share=0.0).tables)
    rays, shots = found["radiosurgeries"].copy(), found["injections"].copy()
    early, patients = found["sessions"]["session_date"].min(), found["patients"].copy()
    rays.loc[rays.index[0], "radiosurgery_date"] = early
    irradiated = patients["patient_id"] == rays["patient_id"].iloc[0]
    patients.loc[irradiated, "age_y"] = 39.9
    patients.loc[irradiated, "presentation_date"] = early
    first = shots.index[shots["pauses_s"].notna()][0]
    shots.loc[first, ["pauses_s", "longest_pause_s"]] = [0.0, float("nan")]
    return {**found, "patients": patients, "radiosurgeries": rays, "injections": shots}


@pytest.fixture(scope="module")
def made_from(tables: Tables) -> dict[str, set[str]]:
    """Worked-out value → the fields without which it is another."""
    whole = worked(tables)
    found: dict[str, set[str]] = {name: set() for name in whole}
    for table in ("patients", "lesions", "sessions", "injections", "resections",
                  "radiosurgeries"):
        for field in TABLES[table].fields:
            if field.key:
                continue
            blank = pd.Series(pd.NA, index=tables[table].index, dtype="object")
            frame = tables[table].assign(**{field.name: blank.astype(field.dtype)
                                            if field.dtype != "float64" else float("nan")})
            for name, values in worked({**tables, table: frame}).items():
                if not values.equals(whole[name]):
                    found[name].add(f"{table}.{field.name}")
    return found


@pytest.mark.parametrize("value", worked_values(), ids=lambda value: value.name)
def test_a_value_is_made_from_the_fields_that_it_names(value, made_from):
    assert made_from[value.name] == set(value.uses)


def test_every_grade_is_declared_in_its_order():
    assert [value.name for value in GRADES] == list(GRADE_COLUMNS)
