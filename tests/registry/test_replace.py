"""A replace never loses a row silently: it says what it removes, and a mistyped code stops it."""

from __future__ import annotations

import pandas as pd
import pytest
from registry_cases import clean_tables, with_row, without_rows
from registry_sources import batch, clean_registry, held_row

from registry.old_sheets.front_door import take_in_file
from registry.store.registry import open_registry

STRAY = "rows gone while others have no patient"


@pytest.fixture
def registry(tmp_path):
    return clean_registry(tmp_path / "registry.sqlite")


def with_stray_code(folder, code):
    """The folder's one complication, its study code mistyped."""
    events = pd.read_csv(folder / "complications.csv")
    events["patient_id"] = code
    events.to_csv(folder / "complications.csv", index=False)


@pytest.fixture
def source(tmp_path):
    folder = tmp_path / "cases"
    folder.mkdir()
    for name, frame in clean_tables().items():
        frame.to_csv(folder / f"{name}.csv", index=False)
    return folder


@pytest.mark.parametrize("code", ["N-0011", "N-O001"], ids=["nobody's code", "no code at all"])
def test_a_mistyped_study_code_does_not_remove_the_row(source, tmp_path, code):
    registry = open_registry(tmp_path / "r.sqlite")
    assert take_in_file(source, registry).exit_code == 0
    before = registry.tables()
    with_stray_code(source, code)
    outcome = take_in_file(source, registry, replace=True)
    assert outcome.exit_code == 1
    for name, frame in registry.tables().items():
        pd.testing.assert_frame_equal(frame, before[name])
    found = next(p for p in outcome.problems if p.rule == STRAY)
    assert found.patient_id == "N-0001" and "complications.csv, row 2" in found.found
    assert "Rows removed" not in outcome.summary
    assert len(registry.held()) >= 1  # the stray row waits; nothing of it is lost


def test_only_patients_who_would_lose_rows_of_that_table_wait(registry):
    two = with_row(clean_tables(), "patients", like=0, patient_id="N-0002")
    two = with_row(two, "lesions", like=0, patient_id="N-0002")
    registry.take_in(batch(two))
    fewer = without_rows(two, "complications")
    fewer["patients"].loc[1, "gcs"] = 14
    fewer["patients"].loc[0, "gcs"] = 13
    stray = held_row("complications", None, 9)
    result = registry.take_in(batch(fewer, held=[stray]), replace=True)
    assert result.kept_out == ("N-0001",)
    assert registry.tables()["patients"]["gcs"].tolist()[1] == 14
    assert len(registry.tables()["complications"]) == 1


def test_a_stray_row_of_another_table_stops_nothing(registry):
    fewer = without_rows(clean_tables(), "complications")
    result = registry.take_in(batch(fewer, held=[held_row("follow_ups", None, 9)]), replace=True)
    assert result.removed["complications"] == 1 and result.clashes == []


def test_a_row_under_a_code_that_only_the_registry_knows_stops_the_removal(registry):
    other = with_row(without_rows(clean_tables(), "complications"), "patients", like=0,
                     patient_id="N-0002")
    other = with_row(other, "lesions", like=0, patient_id="N-0002")
    registry.take_in(batch({n: f[f["patient_id"] == "N-0002"] if "patient_id" in f else f
                            for n, f in other.items()}, "folder-2"))
    typed = clean_tables()
    typed["complications"]["patient_id"] = pd.array(["N-0002"], dtype="string")
    typed["complications"]["session_no"] = pd.array([pd.NA], dtype="Int64")
    result = registry.take_in(batch(typed), replace=True)
    assert STRAY in {c.rule for c in result.clashes} and "N-0001" in result.kept_out
    assert "N-0001" in set(registry.tables()["complications"]["patient_id"])


def test_a_replace_says_before_and_after_what_it_removes_of_whom(source, tmp_path):
    registry = open_registry(tmp_path / "r.sqlite")
    take_in_file(source, registry)
    visits = pd.read_csv(source / "complications.csv").iloc[:0]
    visits.to_csv(source / "complications.csv", index=False)
    words = ("because this source gave them before and has them no more (--replace): 1 "
             "(N-0001: Complications 1). The audit trail keeps them.")
    asked = take_in_file(source, registry)
    assert "N-0001, Lesion number 1, Complication number 1, which this source gave" in asked.summary
    assert f"Rows would be removed, {words}" in take_in_file(
        source, registry, replace=True, dry_run=True).summary
    assert f"Rows removed, {words}" in take_in_file(source, registry, replace=True).summary
    trail = registry.audit()
    assert "ischaemic stroke" in set(trail[trail["action"] == "removed"]["before"])
