"""What the check of a registry shows: completeness, queries, held patients, follow-up, trail."""

from __future__ import annotations

import datetime as dt
import math
import sqlite3
from dataclasses import replace

import pytest
from registry_cases import clean_tables, with_cells, with_row
from registry_sources import batch, clean_registry, held_row

from registry.quality.completeness import EXPECTED, completeness
from registry.quality.state import open_queries, quality_report
from registry.schema import TABLES
from registry.store.registry import open_registry

DAY = dt.date(2022, 2, 1)


@pytest.fixture
def registry(tmp_path):
    return clean_registry(tmp_path / "registry.sqlite")


def recorded(tables, table, field):
    frame = completeness(tables)
    row = frame[(frame["table"] == table) & (frame["field"] == field)].iloc[0]
    return row["recorded"], row["expected"], row["share"]


def test_a_blank_counts_against_a_field():
    assert recorded(clean_tables(), "injections", "injection_min") == (1, 2, 0.5)
    assert recorded(clean_tables(), "patients", "gcs") == (0, 1, 0.0)
    assert recorded(clean_tables(), "sessions", "intent") == (2, 2, 1.0)


def test_a_blank_that_nobody_expects_does_not_count():
    assert recorded(clean_tables(), "patients", "death_cause")[1] == 0
    assert math.isnan(recorded(clean_tables(), "patients", "death_cause")[2])
    dead = with_cells(clean_tables(), "patients", death_date="2022-01-01")
    assert recorded(dead, "patients", "death_cause") == (0, 1, 0.0)
    coil = with_cells(clean_tables(), "injections", 1, agent="coil", agent_ml=None)
    assert recorded(coil, "injections", "agent_ml") == (1, 1, 1.0)
    aborted = with_cells(clean_tables(), "sessions", 1, occlusion_status="not assessed",
                         occlusion_after_pct=None)
    assert recorded(aborted, "sessions", "occlusion_after_pct") == (1, 1, 1.0)
    vein = with_cells(clean_tables(), "injections", access="vein", feeding_artery=None)
    assert recorded(vein, "injections", "feeding_artery") == (1, 1, 1.0)


def test_every_field_but_the_keys_is_counted_once():
    frame = completeness(clean_tables())
    assert list(zip(frame["table"], frame["field"], strict=True)) == [
        (name, field.name) for name, spec in TABLES.items() for field in spec.fields
        if not field.key
    ]
    assert frame["recorded"].le(frame["expected"]).all()


def test_what_is_expected_names_fields_that_exist():
    assert all(field in TABLES[table].by_name for table, field in EXPECTED)


def test_queries_name_the_row_in_words():
    tables = with_cells(clean_tables(), "injections", 1, agent_ml=None)
    query = open_queries(tables).iloc[0]
    assert query["row"] == "N-0001, Lesion number 1, Session number 2, Injection number 1"
    assert (query["severity"], query["rule"]) == ("query", "liquid agent without a volume")


def test_a_clean_registry_has_no_errors_and_says_so(registry):
    report = quality_report(registry, today=DAY)
    assert not report.errors
    text = "\n".join(report.lines)
    assert "patients 1, lesions 1, sessions 2" in text
    assert "Held back by errors: nobody." in text and "Open queries: none." in text
    assert "Audit trail: 12 entries, and all of it holds." in text
    assert "Injections, Injection time: 1/2 (50 %)" in text
    assert "schedule: common practice, no source" in text
    assert "N-0001, lesion 1: catheter angiography at 6 months" not in text  # it was done


def test_queries_do_not_make_the_data_wrong(registry):
    registry.take_in(batch(with_cells(clean_tables(), "injections", 1, agent_ml=None)))
    report = quality_report(registry, today=DAY)
    assert not report.errors and len(report.queries) == 1
    text = "\n".join(report.lines)
    assert "liquid agent without a volume (1). Wanted: the volume of every liquid agent" in text
    assert "EVOH 8 % with no volume" in text


def test_patients_held_back_are_errors_and_told_with_their_reasons(registry):
    registry.take_in(batch(clean_tables(), held=[held_row(), held_row(patient_id=None)]))
    report = quality_report(registry, today=DAY)
    assert report.errors
    assert ("Held back by errors: 1 patient (1 row), and 1 row without a readable study code. None "
            "of them has a recorded death or complication.") in report.lines
    assert "  N-0050 (book-1.xlsx): Patients, row 9: a reason." in report.lines
    assert "  without a study code (book-1.xlsx): Patients, row 9: a reason." in report.lines


def test_who_is_held_is_told_with_the_harm_the_file_and_the_place_of_the_fault(registry):
    waits = replace(held_row("lesions", lesion_no="1", row=3), reasons=(
        "This row is in order; it waits with N-0050, whose fault is at Complications, row 9.",))
    older = replace(waits, reasons=("In order itself; waits with N-0050, whose fault is …",))
    dead = held_row("patients", "N-0051", death_date="2020-13-01")
    registry.take_in(batch(clean_tables(), held=[
        held_row("complications"), waits, older, dead, held_row("patients", "N-0052")]))
    lines = quality_report(registry, today=DAY).lines
    assert ("Held back by errors: 3 patients (5 rows). 2 patients of them have a recorded death or "
            "complication: until they are mended, every share of harm is too low.") in lines
    assert ("  N-0050, with a recorded death or complication (book-1.xlsx): Complications, row 9: "
            "a reason; 2 rows that are in order wait with it.") in lines
    assert "  N-0052 (book-1.xlsx): Patients, row 9: a reason." in lines


def test_overdue_follow_up_is_listed(registry):
    later = with_cells(clean_tables(), "follow_ups", imaging="MR angiography")
    registry.take_in(batch(later))
    text = "\n".join(quality_report(registry, today=DAY).lines)
    assert "catheter angiography at 6 months, overdue since 2022-01-23 (9 days)" in text


def test_a_broken_trail_is_an_error(registry, tmp_path):
    raw = sqlite3.connect(tmp_path / "registry.sqlite")
    with raw:
        raw.execute("UPDATE patients SET mrs_before = 0")
    raw.close()
    report = quality_report(registry, today=DAY)
    assert report.errors and "Audit trail: it does not hold." in report.lines


def test_a_new_registry_can_be_looked_at(tmp_path):
    report = quality_report(open_registry(tmp_path / "none.sqlite"), today=DAY)
    assert not report.errors and "nothing is recorded yet" in report.lines[0]


def test_a_long_list_is_cut_and_says_how_much_is_left():
    from registry.quality.state import SHOWN, _cut

    assert _cut(["x"] * SHOWN, SHOWN) == ["x"] * SHOWN
    assert _cut(["x"] * (SHOWN + 7), SHOWN)[-1].strip() == "… and 7 more"


def test_a_large_registry_is_looked_at_whole():
    tables = clean_tables()
    for number in range(2, 30):
        tables = with_row(tables, "patients", like=0, patient_id=f"N-{number:04d}")
    assert (open_queries(tables)["rule"] == "no lesion").sum() == 28
