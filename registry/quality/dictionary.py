"""The data dictionary, generated from the schema: a table, Markdown, CSV, a workbook."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from types import MappingProxyType

import pandas as pd

from registry.problems.sentence_error import SentenceError
from registry.schema import TABLES, FieldSpec, TableSpec

COLUMNS = (
    "table", "field", "label", "definition", "unit", "type", "values", "minimum", "maximum",
    "required", "key", "used by",
)
UsedBy = Mapping[str, Sequence[str]]
"""A field, as "table.field" → what rests on it, in words."""
NOTHING: UsedBy = MappingProxyType({})


class DictionaryError(SentenceError, ValueError):
    """The data dictionary cannot be written where it was asked for."""


def data_dictionary(used_by: UsedBy = NOTHING) -> pd.DataFrame:
    """Every field of every table, one row a field, in the order of the schema.

    used_by: what rests on a field, as whoever analyses them knows.
    Columns (all text): table, field, label, definition, unit, type (text, int, number, yes/no,
    date, choice), values (a closed list, or a pattern in words), minimum and maximum ("above 0"
    where the limit itself is not allowed), required and key (yes or blank), used by.
    """
    rows = [_row(table, field, used_by) for table in TABLES.values() for field in table.fields]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype="string")


def _row(table: TableSpec, field: FieldSpec, used_by: UsedBy) -> tuple[str, ...]:
    if field.above is not None:
        minimum = f"above {field.above:g}"
    else:
        minimum = "" if field.minimum is None else f"{field.minimum:g}"
    return (
        table.name, field.name, field.label, field.definition, field.unit, field.type,
        ", ".join(field.values) or field.pattern_words, minimum,
        "" if field.maximum is None else f"{field.maximum:g}",
        "yes" if field.required else "", "yes" if field.key else "",
        "; ".join(used_by.get(f"{table.name}.{field.name}", ())),
    )


def dictionary_csv(used_by: UsedBy = NOTHING) -> str:
    """The data dictionary as CSV (comma, a heading row, line ends \\n)."""
    return data_dictionary(used_by).to_csv(index=False, lineterminator="\n")


def dictionary_markdown(used_by: UsedBy = NOTHING) -> str:
    """The data dictionary as Markdown: a section a table, a line a field; * marks required."""
    return "\n".join(_section(table, used_by) for table in TABLES.values())


def _section(table: TableSpec, used_by: UsedBy) -> str:
    under = f" Under {table.parent}." if table.parent else ""
    lines = [
        f"## {table.name}", "", f"{table.definition}{under}", "",
        "| Field | Label | Holds | Definition | Used by |", "| --- | --- | --- | --- | --- |",
        *(_line(table, field, used_by) for field in table.fields), "",
    ]
    return "\n".join(lines)


def _line(table: TableSpec, field: FieldSpec, used_by: UsedBy) -> str:
    star = "*" if field.required else ""
    cells = (f"{field.name}{star}", field.label, field.wanted, field.definition,
             "; ".join(used_by.get(f"{table.name}.{field.name}", ())))
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def write_dictionary(path: Path, used_by: UsedBy = NOTHING) -> None:
    """Write the data dictionary as .xlsx, .csv or .md, by the name's ending.

    Raises DictionaryError, with nothing written, for another ending, a file that is there
    already, or a folder that is not.
    """
    writers = {".xlsx": partial(_write_xlsx, used_by=used_by),
               ".csv": _write_text(partial(dictionary_csv, used_by)),
               ".md": _write_text(partial(dictionary_markdown, used_by))}
    write = writers.get(path.suffix.lower())
    if write is None:
        raise DictionaryError(
            f"The name {path.name} does not end in .xlsx, .csv or .md; give one that does.")
    if path.exists():
        raise DictionaryError(f"{path} is there already; give another name, or move it away.")
    if not path.parent.is_dir():
        raise DictionaryError(f"The folder {path.parent} does not exist; make it first.")
    write(path)


def _write_text(text: Callable[[], str]) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        path.write_text(text(), encoding="utf-8", newline="\n")

    return write


def _write_xlsx(path: Path, used_by: UsedBy) -> None:
    from xlsxwriter import Workbook

    frame = data_dictionary(used_by)
    with Workbook(str(path), {"strings_to_formulas": False, "strings_to_urls": False}) as book:
        book.set_properties({"created": dt.datetime(2024, 1, 1)})
        bold = book.add_format({"bold": True})
        sheet = book.add_worksheet("Dictionary")
        sheet.freeze_panes(1, 2)
        sheet.write_row(0, 0, [name.capitalize() for name in frame.columns], bold)
        for number, row in enumerate(frame.itertuples(index=False), start=1):
            for at, cell in enumerate(row):
                sheet.write_string(number, at, cell)
