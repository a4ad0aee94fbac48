"""The data dictionary, generated from the schema: a table, Markdown, CSV, a workbook."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from registry.quality.table_file import as_csv, as_text, as_xlsx, write_new
from registry.quality.used_by import Uses, used_by
from registry.schema import TABLES, FieldSpec, TableSpec

COLUMNS = (
    "table", "field", "label", "definition", "unit", "type", "values", "minimum", "maximum",
    "required", "key", "used by",
)


def data_dictionary(analyses: Uses) -> pd.DataFrame:
    """Every field of every table, one row a field, in the order of the schema.

    `analyses` gives the labels of what is analysed from a field. Columns (all text): table,
    field, label, definition, unit, type (text, int, number, yes/no, date, choice), values (a
    closed list, or a pattern in words), minimum and maximum ("above 0" where the limit itself is
    not allowed), required and key (yes or blank), used by (see `used_by`).
    """
    uses = used_by(analyses)
    rows = [(*_cells(table, field), uses.get(f"{table.name}.{field.name}", ""))
            for table in TABLES.values() for field in table.fields]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype="string")


def _cells(table: TableSpec, field: FieldSpec) -> tuple[str, ...]:
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


def dictionary_markdown(analyses: Uses) -> str:
    """The data dictionary as Markdown: a section a table, a line a field; * marks required."""
    uses = used_by(analyses)
    return "\n".join(_section(table, uses) for table in TABLES.values())


def _section(table: TableSpec, uses: dict[str, str]) -> str:
    under = f" Under {table.parent}." if table.parent else ""
    lines = [
        f"## {table.name}", "", f"{table.definition}{under}", "",
        "| Field | Label | Holds | Definition | Used by |", "| --- | --- | --- | --- | --- |",
        *(_line(field, uses.get(f"{table.name}.{field.name}", "")) for field in table.fields), "",
    ]
    return "\n".join(lines)


def _line(field: FieldSpec, used: str) -> str:
    star = "*" if field.required else ""
    cells = (f"{field.name}{star}", field.label, field.wanted, field.definition, used)
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def _measures_section(measures: pd.DataFrame) -> str:
    """The measures in Markdown, a line each."""
    lines = ["## Measures", "", "What can be asked of a freeze.", "",
             f"| {' | '.join(name.capitalize() for name in measures.columns)} |",
             f"|{' --- |' * len(measures.columns)}",
             *("| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |"
               for row in measures.to_numpy().tolist()), ""]
    return "\n".join(lines)


def write_dictionary(path: Path, analyses: Uses, measures: pd.DataFrame) -> None:
    """Write the data dictionary as .xlsx, .csv or .md, by the name's ending.

    measures: one row a measure, all text; a sheet of its own in the workbook, a section in
    Markdown. A CSV file is one table: it has the fields alone.

    Raises TableFileError, with nothing written, for another ending, a file that is there
    already, or a folder that is not.
    """
    frame = data_dictionary(analyses)
    text = f"{dictionary_markdown(analyses)}\n{_measures_section(measures)}"
    write_new(path, {".xlsx": as_xlsx({"Dictionary": frame, "Measures": measures}),
                     ".csv": as_csv(frame), ".md": as_text(text)})
