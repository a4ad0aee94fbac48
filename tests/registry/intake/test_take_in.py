"""From a file into a registry, and back as a workbook to be corrected."""

from __future__ import annotations

import shutil

import openpyxl
import pandas as pd
import pytest

from registry.intake.form import WHY_HEADING
from registry.old_sheets.front_door import take_in_file
from registry.schema import TABLES
from registry.store.registry import open_registry


@pytest.fixture
def registry(tmp_path):
    return open_registry(tmp_path / "registry.db")


def codes(registry, table="patients"):
    return list(registry.tables()[table]["patient_id"])


def correct(path, sheet, heading, source_row_text, value):
    """Type a value into the returned workbook, in the row that came from `source_row_text`."""
    book = openpyxl.load_workbook(path)
    headings = [cell.value for cell in book[sheet][1]]
    for row in book[sheet].iter_rows(min_row=2):
        if row[0].value.startswith(source_row_text):
            row[headings.index(heading)].value = value
    book.save(path)


def test_tidy_patients_go_in_and_again_change_nothing(workbook_path, registry):
    first = take_in_file(workbook_path, registry, by="QI1")
    assert first.exit_code == 0 and sum(first.result.added.values()) == 16
    again = take_in_file(workbook_path, registry)
    assert again.exit_code == 0 and not again.result.changed_anything
    assert "Nothing changed in the registry" in again.summary
    assert "Nothing changed" not in first.summary
    assert sorted(p.name for p in workbook_path.parent.iterdir()) == ["cases.xlsx", "registry.db"]


def test_a_fault_keeps_its_patient_out_whole_and_the_others_go_in(spoil, registry):
    path = spoil({("Sessions", "E3"): "31/02/2020"})
    outcome = take_in_file(path, registry)
    assert outcome.exit_code == 1
    assert all(codes(registry, t) == ["N-0001", "N-0003"]
               for t in ("patients", "lesions", "sessions", "injections", "follow_ups"))
    assert set(registry.held()["patient_id"]) == {"N-0002"} and len(registry.held()) == 5
    assert "N-0002" in outcome.summary


def test_what_stayed_out_comes_back_marked_and_with_reasons_and_goes_in_when_corrected(
    spoil, registry
):
    path = spoil({("Sessions", "E3"): "31/02/2020", ("Patients", "D3"): "femal"})
    outcome = take_in_file(path, registry)
    assert outcome.returned.name == "cases-to-correct.xlsx"
    book = openpyxl.load_workbook(outcome.returned)
    patients, sessions = book["Patients"], book["Sessions"]
    assert patients["A1"].value == WHY_HEADING
    assert patients.max_row == 2 and patients["B2"].value == "N-0002"
    assert '"female"' in patients["A2"].value and "Patients, row 3" in patients["A2"].value
    assert '"female"' in patients["E2"].comment.text
    assert patients["E2"].border.left.style == "medium" or patients["E2"].border.left.style
    assert patients["F2"].comment is None
    assert sessions["F2"].value == "31/02/2020"
    assert "waits with N-0002" in book["Lesions"]["A2"].value

    correct(outcome.returned, "Patients", "Sex *", "Patients, row 3", "female")
    correct(outcome.returned, "Sessions", "Session date *", "Sessions, row 3", "2020-03-09")
    second = take_in_file(outcome.returned, registry)
    assert second.exit_code == 0, second.summary
    assert second.batch.source_id == outcome.batch.source_id
    assert codes(registry) == ["N-0001", "N-0002", "N-0003"]
    assert registry.held().empty and second.returned is None


def test_returned_copies_do_not_write_over_one_another_and_a_half_mended_one_comes_back(
    spoil, registry
):
    path = spoil({("Sessions", "E3"): "31/02/2020", ("Patients", "D3"): "femal"})
    first = take_in_file(path, registry)
    correct(first.returned, "Patients", "Sex *", "Patients, row 3", "female")
    half = first.returned.read_bytes()
    second = take_in_file(first.returned, registry)
    assert second.exit_code == 1 and second.returned.name == "cases-to-correct-2.xlsx"
    assert first.returned.read_bytes() == half
    third = take_in_file(path, registry)
    assert third.returned.name == "cases-to-correct-3.xlsx" and first.returned.read_bytes() == half


def test_the_same_file_again_finds_its_returned_copy_there_already(spoil, registry):
    path = spoil({("Patients", "D3"): "femal"})
    first, second = take_in_file(path, registry), take_in_file(path, registry)
    assert first.returned == second.returned and first.problem_list == second.problem_list


def test_trying_changes_nothing_at_all(spoil, registry, tmp_path):
    path = spoil({("Patients", "D3"): "femal"})
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir() if p.is_file()}
    outcome = take_in_file(path, registry, dry_run=True)
    assert outcome.exit_code == 1 and "nothing was written" in outcome.summary
    assert 'Patients, row 3, column "Sex": found "femal"' in outcome.summary
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir() if p.is_file()} == before


def test_a_fault_of_the_file_writes_nothing(tmp_path, registry):
    path = tmp_path / "cases.xlsx"
    path.write_bytes(b"not a workbook")
    outcome = take_in_file(path, registry)
    assert outcome.exit_code == 2 and "not a workbook" in outcome.summary
    assert [p.name for p in tmp_path.iterdir()] == ["cases.xlsx"]


def test_queries_alone_end_well_and_are_listed(spoil, registry, column):
    path = spoil({("Lesions", f"{column('lesions', 'sm_grade_recorded')}2"): 5})
    outcome = take_in_file(path, registry)
    assert outcome.exit_code == 0 and outcome.returned is None
    rows = list(openpyxl.load_workbook(outcome.problem_list).active.values)
    assert rows[1][:3] == ("please check", "Lesions", 2)
    assert len(codes(registry)) == 3


def test_a_corrected_row_of_the_same_source_becomes_a_revision(spoil, registry):
    take_in_file(spoil({("Patients", "C2"): 40}), registry)
    outcome = take_in_file(spoil({("Patients", "C2"): 41}), registry)
    assert outcome.exit_code == 0 and outcome.result.revised["patients"] == 1
    assert registry.tables()["patients"]["age_y"].iloc[0] == 41


def test_another_sources_value_is_a_clash_that_comes_back_in_the_returned_workbook(
    workbook_path, csv_path, registry
):
    take_in_file(workbook_path, registry)
    patients = pd.read_csv(csv_path / "patients.csv")
    patients.loc[0, "age_y"] = 50
    patients.to_csv(csv_path / "patients.csv", index=False)
    outcome = take_in_file(csv_path, registry)
    assert outcome.exit_code == 1 and len(outcome.result.clashes) == 1
    assert {row.patient_id for row in outcome.batch.held} == {"N-0001"}
    assert outcome.returned.name == "cases-csv-to-correct.xlsx"
    assert "another source" in openpyxl.load_workbook(outcome.returned)["Patients"]["A2"].value
    taken = {n: len(t) for n, t in outcome.batch.tables.items()}
    for name, count in outcome.batch.rows_read.items():
        assert taken[name] + sum(r.table == name for r in outcome.batch.held) == count
    assert take_in_file(csv_path, registry, replace=True).exit_code == 0
    assert registry.tables()["patients"]["age_y"].iloc[0] == 50


def test_a_follow_up_finds_its_patient_in_the_registry(csv_path, registry):
    take_in_file(csv_path, registry)
    later = csv_path.with_name("later")
    shutil.copytree(csv_path, later)
    visits = pd.read_csv(later / "follow_ups.csv")
    visits["follow_up_no"], visits["follow_up_date"] = 2, "2021-03-01"
    visits.to_csv(later / "follow_ups.csv", index=False)
    for name in ("patients", "lesions", "sessions", "injections", "services"):
        frame = pd.read_csv(later / f"{name}.csv")
        frame.iloc[:0].to_csv(later / f"{name}.csv", index=False)
    outcome = take_in_file(later, registry)
    assert outcome.exit_code == 0, outcome.summary
    assert len(registry.tables()["follow_ups"]) == 6


def test_a_column_the_source_does_not_have_leaves_the_registered_value_to_the_rules(
    csv_path, registry
):
    patients = pd.read_csv(csv_path / "patients.csv").astype({"death_date": object})
    patients.loc[0, "death_date"] = "2020-12-01"
    patients.to_csv(csv_path / "patients.csv", index=False)
    assert take_in_file(csv_path, registry).exit_code == 0
    patients.drop(columns="death_date").to_csv(csv_path / "patients.csv", index=False)
    visits = pd.read_csv(csv_path / "follow_ups.csv")
    visits.loc[0, "mrs"] = 6
    visits.to_csv(csv_path / "follow_ups.csv", index=False)
    outcome = take_in_file(csv_path, registry)
    assert outcome.exit_code == 0, outcome.summary
    assert registry.tables()["patients"]["death_date"].notna().sum() == 1


def test_the_summary_says_what_is_absent(csv_path, registry):
    (csv_path / "services.csv").unlink()
    patients = pd.read_csv(csv_path / "patients.csv").drop(columns=["gcs"])
    patients.to_csv(csv_path / "patients.csv", index=False)
    outcome = take_in_file(csv_path, registry)
    assert outcome.exit_code == 0
    assert "Patients: columns not in the source, none of them required: gcs" in outcome.summary
    assert "Services" in outcome.summary and TABLES["resections"].label in outcome.summary


def test_a_folder_that_may_not_be_written_to_is_said_before_anything_is_taken_in(
    spoil, registry, monkeypatch
):
    from registry.intake import outputs
    from registry.problems.problem import OutputError

    def refuse(self):
        raise OutputError("The folder may not be written to.")

    monkeypatch.setattr(outputs.Beside, "check_writable", refuse)
    outcome = take_in_file(spoil({("Patients", "D3"): "femal"}), registry)
    assert outcome.exit_code == 2 and not registry.exists


def test_progress_is_told(workbook_path, registry):
    steps = []
    take_in_file(workbook_path, registry, progress=lambda *step: steps.append(step))
    assert {step[0] for step in steps} == {
        "reading the workbook", "reading the cells", "checking the rows", "taking in",
    }
    assert all(0 <= done <= total for _, done, total in steps)


def test_a_death_that_makes_a_registered_session_impossible_keeps_the_patient_as_it_was(
    csv_path, registry
):
    take_in_file(csv_path, registry)
    patients = pd.read_csv(csv_path / "patients.csv").astype({"death_date": object})
    patients.loc[0, "death_date"] = "2020-02-01"
    patients.to_csv(csv_path / "patients.csv", index=False)
    for name in ("sessions", "follow_ups"):
        frame = pd.read_csv(csv_path / f"{name}.csv")
        frame[frame["patient_id"] != "N-0001"].to_csv(csv_path / f"{name}.csv", index=False)
    (csv_path / "injections.csv").unlink()
    outcome = take_in_file(csv_path, registry)
    after = [p for p in outcome.problems if p.rule == "after death"]
    assert outcome.exit_code == 1 and {p.table for p in after} == {"sessions", "follow_ups"}
    assert all("already in the registry" in p.sentence() for p in after)
    assert outcome.batch.patients_held == ["N-0001"]
    assert "1 of them is in the registry from an earlier intake" in outcome.summary
    assert registry.tables()["patients"]["death_date"].isna().all()
