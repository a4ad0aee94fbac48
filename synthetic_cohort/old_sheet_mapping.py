"""The finished mapping of the old sheet, as a fellow would write it after an afternoon.

It states what the sheet's legend says and lists the words that stand in the sheet; what it does
not state is left to be reported.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from registry.schema import FollowUps, Lesions, Patients, Resections, Sessions
from synthetic_cohort.old_sheet import HEADING_ROW, SHEET, OldSheet
from synthetic_cohort.old_sheet_base import AGENT, SESSIONS
from synthetic_cohort.old_sheet_words import BLANKS, NO_COMPLICATION, WORDS

Lines = list[str]


def finished_mapping(sheet: OldSheet, key_file: str = "study-codes.key") -> str:
    """The mapping (TOML) of `sheet`; study codes are made with the key in `key_file`."""
    return "\n".join([
        *_head(key_file), *_rows_left_out(sheet), *_columns(sheet), *_constants(), "",
    ])


def _head(key_file: str) -> Lines:
    return [
        "# The old AVM sheet, one row a patient.",
        "[sheet]",
        f"name = {_text(SHEET)}",
        f"headings_in_row = {HEADING_ROW}",
        'one_row_is = "patients"',
        'dates = "day first"',
        "short_years_from = 1950",
        f"blank = {_list(BLANKS)}",
        "",
        "[study_codes]",
        'heading = "Hosp no"',
        'prefix = "L"',
        f"key_file = {_text(key_file)}",
        "",
        "[numbers]",
        "lesion_no = 1",
        "complication_no = 1",
        "resection_no = 1",
        "radiosurgery_no = 1",
        "",
    ]


def _rows_left_out(sheet: OldSheet) -> Lines:
    return [
        "[[leave_out_rows]]",
        'heading = "No."',
        'is = ["TOTAL"]',
        'because = "the row of totals"',
        "",
        "[[dates_in_rows]]",
        'heading = "Fellow"',
        'is = ["F3"]',
        'order = "month first"',
        'because = "the fellow who wrote the month first"',
        "",
    ]


def _column(heading: str, *statements: str) -> Lines:
    return ["[[column]]", f"heading = {_text(heading)}", *statements, ""]


def _field(name: str, *more: str, **numbers: int) -> tuple[str, ...]:
    return (f"field = {_text(name)}", *(f"{k} = {v}" for k, v in numbers.items()), *more)


def _columns(sheet: OldSheet) -> Lines:
    lines: Lines = []
    for heading, why in (
        ("No.", "a running number"), ("DOB", "a date of birth is not taken in"),
        ("Tel", "a telephone number is not taken in"),
        ("Fellow", "who wrote the row: says the order of its dates"),
        ("Remarks", "free text without a field"),
    ):
        lines += _column(heading, f"leave_out = {_text(why)}")
    lines += _before() + [line for k in range(1, SESSIONS + 1) for line in _session(k)]
    return lines + _complications(sheet) + _afterwards()


def _before() -> Lines:
    mrs = _mrs_words()
    places = WORDS[Lesions.side] | WORDS[Lesions.location]
    return [
        *_column("Age", *_field("patients.age_y")),
        *_column("Sex", *_field("patients.sex", _words(WORDS[Patients.sex]))),
        *_column(
            "Presented with", *_field("patients.presentation", _words(WORDS[Patients.presentation]))
        ),
        *_column("Date seen", *_field("patients.presentation_date", 'part_dates = "middle"')),
        *_column("mRS pre", *_field("patients.mrs_before", 'range = "higher"', mrs)),
        *_column(
            "Location",
            'field = ["lesions.side", "lesions.location"]',
            'split = "parts"',
            'split_at = " "',
            _words(places),
        ),
        *_column(
            "Size",
            'field = ["lesions.nidus_length_mm", "lesions.nidus_width_mm", '
            '"lesions.nidus_height_mm"]',
            'split = "diameters"',
            "largest_first = true",
            'unit = "cm"',
        ),
        *_column("SM gr.", *_field("lesions.sm_grade_recorded", _words(WORDS["sm_grade"]))),
        *_column("Eloq", *_field("lesions.eloquent", _words(WORDS["yes_no"]))),
        *_column(
            "Deep veins", *_field("lesions.deep_drainage", _words(WORDS["deep_drainage"]))
        ),
        *_column("Bled pre", *_field("lesions.haemorrhage_before", _words(WORDS["yes_no"]))),
        *_column("No of feeders", *_field("lesions.feeding_pedicles")),
    ]


def _session(k: int) -> Lines:
    number = {Sessions.session_no: k}
    return [
        *_column(f"Session {k} date", *_field("sessions.session_date", **number)),
        *_column(f"S{k} op", *_field("sessions.operator_id", _words(WORDS["operator"]), **number)),
        *_column(f"S{k} aim", *_field("sessions.intent", _words(WORDS[Sessions.intent]), **number)),
        *_column(f"S{k} pedicles", *_field(
            "injections.feeding_artery", 'split = "counted"', _words(WORDS["artery"]), **number)),
        *_column(f"S{k} vol (cc)", *_field(
            "injections.agent_ml", 'split = "parts"', 'split_at = "+"', 'unit = "cc"', **number)),
        *_column(f"S{k} % occl", *_field("sessions.occlusion_after_pct", **number)),
        *_column(f"S{k} contrast", *_field(
            "sessions.contrast_ml", 'split = "added up"', 'unit = "ml"', **number)),
    ]


def _complications(sheet: OldSheet) -> Lines:
    """The free-text column: every text that stands in the sheet, and what it says."""
    meanings: dict[str, dict[str, object]] = {}
    for cell in sheet.cells:
        if cell.heading == "Complications" and cell.fate == "taken":
            meanings[str(cell.raw)] = {f.field: f.value for f in cell.facts}
    fields = ["complications." + name for name in next(iter(meanings.values()), {"kind": None})]
    lines = []
    for text, values in sorted(meanings.items()):
        said = ", ".join(f'"complications.{k}" = {_value(v)}' for k, v in values.items())
        lines.append(f"{_text(text)} = {{ {said} }}")
    return [
        *_column("Complications", f"field = {_list(fields)}",
                 f"blank = {_list(NO_COMPLICATION)}", f"words = {{ {', '.join(lines)} }}"),
        *_column("Compl date", *_field("complications.onset_date")),
        *_column("Compl session", *_field("complications.session_no")),
    ]


def _afterwards() -> Lines:
    first, last = {FollowUps.follow_up_no: 1}, {FollowUps.follow_up_no: 2}
    occlusion, mrs = _words(WORDS[FollowUps.occlusion]), _mrs_words()
    return [
        *_column("Surgery date", *_field("resections.resection_date")),
        *_column("Surgery result", *_field("resections.result", _words(WORDS[Resections.result]))),
        *_column("EBL (ml)", *_field(
            "resections.blood_loss_ml", 'split = "added up"', 'unit = "ml"')),
        *_column("Deficit after surgery",
                 *_field("resections.deficit", _words(WORDS[Resections.deficit]))),
        *_column("SRS date", *_field("radiosurgeries.radiosurgery_date")),
        *_column("SRS dose", *_field("radiosurgeries.margin_dose_gy")),
        *_column("First FU date", *_field("follow_ups.follow_up_date", **first)),
        *_column("First FU imaging",
                 *_field("follow_ups.imaging", _words(WORDS[FollowUps.imaging]), **first)),
        *_column("First FU result", *_field("follow_ups.occlusion", occlusion, **first)),
        *_column("mRS first FU", *_field("follow_ups.mrs", 'range = "higher"', mrs, **first)),
        *_column("Last seen", *_field("follow_ups.follow_up_date", **last)),
        *_column("Last imaging",
                 *_field("follow_ups.imaging", _words(WORDS[FollowUps.imaging]), **last)),
        *_column("Last imaging result", *_field("follow_ups.occlusion", occlusion, **last)),
        *_column("mRS last", *_field("follow_ups.mrs", 'range = "higher"', mrs, **last)),
        *_column("Died", *_field("patients.death_date")),
        *_column("Cause of death",
                 *_field("patients.death_cause", _words(WORDS[Patients.death_cause]))),
        *_column("Consent", *_field("patients.research_use", _words(WORDS[Patients.research_use]))),
    ]


def _constants() -> Lines:
    lines: Lines = []
    for name, value in (
        ("patients.site_id", "LARCH"), ("sessions.route", "arterial"),
        ("injections.agent", AGENT), ("complications.phase", "embolization"),
        ("complications.attribution", "probable"), ("resections.urgency", "planned"),
    ):
        lines += ["[[constant]]", f"field = {_text(name)}", f"value = {_text(value)}", ""]
    return lines


def _mrs_words() -> str:
    return _words({n: (f"mRS {n}",) for n in range(6)})


def _words(meanings: Mapping[object, Iterable[str]]) -> str:
    """The words of a column and what they mean; letter case does not count, so each once."""
    found: dict[str, str] = {}
    for meaning, words in meanings.items():
        for word in words:
            found.setdefault(word.casefold(), f"{_text(word)} = {_value(meaning)}")
    return "words = { " + ", ".join(found.values()) + " }"


def _value(value: object) -> str:
    if isinstance(value, bool):
        return _text("yes" if value else "no")
    return str(value) if isinstance(value, int) else _text(str(value))


def _list(words: Iterable[str]) -> str:
    return "[" + ", ".join(_text(word) for word in words) + "]"


def _text(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
