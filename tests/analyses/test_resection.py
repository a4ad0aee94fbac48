"""Resection after embolization, counted by hand on the ten patients.

The intervals are those of `shares` and `medians`, whose methods are checked against Newcombe
1998, R survey and R's order statistics in their own tests.
"""

from __future__ import annotations

import pandas as pd
import pytest
from registry_cases import with_cells, with_row
from small_cohort import small_tables

from analyses.measures.declared import estimates_of
from analyses.measures.resection import (
    CONFOUNDED,
    operations_with_extent,
    resected_with_extent,
)
from analyses.population.bands import extent_band, interval_band
from analyses.population.unit_frames import units_of

TABLES = small_tables()


def lesions(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    return resected_with_extent(units_of(tables)).set_index("key")


def test_the_three_extents_meet_at_50_and_90() -> None:
    # The analysis plan: <50, ≥50 to <90, ≥90 %.
    pct = pd.Series([0.0, 49.9, 50.0, 89.9, 90.0, 100.0, None, None])
    before = pd.Series([True] * 7 + [False])
    assert list(extent_band(pct, before)) == [
        "under 50 %", "under 50 %", "50 to under 90 %", "50 to under 90 %", "90 % or more",
        "90 % or more", "not assessed", "not embolized before"]


def test_intervals_from_the_last_session() -> None:
    days = pd.Series([0, 1, 7, 8, 30, 31, None], dtype="Int64")
    assert list(interval_band(days)) == [
        "same day", "1–7 days", "1–7 days", "8–30 days", "8–30 days", "over 30 days",
        "not embolized before"]


def test_extent_and_interval_by_hand() -> None:
    found = lesions(TABLES)[["extent", "interval"]].astype(str).to_dict("index")
    assert found == {
        "A-0001/1": {"extent": "90 % or more", "interval": "1–7 days"},
        # Embolized and operated on one day: embolization came first.
        "A-0006/1": {"extent": "50 to under 90 %", "interval": "same day"},
        "A-0009/1": {"extent": "not embolized before", "interval": "not embolized before"},
    }


def test_new_permanent_deficits_by_hand() -> None:
    found = {(e.id, str(e.group)): (e.events, e.n)
             for e in estimates_of("resection", units_of(TABLES))}
    assert found["resection.permanent_deficit", "None"] == (1, 3)
    assert found["resection.permanent_deficit", "{'extent': '50 to under 90 %'}"] == (1, 1)
    assert found["resection.complete_by_extent", "None"] == (2, 2)


def test_a_deficit_not_yet_known_leaves_the_denominator() -> None:
    tables = with_cells(TABLES, "resections", 0, deficit="not yet known")
    assert lesions(tables)["permanent"].notna().sum() == 2


def test_death_from_the_operation_counts_as_lasting_harm() -> None:
    tables = with_cells(TABLES, "complications", 6, death=True)
    assert lesions(tables).loc["A-0009/1", "permanent"]


def test_harm_of_the_embolization_is_not_put_down_to_the_operation() -> None:
    tables = with_row(TABLES, "complications", 0, patient_id="A-0001", lesion_no=1,
                      onset_date="2020-03-11", deficit="permanent", session_no=2)
    assert not lesions(tables).loc["A-0001/1", "permanent"]


def test_an_event_of_the_operations_phase_counts_once() -> None:
    """Within 30 days of a session and not put down to anything: the embolization's, and said so.

    Put down to the resection: the operation's, and not the embolization's.
    """
    cells = {"patient_id": "A-0001", "lesion_no": 1, "complication_no": 9, "session_no": pd.NA,
             "onset_date": "2020-03-16", "phase": "resection", "deficit": "permanent",
             "injection_no": pd.NA, "cause": pd.NA, "attribution": "possible"}
    blank = with_row(TABLES, "complications", 0, **cells)
    own = with_row(TABLES, "complications", 0, **{**cells, "cause": "resection"})
    for tables, of_embolization, of_operation in ((blank, True, False), (own, False, True)):
        units = units_of(tables)
        assert ("A-0001/1/9" in set(units.events["key"])) == of_embolization
        assert bool(resected_with_extent(units).set_index("key").loc[
            "A-0001/1", "permanent"]) == of_operation
    told = next(e for e in estimates_of("complications", units_of(blank))
                if e.id == "complication.any" and e.unit == "session" and not e.group)
    assert any("not separated from another treatment" in note for note in told.notes())


def test_each_operation_has_the_extent_of_the_session_before_it() -> None:
    # Residual after the first operation, embolized again, operated again.
    tables = with_row(TABLES, "sessions", 1, session_no=3, session_date="2020-04-01",
                      occlusion_after_pct=99.0)
    tables = with_cells(tables, "sessions", 1, occlusion_after_pct=45.0)
    tables = with_row(tables, "resections", 0, resection_no=2, resection_date="2020-04-20",
                      angiography_date="2020-04-22")
    found = operations_with_extent(units_of(tables)).set_index("key")
    assert str(found.loc["A-0001/1/1", "extent"]) == "under 50 %"
    assert str(found.loc["A-0001/1/2", "extent"]) == "90 % or more"
    assert found.loc["A-0001/1/2", "days"] == 19


@pytest.mark.parametrize(("field", "value", "n", "missing"), [
    ("blood_loss_ml", 500.0, 3, 1), ("operation_min", 270.0, 2, 2), ("nights", 11.0, 2, 2)])
def test_medians_by_hand_and_what_is_missing(
    field: str, value: float, n: int, missing: int
) -> None:
    found = next(e for e in estimates_of("resection", units_of(TABLES))
                 if e.id == f"resection.{field}" and not e.group)
    assert (found.value, found.n) == (value, n)
    word = "operation" if missing == 1 else "operations"
    assert f"{missing} {word} without a value left out" in found.notes()


def test_no_operations_give_no_numbers_and_no_failure() -> None:
    tables = {**TABLES, "resections": TABLES["resections"].iloc[:0]}
    found = estimates_of("resection", units_of(tables))
    assert all(e.value is None for e in found)


def test_confounding_is_said_and_no_cause_claimed() -> None:
    assert "confounded by indication" in CONFOUNDED
