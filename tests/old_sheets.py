"""Small old sheets for tests: rows of cells, a mapping, and what came of them."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

TODAY = dt.date(2026, 1, 1)

HEADINGS = [
    "Hosp no", "Name", "Age", "Sex", "Presented", "Seen", "mRS pre", "Place", "Size", "SM gr.",
    "Eloq", "Drain", "Bled", "S1 date", "S1 pedicles", "S1 vol (cc)", "S1 occl", "S2 date",
    "S2 vol (cc)", "S2 occl", "Complication", "Notes",
]
FIRST = [
    101, "kept out", 34, "F", "ICH", "03/04/2015", "0-1", "Rt frontal", "3.5x2.8x3 cm", "III", "Y",
    "deep only", "N", "10/05/2015", "MCA x2, PCA x1", "1.0 + 0.5cc + 0.25", "80%", "12/06/2015",
    1.5, 95, "none", "see letter",
]
SECOND = [
    "0102", "kept out", 51, "m", "sz", dt.datetime(2016, 2, 3), 2, "L basal ganglia", "25 x 20 mm",
    "II", "n", "-", "n", "20/02/2016", "ACA", "0.7", 60, None, None, None, "aphasia", None,
]
MAPPING = """
[sheet]
headings_in_row = 2
one_row_is = "patients"
dates = "day first"
blank = ["?", "n/a", "nk"]

[study_codes]
heading = "Hosp no"
prefix = "T"
key_file = "test.key"

[numbers]
lesion_no = 1
complication_no = 1

[[leave_out_rows]]
heading = "Hosp no"
is = ["TOTAL"]
because = "totals"

[[column]]
heading = "Name"
leave_out = "a person's name"

[[column]]
heading = "Age"
field = "patients.age_y"

[[column]]
heading = "Sex"
field = "patients.sex"
words = { F = "female", M = "male" }

[[column]]
heading = "Presented"
field = ["patients.presentation", "lesions.haemorrhage_before"]
[column.words]
ICH = { "patients.presentation" = "haemorrhage", "lesions.haemorrhage_before" = true }
sz = { "patients.presentation" = "seizure" }

[[column]]
heading = "Seen"
field = "patients.presentation_date"
part_dates = "middle"

[[column]]
heading = "mRS pre"
field = "patients.mrs_before"
range = "higher"

[[column]]
heading = "Place"
field = ["lesions.side", "lesions.location"]
split = "parts"
words = { Rt = "right", L = "left" }

[[column]]
heading = "Size"
field = ["lesions.nidus_length_mm", "lesions.nidus_width_mm", "lesions.nidus_height_mm"]
split = "diameters"
largest_first = true
unit = "cm"

[[column]]
heading = "SM gr."
field = "lesions.sm_grade_recorded"
words = { I = 1, II = 2, III = 3, IV = 4, V = 5 }

[[column]]
heading = "Eloq"
field = "lesions.eloquent"

[[column]]
heading = "Drain"
field = "lesions.deep_drainage"
words = { "deep only" = "exclusive", "-" = "none" }

[[column]]
heading = "Bled"
leave_out = "the presentation says it"

[[column]]
heading = "S1 date"
field = "sessions.session_date"
session_no = 1

[[column]]
heading = "S1 pedicles"
field = "injections.feeding_artery"
session_no = 1
split = "counted"
count_into = "lesions.feeding_pedicles"

[[column]]
heading = "S1 vol (cc)"
field = "injections.agent_ml"
session_no = 1
split = "parts"
split_at = "+"
unit = "cc"

[[column]]
heading = "S1 occl"
field = "sessions.occlusion_after_pct"
session_no = 1

[[column]]
heading = "S2 date"
field = "sessions.session_date"
session_no = 2

[[column]]
heading = "S2 vol (cc)"
field = "injections.agent_ml"
session_no = 2
injection_no = 1
split = "added up"
unit = "cc"

[[column]]
heading = "S2 occl"
field = "sessions.occlusion_after_pct"
session_no = 2

[[column]]
heading = "Complication"
field = ["complications.kind", "complications.deficit", "complications.death"]
blank = ["none"]
[column.words]
"aphasia" = { "complications.kind" = "ischaemic stroke", "complications.deficit" = "transient", \
"complications.death" = false }

[[column]]
heading = "Notes"
leave_out = "free text without a field"

[[constant]]
field = "patients.site_id"
value = "NORTH"

[[constant]]
field = "patients.research_use"
value = "granted"

[[constant]]
field = "sessions.intent"
value = "before resection"

[[constant]]
field = "sessions.route"
value = "arterial"

[[constant]]
field = "injections.agent"
value = "EVOH 6 %"

[[constant]]
field = "injections.feeding_artery"
value = "MCA"
session_no = 2

[[constant]]
field = "complications.phase"
value = "embolization"

[[constant]]
field = "complications.attribution"
value = "probable"
"""


def rows_of(*patients: list[Any]) -> list[list[Any]]:
    """A title, the headings and these patients."""
    return [["AVM list"], list(HEADINGS), *(list(patient) for patient in patients)]


def write_sheet(path: Path, rows: list[list[Any]]) -> Path:
    """Write rows of cells to an .xlsx file, from the first cell on; None leaves a cell blank."""
    from xlsxwriter import Workbook

    book = Workbook(str(path), {
        "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False,
        "nan_inf_to_errors": True,
    })
    sheet, day = book.add_worksheet("Old"), book.add_format({"num_format": "dd/mm/yyyy"})
    for r, cells in enumerate(rows):
        for c, value in enumerate(cells):
            if isinstance(value, dt.datetime):
                sheet.write_datetime(r, c, value, day)
            elif isinstance(value, str):
                sheet.write_string(r, c, value[:32000])
            elif value is not None:
                sheet.write(r, c, value)
    book.close()
    return path


def write_mapping(folder: Path, text: str = MAPPING) -> Path:
    """Write a mapping beside the sheet."""
    path = folder / "map.toml"
    path.write_text(text, encoding="utf-8")
    return path


def read(folder: Path, rows: list[list[Any]], text: str = MAPPING, **more: Any) -> Any:
    """Read a sheet of these rows through a mapping, on a fixed day."""
    from registry.old_sheets.mapping.mapped_reading import read_mapped

    return read_mapped(write_sheet(folder / "old.xlsx", rows), write_mapping(folder, text),
                       today=TODAY, **more)
