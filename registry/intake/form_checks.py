"""Drop-down lists and entry checks of the workbook's columns.

Lists refer to ranges on a sheet of their own: a list written into the check itself ends at 255
characters.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from registry.intake.cell_dates import LAST_YEAR, UNLIKELY_BEFORE
from registry.intake.sheet import column_letters
from registry.schema import TABLES, FieldSpec, Patients, TableSpec

if TYPE_CHECKING:
    from xlsxwriter.worksheet import Worksheet

LAST_ROW = 1_048_575  # zero-based, of an .xlsx sheet
LONGEST_MESSAGE, LONGEST_TITLE = 255, 32
_CODES_OFFERED = 5000


class Lists:
    """The hidden sheet of lists; equal lists share a column."""

    def __init__(self, sheet: Worksheet) -> None:
        self._sheet = sheet
        self._columns: dict[tuple[str, ...], int] = {}
        sheet.hide()

    def range_of(self, values: tuple[str, ...]) -> str:
        """The range that holds `values`, written when first asked for."""
        if values not in self._columns:
            column = self._columns[values] = len(self._columns)
            self._sheet.write_column(0, column, values)
        letters = column_letters(self._columns[values])
        return f"='{self._sheet.get_name()}'!${letters}$1:${letters}${len(values)}"


def add_check(
    sheet: Worksheet, column: int, table: TableSpec, spec: FieldSpec, lists: Lists, shift: int
) -> None:
    """Check every cell below the heading of `spec`; blanks are always allowed while typing.

    `shift` is how many columns stand before the first field.
    """
    check = _check(table, spec, lists, shift)
    if check is not None:
        sheet.data_validation(1, column, LAST_ROW, column, check | {
            "ignore_blank": True, "error_title": spec.label[:LONGEST_TITLE],
        })


def _check(
    table: TableSpec, spec: FieldSpec, lists: Lists, shift: int
) -> dict[str, Any] | None:
    if spec.type == "choice":
        return _list(spec, lists, spec.values)
    if spec.type == "yes/no":
        return _list(spec, lists, ("yes", "no"))
    if spec.type == "date":
        return _date(spec)
    if spec.type in {"int", "number"}:
        return _number(spec)
    if spec.name in table.parent_key and table.parent:
        return _known_codes(spec, shift)
    return None


def _list(spec: FieldSpec, lists: Lists, values: tuple[str, ...]) -> dict[str, Any]:
    return {
        "validate": "list", "source": lists.range_of(values),
        "error_message": _message(f"Choose {spec.wanted}.", "Choose a value from the list."),
    }


def _date(spec: FieldSpec) -> dict[str, Any]:
    first, last = UNLIKELY_BEFORE, dt.date(LAST_YEAR, 12, 31)
    return {
        "validate": "date", "criteria": "between", "minimum": first, "maximum": last,
        "error_message": f"A date, year-month-day, such as 2024-03-09 (from {first} on). "
        f"{_if_not_recorded(spec)}",
    }


def _if_not_recorded(spec: FieldSpec) -> str:
    if spec.required:
        return "It must be filled in."
    return "Leave the cell blank if it was not recorded."


def _number(spec: FieldSpec) -> dict[str, Any]:
    check: dict[str, Any] = {
        "validate": "integer" if spec.type == "int" else "decimal",
        "error_message": _message(
            f"{spec.wanted[:1].upper()}{spec.wanted[1:]}. {_if_not_recorded(spec)}", "",
        ),
    }
    if spec.minimum is not None and spec.maximum is not None:
        return check | {"criteria": "between", "minimum": spec.minimum, "maximum": spec.maximum}
    if spec.above is not None and spec.maximum is not None:
        return check | _above_and_up_to(spec.above, spec.maximum)
    if spec.minimum is not None:
        return check | {"criteria": ">=", "value": spec.minimum}
    if spec.maximum is not None:
        return check | {"criteria": "<=", "value": spec.maximum}
    return check | {"criteria": "between", "minimum": -1e15, "maximum": 1e15}


def _above_and_up_to(above: float, maximum: float) -> dict[str, Any]:
    """A strict lower limit as the smallest number a spreadsheet tells apart from it."""
    return {"criteria": "between", "minimum": above + 1e-6, "maximum": maximum}


def _known_codes(spec: FieldSpec, shift: int) -> dict[str, Any]:
    """Offer the study codes already on the patients' sheet; another one only warns."""
    owner = next(t for t in TABLES.values() if t.parent is None and spec.name in t.key)
    column = column_letters(shift + owner.columns.index(spec.name))
    codes = f"'{owner.label}'!${column}$2:${column}${_CODES_OFFERED}"
    first = f"'{owner.label}'!${column}$2"
    who = "the patient" if spec.name == Patients.patient_id else "it"
    return {
        "validate": "list", "source": f"=OFFSET({first},0,0,MAX(1,COUNTA({codes})),1)",
        "error_type": "warning",
        "error_message": f'This code is not on the sheet "{owner.label}" yet. It needs a row '
        f"there, unless {who} is in the registry already.",
    }


def _message(words: str, short: str) -> str:
    return words if len(words) <= LONGEST_MESSAGE else short
