"""Which fields a column feeds, beside those it names."""

from __future__ import annotations

from registry.old_sheets.mapping.statements import ColumnPlan, Target
from registry.schema import TABLES, Haemorrhages


def companion(target: Target) -> Target | None:
    """The field that says how precisely a date field is known; None where there is none."""
    table = TABLES[target.table]
    for name in (f"{target.field}_known_to", Haemorrhages.date_known_to):
        if name in table.by_name and target.spec.type == "date":
            return Target(target.table, name)
    return None


def feeds_of(column: ColumnPlan) -> tuple[Target, ...]:
    """Every field the column's cells may give a value."""
    found = list(column.targets)
    if column.count_into:
        found.append(column.count_into)
    if column.part_dates:
        found += [c for target in column.targets if (c := companion(target))]
    return tuple(found)
