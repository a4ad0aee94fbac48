"""The words of the entry workbook that are not tables: the first page and the dictionary."""

from __future__ import annotations

from registry.schema import REQUIRED_TABLES, TABLES, FieldSpec

FIRST_PAGE = "Read first"
DICTIONARY_PAGE = "Dictionary"
LISTS_PAGE = "Lists"
OUR_PAGES = frozenset({FIRST_PAGE, DICTIONARY_PAGE, LISTS_PAGE})

TITLE = "Brain AVM embolization: entry workbook"
CODE_LABEL = "Workbook code"

LIST_HEADINGS = (
    "To do", "What is due", "Since", "Days over", "Last seen", "Last try", "Its result",
    "Tries since last seen",
)
"""Columns of the coordinator's list that are only to be read."""

DICTIONARY_HEADINGS = (
    "Sheet", "Column", "Field name", "Kind", "Unit", "Must be filled in", "A cell may hold",
    "Definition",
)


def first_page() -> list[tuple[str, str]]:
    """The first page: a word for the margin and what is said beside it."""
    required = ", ".join(TABLES[name].label for name in REQUIRED_TABLES)
    return [
        ("What to fill in",
         "A sheet a table, a row a patient, a lesion, a session and so on. "
         f"{required} are needed; the other sheets as far as there is something to record."),
        ("Which rows belong together",
         "The study code and the numbers of lesion, session and injection, each counting from 1 "
         "inside the one before. A session starts at vascular access, even if nothing is "
         "injected. Every lesion needs its patient's row, every session its lesion's."),
        ("Headings",
         "A star means: must be filled in. The unit stands in brackets. Rest the pointer on a "
         "heading for its definition. Columns may be moved, but keep their headings."),
        ("Blank",
         "A blank means not recorded. It is never read as no or as zero, so write no where the "
         "answer is no."),
        ("Dates", "Year-month-day, such as 2024-03-09."),
        ("Never here",
         "No names, hospital numbers, dates of birth or addresses, in any cell. Patients and "
         "operators have codes; the list of who is who stays elsewhere, under lock."),
        ("When it is filled in",
         "Run: nidusbook intake THIS-FILE.xlsx --registry registry.db – patients whose rows are in "
         "order go in; the others come back as a workbook with the cells marked and the reasons "
         "beside them, to be corrected and taken in again."),
        ("One source",
         "The code below tells this workbook and its copies from other sources. Another team "
         "that enters the same patients needs a blank workbook of its own."),
        ("Cautions",
         "What is worked out from these rows describes groups of patients. It never decides the "
         "treatment of one: instructions for use, local protocol and the licensed clinician "
         "come first."),
    ]


def dictionary_rows() -> list[tuple[str, ...]]:
    """Every field of every table, in the order of `DICTIONARY_HEADINGS`."""
    return [
        (
            table.label, spec.label, spec.name, spec.type, spec.unit,
            "yes" if spec.required else "", spec.wanted, spec.definition,
        )
        for table in TABLES.values()
        for spec in table.fields
    ]


def heading_note(spec: FieldSpec) -> str:
    """The note on a heading: what it is, what a cell may hold, whether it must be filled in."""
    must = "Must be filled in." if spec.required else "May stay blank: not recorded."
    return f"{spec.definition}\n\nA cell may hold {spec.wanted}.\n{must}"
