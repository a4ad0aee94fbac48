"""Tables of a freeze that are worked out from all of the registry before anything is left out.

`grades` (a row a lesion) holds the grades and scores: they use the age before it is capped at
90, so they could not be worked out again from the freeze. `case_numbers` (a row a session)
counts all of an operator's procedures, also those of patients who are then left out. `entries`
says when each row came into the registry.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pandas as pd

from registry.clinical.worked_values import CASE_NUMBER, GRADES, WorkedValue
from registry.privacy.leaving import OLDEST
from registry.schema import TABLES, FieldSpec, Patients, TableSpec

_TYPES = {"float64": "number", "Int64": "int", "string": "text"}


def _key_fields(table: str) -> tuple[FieldSpec, ...]:
    return tuple(field for field in TABLES[table].fields if field.key)


def _table(
    name: str, label: str, definition: str, parent: str | None, fields: tuple[FieldSpec, ...],
) -> TableSpec:
    key = TABLES[parent].key if parent else ()
    return TableSpec(name, label, definition, parent, key, fields)


def _described(value: WorkedValue, type: str) -> FieldSpec:
    return FieldSpec(value.name, type, value.label, value.definition, unit=value.unit)


def worked_out_tables() -> dict[str, TableSpec]:
    """The worked-out tables as they are described in a freeze, by name."""
    from registry.clinical.grading import GRADE_COLUMNS

    grades = tuple(_described(value, _TYPES[GRADE_COLUMNS[value.name]]) for value in GRADES)
    number = replace(_described(CASE_NUMBER, "int"), minimum=0)
    tables = (
        _table("grades", "Grades", "A row a lesion: grades and scores, worked out.", "lesions",
               (*_key_fields("lesions"), *grades)),
        _table("case_numbers", "Case numbers", "A row a session: its operator's experience.",
               "sessions", (*_key_fields("sessions"), number)),
        _table("entries", "Entries", "A row a row: when it came in and was last changed (UTC).",
               None, _entry_fields()),
    )
    return {table.name: table for table in tables}


def _entry_fields() -> tuple[FieldSpec, ...]:
    return (
        FieldSpec("table", "text", "Table", "The table of the row.", required=True, key=True),
        FieldSpec("key", "text", "Key", "The row's key as a JSON list.", required=True, key=True),
        FieldSpec(Patients.patient_id, "text", "Study code",
                  "The patient; blank in a table of the service's own."),
        FieldSpec("first_entered", "date", "First entered", "Day the row came into the registry.",
                  required=True),
        FieldSpec("last_changed", "date", "Last changed", "Day of its latest revision.",
                  required=True),
        FieldSpec("revision", "int", "Revision", "1 for a row never changed.", minimum=1,
                  required=True),
    )


def work_out(tables: Mapping[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """`grades` and `case_numbers` of all patients, from the registry's tables before any cap.

    Typed by `worked_out_tables`, in the order of the lesions and sessions.
    """
    from registry.clinical.grading import add_grades
    from registry.clinical.technique import case_numbers

    grades = add_grades(
        tables["patients"], tables["lesions"], tables["sessions"], tables["radiosurgeries"],
        tables["resections"],
    )
    grades["age_at_treatment"] = grades["age_at_treatment"].clip(upper=OLDEST)
    sessions = tables["sessions"]
    numbered = sessions.assign(case_number=case_numbers(sessions))
    specs = worked_out_tables()
    return {
        "grades": specs["grades"].typed(grades),
        "case_numbers": specs["case_numbers"].typed(numbered),
    }
