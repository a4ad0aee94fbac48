"""Whether the statements of a mapping make sense together: fields, units, words, numbers."""

from __future__ import annotations

import datetime as dt
from typing import Any

from registry.intake.cells import Habits, read_cell
from registry.old_sheets.mapping.entry import Faults
from registry.old_sheets.mapping.feeds import companion, feeds_of
from registry.old_sheets.mapping.read_columns import number_names
from registry.old_sheets.mapping.statements import ColumnPlan, Constant, Mapping, Target
from registry.old_sheets.mapping.units_written import known_units, knows
from registry.privacy.headings import identifying_heading
from registry.schema import TABLES, FieldSpec, Patients

_HABITS = Habits(dt.date(9999, 12, 31))
_FIGURES = {"int", "number"}


def check(mapping: Mapping, faults: Faults) -> None:
    """Add everything that is wrong with `mapping` to `faults`."""
    for column in mapping.columns:
        _Column(column, mapping, faults).check()
    for constant in mapping.constants:
        _check_constant(constant, mapping, faults)
    _check_patient(mapping, faults)
    _check_fed_once(mapping, faults)
    for name, value in mapping.numbers.items():
        if isinstance(value, int):
            _check_limits(mapping.lines.get(("numbers", name), 0), "[numbers]", name, value, faults)


def readable(value: Any, spec: FieldSpec) -> bool:
    """Whether a stated value is one the field may hold."""
    if isinstance(value, dt.datetime | dt.time):
        return False
    cell = read_cell(value, spec, _HABITS)
    return not cell.faulty and cell.value is not None


class _Column:
    """The checks of one column."""

    def __init__(self, column: ColumnPlan, mapping: Mapping, faults: Faults) -> None:
        self.column, self.mapping, self.faults = column, mapping, faults

    def fault(self, found: str, wanted: str) -> None:
        self.faults.add(self.column.line, f'[[column]] "{self.column.heading}": {found}', wanted)

    def check(self) -> None:
        column = self.column
        said = [bool(column.targets), column.leave_out is not None, column.open]
        if sum(said) != 1:
            self.fault(
                "it does not say what becomes of the column" if not any(said)
                else "it says more than one of field, leave_out and open",
                'field = "table.field", or leave_out = "why"',
            )
        elif column.leave_out is not None and not column.leave_out.strip():
            self.fault("leave_out gives no reason", 'leave_out = "why"')
        elif column.targets:
            self._identifier()
            self._split()
            self._unit()
            self._words()
            self._numbers()

    def _identifier(self) -> None:
        kind = identifying_heading(self.column.heading)
        ours = {target.field for target in self.column.targets} == {Patients.patient_id}
        if kind and not ours and not self.column.not_identifying:
            self.fault(
                f"the heading looks like {kind}, which is not taken in",
                f'leave_out = "{kind}", or not_identifying = "why it is something else"',
            )

    def _split(self) -> None:
        column, count = self.column, len(self.column.targets)
        types = {target.spec.type for target in column.targets}
        if column.split == "diameters" and not types <= _FIGURES:
            self.fault('"diameters" gives numbers', "fields that hold numbers")
        if column.split == "added up" and (count > 1 or not types <= _FIGURES):
            self.fault('"added up" gives one number', "one field that holds a number")
        if column.split == "counted" and count > 1:
            self.fault('"counted" gives rows of one field', "one field; count_into for the number")
        if column.split is None and count > 1 and not self._all_groups():
            self.fault(
                "several fields are named and nothing says how a cell is split",
                'split = "parts" or "diameters", or words that give each field its value',
            )
        if column.count_into and column.split != "counted":
            self.fault("count_into is stated without the split it belongs to", 'split = "counted"')
        if column.range and not types & _FIGURES:
            self.fault("a range needs numbers", "a field that holds a number")
        if (column.dates or column.part_dates) and "date" not in types:
            self.fault("the order of dates is stated for a field without dates",
                       "a field that holds a date")
        if column.part_dates and not any(companion(t) for t in column.targets):
            self.fault(
                "no field says how precisely this date is known, so a part of a date cannot be "
                "taken", "no part_dates here",
            )

    def _all_groups(self) -> bool:
        meanings = [m for m in self.column.words.values() if m != ""]
        return bool(meanings) and all(isinstance(m, tuple) for m in meanings)

    def _unit(self) -> None:
        unit = self.column.unit
        if unit is None:
            return
        for target in self.column.targets:
            spec = target.spec
            if spec.type not in _FIGURES or not knows(unit, spec.unit):
                listed = known_units(spec.unit)
                self.fault(
                    f'the unit "{unit}" cannot be converted to '
                    f'{spec.unit or "a field without a unit"} ({target})',
                    "one of " + ", ".join(listed) if listed else "no unit",
                )
                break

    def _words(self) -> None:
        for word, meaning in self.column.words.items():
            if isinstance(meaning, tuple):
                self._groups(word, meaning)
            elif meaning != "" and not any(
                readable(meaning, target.spec) for target in self.column.targets
            ):
                wanted = self.column.targets[0].spec.wanted
                self.fault(f'the word "{word}" means {meaning!r}, which {self.column.targets[0]} '
                           "may not hold", wanted)

    def _groups(self, word: str, groups: tuple[Any, ...]) -> None:
        for target, value in ((t, v) for group in groups for t, v in group.items()):
            if target not in self.column.targets:
                self.fault(f'the word "{word}" gives {target}, which "field" does not name',
                           "every field that a word gives, listed under field")
            elif not readable(value, target.spec):
                self.fault(f'the word "{word}" gives {target} the value {value!r}',
                           target.spec.wanted)

    def _numbers(self) -> None:
        stated = dict(self.column.numbers)
        tables = {target.table for target in self.column.targets}
        for name, value in stated.items():
            if not any(name in TABLES[table].columns for table in tables):
                self.fault(f'"{name}" is stated, which {", ".join(sorted(tables))} does not have',
                           "the numbers of that table's rows")
            elif isinstance(value, int):
                _check_limits(self.column.line, f'[[column]] "{self.column.heading}"', name,
                              value, self.faults)
        for table in sorted(tables):
            for name in missing_numbers(table, stated, self.mapping):
                if not (name == TABLES[table].key[-1] and self.column.makes_rows):
                    self.fault(f"nothing says which {name} its rows of {table} have",
                               f'{name} = 1, {name} = "counted", or a column with the number')


def missing_numbers(table: str, stated: dict[str, Any], mapping: Mapping) -> list[str]:
    """The key numbers of a table's rows that no statement gives."""
    fed = {target.field for column in mapping.columns for target in column.targets
           if target.spec.key}
    return [
        name for name in TABLES[table].key
        if name in number_names() and name not in stated and name not in mapping.numbers
        and name not in fed
    ]


def _check_limits(line: int, what: str, name: str, value: int, faults: Faults) -> None:
    spec = next(t.by_name[name] for t in TABLES.values() if name in t.columns)
    if spec.maximum is not None and value > spec.maximum:
        faults.add(line, f"{what}: {name} is {value}", spec.wanted)


def _check_constant(constant: Constant, mapping: Mapping, faults: Faults) -> None:
    spec = constant.target.spec
    what = f'[[constant]] "{constant.target}"'
    if not readable(constant.value, spec):
        faults.add(constant.line, f"{what}: the value is {constant.value!r}", spec.wanted)
    if spec.key and spec.name in (*number_names(), Patients.patient_id):
        faults.add(constant.line, f"{what}: it is a number of rows", "a line under [numbers]")
    table = TABLES[constant.target.table]
    for name, _ in constant.numbers:
        if name not in table.columns:
            faults.add(constant.line, f"{what}: {table.name} has no {name}",
                       "the numbers of that table's rows")
    fed = {target.table for column in mapping.columns for target in feeds_of(column)}
    if Patients.patient_id in table.key and table.name not in fed | {
        "patients",
        mapping.one_row_is,
    }:
        faults.add(constant.line, f"{what}: no column gives rows of {table.name}",
                   "a column of that table, or no constant")


def _check_patient(mapping: Mapping, faults: Faults) -> None:
    fed = [c for c in mapping.columns if any(t.field == Patients.patient_id for t in c.targets)]
    if len(fed) + (mapping.study_codes is not None) != 1:
        faults.add(
            0, "no column gives the study code" if not fed and mapping.study_codes is None
            else "the study code comes from more than one place",
            "[study_codes] with the column of the service's own numbers, or one column with "
            'field = "patients.patient_id"',
        )


def _check_fed_once(mapping: Mapping, faults: Faults) -> None:
    """No field of a row may come from two places: one would silently win."""
    seen: dict[tuple[Target, frozenset[tuple[str, Any]]], str] = {}
    for column in mapping.columns:
        for target in feeds_of(column):
            numbers = frozenset(column.numbers)
            slot = (target, numbers if target in column.targets else frozenset())
            here = f'[[column]] "{column.heading}"'
            if slot in seen:
                faults.add(column.line, f"{here}: {target} is fed by {seen[slot]} as well",
                           "each field of a row from one place")
            seen.setdefault(slot, here)
    stated: list[tuple[Target, dict[str, Any]]] = [
        (target, dict(numbers)) for target, numbers in seen
    ]
    for constant in mapping.constants:
        own = dict(constant.numbers)
        if any(constant.target == target and _meet(own, other) for target, other in stated):
            faults.add(constant.line, f'[[constant]] "{constant.target}": it is fed twice',
                       "each field from one column or one constant")
        stated.append((constant.target, own))


def _meet(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Whether two statements may be about the same row: no number of theirs tells them apart."""
    return not any(
        isinstance(one[name], int) and isinstance(other[name], int) and one[name] != other[name]
        for name in one.keys() & other.keys()
    )
