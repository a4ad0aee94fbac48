"""Cells of an entry workbook by table, key and field, for putting faults in and taking them out.

The form is known by the schema's headings alone: a sheet a table, named by its label, headings
in the first row.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from registry.schema import TABLES


class FormSheets:
    """An entry workbook open for changing single cells. `save` writes it back."""

    def __init__(self, path: str | Path) -> None:
        from openpyxl import load_workbook

        self.path = Path(path)
        self.book = load_workbook(self.path)
        self._rows: dict[str, dict[tuple[str, ...], list[int]]] = {}
        self._columns = {name: self._headings(name) for name in TABLES}

    def _headings(self, table: str) -> dict[str, int]:
        sheet = self.book[TABLES[table].label]
        heading = {cell.value: cell.column for cell in sheet[1]}
        return {spec.name: heading[spec.heading] for spec in TABLES[table].fields
                if spec.heading in heading}

    def rows(self, table: str, key: Mapping[str, Any]) -> list[int]:
        """Numbers of the rows with this key, as the spreadsheet counts them."""
        if table not in self._rows:
            self._rows[table] = self._index(table)
        return self._rows[table].get(_key(key.values()), [])

    def _index(self, table: str) -> dict[tuple[str, ...], list[int]]:
        sheet, columns = self.book[TABLES[table].label], self._columns[table]
        found: dict[tuple[str, ...], list[int]] = {}
        for number in range(2, sheet.max_row + 1):
            values = [sheet.cell(number, columns[name]).value for name in TABLES[table].key]
            found.setdefault(_key(values), []).append(number)
        return found

    def get(self, table: str, row: int, field: str) -> Any:
        """What a cell holds."""
        return self.book[TABLES[table].label].cell(row, self._columns[table][field]).value

    def put(self, table: str, row: int, field: str, value: Any) -> None:
        """Write a raw value into a cell."""
        cell = self.book[TABLES[table].label].cell(row, self._columns[table][field])
        cell.value = value
        if isinstance(value, str):
            # Text stays text: openpyxl would turn "=…" alone into a formula.
            cell.number_format = "@"

    def copy_row(self, table: str, row: int) -> int:
        """Write a row once more below the last one; returns its number."""
        sheet = self.book[TABLES[table].label]
        last = sheet.max_row + 1
        for column in self._columns[table].values():
            sheet.cell(last, column).value = sheet.cell(row, column).value
        self._rows.pop(table, None)
        return last

    def remove_row(self, table: str, row: int) -> None:
        """Take a row out; the ones below move up."""
        self.book[TABLES[table].label].delete_rows(row)
        self._rows.pop(table, None)

    def forget(self, table: str) -> None:
        """Look rows up afresh: a key has been changed."""
        self._rows.pop(table, None)

    def save(self) -> None:
        """Write the workbook back to its path."""
        self.book.save(self.path)


def _key(values: Any) -> tuple[str, ...]:
    return tuple(str(value) for value in values)


def typed_into_a_cell(value: Any) -> Any:
    """A clean value as a person types it: yes and no in words, a blank as nothing."""
    if value is None or value is pd.NA or value is pd.NaT or value != value:
        return None
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, pd.Timestamp):
        return value.to_pydatetime()
    return value
