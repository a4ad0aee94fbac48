"""What came of the old sheet, beside the clean data: right, reported, or wrong and silent."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from registry.schema import TABLES, Patients
from synthetic_cohort.old_sheet import OldSheet


@dataclass(frozen=True)
class Difference:
    """A value that is not as in the clean data; `found` None where it is missing."""

    table: str
    key: tuple[Any, ...]
    field: str
    clean: Any
    found: Any


def wrong_values(
    sheet: OldSheet, tables: Mapping[str, pd.DataFrame], codes: Mapping[str, str]
) -> list[Difference]:
    """Registered values of the sheet's patients that differ from the clean ones.

    `tables` are the registry's, `codes` says under which study code each clean patient came in
    (patients kept out are not in it). A row that the clean data do not have is a difference of
    each of its fields. Blank values are no difference here: see `lost_values`.
    """
    back = {code: clean for clean, code in codes.items()}
    found = []
    for name, spec in TABLES.items():
        if Patients.patient_id not in spec.key:
            continue
        clean = _by_key(sheet.clean[name], spec.key)
        for key, row in _by_key(tables[name], spec.key).items():
            if key[0] not in back:
                continue
            wanted = clean.get((back[key[0]], *key[1:]), {})
            found += [
                Difference(name, key, field, wanted.get(field), value)
                for field, value in row.items()
                if field not in spec.key and value is not None and value != wanted.get(field)
            ]
    return found


def lost_values(
    sheet: OldSheet, tables: Mapping[str, pd.DataFrame], codes: Mapping[str, str],
    reported: Collection[tuple[int, int]] = (),
) -> list[Difference]:
    """Values that a cell of the sheet still says and the registry does not have.

    `reported` are cells (row, column from 0) named in a problem. Patients kept out whole are
    passed over: they are reported as such.
    """
    rows = {name: _by_key(tables[name], spec.key) for name, spec in TABLES.items()
            if Patients.patient_id in spec.key}
    found = []
    for cell in sheet.cells:
        if cell.fate != "taken" or (cell.row, cell.column) in reported:
            continue
        for fact in cell.facts:
            code = codes.get(str(fact.key[0]))
            if code is None or fact.value is None:
                continue
            value = rows[fact.table].get((code, *fact.key[1:]), {}).get(fact.field)
            if value != fact.value:
                found.append(Difference(fact.table, fact.key, fact.field, fact.value, value))
    return found


def _by_key(table: pd.DataFrame, key: tuple[str, ...]) -> dict[tuple[Any, ...], dict[str, Any]]:
    plain = table.astype(object).where(table.notna(), None)
    return {tuple(row[name] for name in key): row for row in plain.to_dict("records")}
