"""Drafts of sheets in other people's words: right wherever they are sure, open where not."""

from __future__ import annotations

import datetime as dt
import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from old_sheets import write_sheet

from registry.old_sheets.draft.drafting import draft_mapping
from registry.problems.problem import OutputError, SourceError


def draft(folder: Path, rows: list[list[Any]]) -> tuple[dict[str, Any], str, list[str]]:
    lines = draft_mapping(write_sheet(folder / "old.xlsx", rows), folder / "draft.toml")
    text = (folder / "draft.toml").read_text(encoding="utf-8")
    return tomllib.loads(text), text, lines


def entries(content: dict[str, Any]) -> dict[str, Any]:
    return {entry["heading"]: entry.get("field", "open" if entry.get("open") else "left out")
            for entry in content["column"]}


def sheet_of(columns: dict[str, list[Any]]) -> list[list[Any]]:
    return [list(columns), *map(list, zip(*columns.values(), strict=True))]


N = 8
OTHER_WORDS = {
    "MRN": [70000 + k for k in range(N)],
    "Patient name": ["x"] * N,
    "Gender": ["M", "F", "F", "M", "F", "F", "M", "F"],
    "Age at diagnosis": [23, 45, 31, 60, 18, 52, 39, 47],
    "Date of diagnosis": [dt.datetime(2014, 1 + k, 3) for k in range(N)],
    "Mode of presentation": ["seizure", "ICH", "headache", "ICH", "seizure", "incidental"] * 1
    + ["ICH", "headache"],
    "Rankin before": [0, 1, 2, 1, 0, 0, 3, 1],
    "Lobe": ["frontal", "parietal", "temporal", "occipital", "frontal", "thalamus", "parietal",
             "cerebellum"],
    "Laterality": ["L", "R", "L", "R", "R", "L", "midline", "L"],
    "Max diameter (mm)": [22, 35, 41, 18, 27, 33, 52, 30],
    "Spetzler-Martin": ["II", "III", "IV", "I", "II", "III", "IV", "II"],
    "Eloquence": ["yes", "no", "yes", "no", "no", "yes", "yes", "no"],
    "Embolization 1 date": [dt.datetime(2015, 1 + k, 5) for k in range(N)],
    "Embolization 1 occlusion (%)": [30, 40, 80, 95, 20, 60, 50, 75],
    "Embolization 2 date": [None, dt.datetime(2015, 8, 9)] * 4,
    "Embolization 2 occlusion (%)": [None, 70, None, 99, None, 85, None, 90],
    "Fluoro time": [25, 31, 44, 18, 60, 35, 29, 41],
    "Estimated blood loss": [200, 450, 300, 150, 800, 250, 100, 500],
    "Follow-up date": [dt.datetime(2017, 1 + k, 5) for k in range(N)],
    "Follow-up mRS": [0, 1, 1, 2, 0, 0, 3, 1],
    "Ward": ["A1", "B2", "A1", "C3", "B2", "B2", "A1", "C3"],
    "Contact": [f"01632 960{k:03d}" for k in range(N)],
    "Comments": ["see letter", None, None, "films lost", None, None, None, "x"],
}
MEANT = {
    "Patient name": "left out", "Gender": "patients.sex", "Age at diagnosis": "patients.age_y",
    "Date of diagnosis": "patients.presentation_date",
    "Mode of presentation": "patients.presentation", "Rankin before": "patients.mrs_before",
    "Lobe": "lesions.location", "Laterality": "lesions.side",
    "Max diameter (mm)": "lesions.nidus_length_mm",
    "Spetzler-Martin": "lesions.sm_grade_recorded", "Eloquence": "lesions.eloquent",
    "Embolization 1 date": "sessions.session_date",
    "Embolization 1 occlusion (%)": "sessions.occlusion_after_pct",
    "Embolization 2 date": "sessions.session_date",
    "Embolization 2 occlusion (%)": "sessions.occlusion_after_pct",
    "Fluoro time": "sessions.fluoroscopy_min", "Estimated blood loss": "resections.blood_loss_ml",
    "Follow-up date": "follow_ups.follow_up_date", "Follow-up mRS": "follow_ups.mrs",
    "Ward": "open", "Contact": "left out", "Comments": "left out",
}


def test_other_words_for_the_same_things(tmp_path: Path) -> None:
    content, text, lines = draft(tmp_path, sheet_of(OTHER_WORDS))
    found = entries(content)
    wrong = {h: f for h, f in found.items() if f != MEANT[h] and f != "open"}
    assert wrong == {}
    right = sum(found[heading] == meant for heading, meant in MEANT.items())
    assert right >= 0.85 * len(MEANT)
    assert content["study_codes"]["heading"] == "MRN"
    assert f"{sum(f == 'open' for f in found.values())} left open" in " ".join(lines)
    assert text.count("# DECIDE: ") == int(lines[-1].rsplit(": ", 1)[1].rstrip("."))


def test_repeated_groups_are_written_out_with_their_numbers(tmp_path: Path) -> None:
    content, _, _ = draft(tmp_path, sheet_of(OTHER_WORDS))
    numbers = {e["heading"]: e.get("session_no") for e in content["column"]}
    assert numbers["Embolization 1 date"] == 1 and numbers["Embolization 2 date"] == 2


def test_what_cannot_be_known_is_left_for_a_person(tmp_path: Path) -> None:
    content, text, _ = draft(tmp_path, sheet_of(OTHER_WORDS | {
        "AVM size": ["3x2x2", "4x3x1", "2x2x2", "5x4x3", "1x1x1", "2x2x1", "3x3x2", "2x1x1"]}))
    units = {e["heading"]: e.get("unit") for e in content["column"]}
    assert units["Fluoro time"] == "?"
    # Two columns could be the largest diameter: neither is called sure.
    assert entries(content)["AVM size"] == entries(content)["Max diameter (mm)"] == "open"
    assert content["draft"] is True and '# dates = "day first"' not in text


def test_the_order_of_dates_is_counted_and_not_proposed(tmp_path: Path) -> None:
    columns = dict(OTHER_WORDS)
    columns["Follow-up date"] = ["03/04/2017", "25/12/2017", "12/25/2017", "1/2/17", "5/5/2017",
                                 "2017-01-01", None, None]
    content, text, _ = draft(tmp_path, sheet_of(columns))
    assert "1 fit only the day first, 1 only the month first, 2 either way" in text
    assert "dates" not in content["sheet"] and "short_years_from" not in content["sheet"]


def test_identifiers_are_left_out_and_their_content_is_nowhere(tmp_path: Path) -> None:
    columns = {
        "Case": ["Qwerty Uiopas", "Asdfgh Jklzxc", "Zxcvbn Mlkjhg", "Poiuyt Rewqas"],
        "Ref": [f"78-{k}5543{k}1" for k in range(4)],
        "When": [dt.datetime(1950 + k, 1, 1) for k in range(4)],
        "Embolization date": [dt.datetime(2015, 1, 1 + k) for k in range(4)],
        "Sent to": [f"p{k}@example.org" for k in range(4)],
        "Sex": ["F", "M", "F", "someone@example.org"],
    }
    content, text, lines = draft(tmp_path, sheet_of(columns))
    found = {e["heading"]: e.get("leave_out", "") for e in content["column"]}
    assert "name" in found["Case"] and "long number" in found["Ref"]
    assert "date of birth" in found["When"] and "e-mail" in found["Sent to"]
    whole = text + "\n".join(lines)
    for secret in ("Qwerty", "Asdfgh", "55430", "1950", "@example.org"):
        assert secret not in whole


@pytest.mark.parametrize("heading", [
    'with "quotes"', "back\\slash", "line\nbreak", "tab\there", "Ünï→∞", "a" * 300, "# hash",
    "[[column]]", "= 1",
])
def test_every_heading_stands_in_the_draft_word_for_word(tmp_path: Path, heading: str) -> None:
    content, _, _ = draft(tmp_path, [["Code", heading, "Age"], ["N-0001", 1, 40], ["N-0002", 2, 3]])
    wanted = " ".join(heading.split())
    assert wanted in [entry["heading"] for entry in content["column"]]
    json.dumps(content)


def test_same_headings_and_missing_ones_are_told_apart_by_letters(tmp_path: Path) -> None:
    content, _, _ = draft(tmp_path, [
        ["Code", "Date", "Vol", "Date", "Vol", None],
        ["N-0001", "2015-01-01", 1, "2016-01-01", 2, "?!"],
        ["N-0002", "2015-01-01", 1, "2016-01-01", 2, "!!"]])
    assert [(e["heading"], e.get("column")) for e in content["column"]] == [
        ("Code", None), ("Date", "B"), ("Vol", "C"), ("Date", "D"), ("Vol", "E"), ("", "F")]


def test_titles_totals_and_signs_for_nothing_are_found(tmp_path: Path) -> None:
    rows = [["Our AVMs"], [], *sheet_of(OTHER_WORDS), ["Total", None, None, 40]]
    rows[4][3] = "n/k"
    content, _, _ = draft(tmp_path, rows)
    assert content["sheet"]["headings_in_row"] == 3 and "n/k" in content["sheet"]["blank"]
    assert content["leave_out_rows"] == [
        {"heading": "MRN", "is": ["total"], "because": "totals, not a patient"}]


def test_a_sheet_of_sessions_is_not_taken_for_one_of_patients(tmp_path: Path) -> None:
    rows = [["Patient ID", "Session date", "Contrast (ml)"]]
    rows += [[f"N-000{1 + k // 2}", dt.datetime(2015, 1 + k, 1), 100 + k] for k in range(8)]
    content, text, _ = draft(tmp_path, rows)
    assert entries(content)["Patient ID"] == "patients.patient_id"
    assert content["sheet"]["one_row_is"] == "?" and content["numbers"]["session_no"] == "counted"


def test_a_draft_replaces_nothing_and_needs_a_table(tmp_path: Path) -> None:
    (tmp_path / "draft.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="never replaces a mapping"):
        draft(tmp_path, sheet_of(OTHER_WORDS))
    (tmp_path / "draft.toml").unlink()
    with pytest.raises(SourceError, match="no row of headings"):
        draft(tmp_path, [[1, 2, 3], [4, 5, 6]])
