"""The data dictionary, generated from the schema: as a table, as Markdown and as CSV."""

from __future__ import annotations

import pandas as pd

from registry.schema import TABLES, FieldSpec, TableSpec

COLUMNS = (
    "table", "field", "label", "definition", "unit", "type", "values", "minimum", "maximum",
    "required", "key",
)


def data_dictionary() -> pd.DataFrame:
    """Every field of every table, one row a field, in the order of the schema.

    Columns (all text): table, field, label, definition, unit, type (text, int, number, yes/no,
    date, choice), values (a closed list, or a pattern in words), minimum and maximum ("above 0"
    where the limit itself is not allowed), required and key (yes or blank).
    """
    rows = [_row(table, field) for table in TABLES.values() for field in table.fields]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype="string")


def _row(table: TableSpec, field: FieldSpec) -> tuple[str, ...]:
    if field.above is not None:
        minimum = f"above {field.above:g}"
    else:
        minimum = "" if field.minimum is None else f"{field.minimum:g}"
    return (
        table.name, field.name, field.label, field.definition, field.unit, field.type,
        ", ".join(field.values) or field.pattern_words, minimum,
        "" if field.maximum is None else f"{field.maximum:g}",
        "yes" if field.required else "", "yes" if field.key else "",
    )


def dictionary_csv() -> str:
    """The data dictionary as CSV (comma, a heading row, line ends \\n)."""
    return data_dictionary().to_csv(index=False, lineterminator="\n")


def dictionary_markdown() -> str:
    """The data dictionary as Markdown: a section a table, a line a field; * marks required."""
    return "\n".join(_section(table) for table in TABLES.values())


def _section(table: TableSpec) -> str:
    under = f" Under {table.parent}." if table.parent else ""
    lines = [
        f"## {table.name}", "", f"{table.definition}{under}", "",
        "| Field | Label | Holds | Definition |", "| --- | --- | --- | --- |",
        *(_line(field) for field in table.fields), "",
    ]
    return "\n".join(lines)


def _line(field: FieldSpec) -> str:
    star = "*" if field.required else ""
    cells = (f"{field.name}{star}", field.label, field.wanted, field.definition)
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"
