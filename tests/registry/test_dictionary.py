"""The data dictionary says of every field what the schema says, and what uses it."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from registry.quality.dictionary import data_dictionary, dictionary_markdown, write_dictionary
from registry.schema import TABLES

ANALYSES = {"lesions.side": ["Left-sided", "Closed", "Closed"], "lesions.eloquent": ["Eloquent"]}


def entry(table: str, field: str) -> dict:
    frame = data_dictionary(ANALYSES)
    return frame[(frame["table"] == table) & (frame["field"] == field)].iloc[0].to_dict()


def test_every_field_once_in_the_order_of_the_schema():
    frame = data_dictionary({})
    assert list(zip(frame["table"], frame["field"], strict=True)) == [
        (name, field) for name, spec in TABLES.items() for field in spec.columns
    ]


def test_every_field_has_a_label_and_a_definition_and_every_measure_a_unit():
    frame = data_dictionary({})
    assert frame["label"].str.len().gt(0).all() and frame["definition"].str.endswith(".").all()
    measures = frame[frame["type"] == "number"]
    assert measures["unit"].str.len().gt(0).all()


def test_limits_lists_and_patterns_are_told():
    length = entry("lesions", "nidus_length_mm")
    assert (length["minimum"], length["maximum"], length["unit"]) == ("above 0", "150", "mm")
    assert (length["required"], length["key"]) == ("yes", "")
    assert entry("patients", "gcs")["minimum"] == "3"
    assert entry("lesions", "side")["values"] == "left, right, midline"
    assert "study code" in entry("patients", "patient_id")["values"]
    assert entry("sessions", "session_no")["key"] == "yes"
    assert entry("patients", "death_date")["required"] == ""


def test_nobody_is_made_to_write_what_is_not_so():
    attribution = entry("complications", "attribution")
    assert attribution["values"].endswith(", unrelated, not reviewed")
    assert attribution["required"] == "yes"
    assert entry("resections", "urgency")["required"] == ""
    assert entry("injections", "feeding_artery")["required"] == ""


def test_a_field_names_the_analyses_the_worked_out_values_and_the_rules_that_use_it():
    assert entry("lesions", "side")["used by"] == "Analyses: Left-sided; Closed."
    assert entry("lesions", "eloquent")["used by"].startswith(
        "Analyses: Eloquent. Worked out: Spetzler–Martin grade; Three-tier class;")
    pauses = entry("injections", "pauses_s")["used by"]
    assert "Worked out: Push time; Mean rate;" in pauses
    assert pauses.endswith("Rules: pauses longer than the injection; no pushing time left.")
    assert entry("injections", "cyanoacrylate_pct")["used by"] == (
        "Rules: cyanoacrylate without its share; cyanoacrylate share of another agent.")
    assert entry("sessions", "systolic_target_mmhg")["used by"] == ""


def test_the_csv_reads_back_as_the_table(tmp_path: Path):
    write_dictionary(tmp_path / "fields.csv", ANALYSES, data_dictionary({}))
    back = pd.read_csv(tmp_path / "fields.csv", dtype="string", keep_default_na=False)
    pd.testing.assert_frame_equal(back, data_dictionary(ANALYSES))


def test_the_markdown_has_a_section_a_table_and_a_line_a_field():
    text = dictionary_markdown(ANALYSES)
    for name, spec in TABLES.items():
        section = text.split(f"## {name}\n")[1].split("\n## ")[0]
        lines = [line for line in section.splitlines() if line.startswith("| ")]
        assert len(lines) == len(spec.fields) + 2
        assert all(line.count(" | ") == 4 for line in lines)
    assert "| nidus_length_mm* | Nidus, largest diameter | a number above 0 and up to 150 mm |" in (
        text
    )
    assert "Analyses: Left-sided; Closed. |" in text
