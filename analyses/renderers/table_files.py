"""A document's tables as files: one CSV each, and all of them in one .xlsx.

Safe from formula injection: text that a spreadsheet would take for a formula is written so that
it stays text.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path

from analyses.content.blocks import Document, Table
from analyses.content.marks import lettered
from analyses.renderers.report_folder import Writer

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""First characters that make a spreadsheet read a cell as a formula (OWASP, CSV injection)."""


def table_writers(document: Document) -> dict[str, Writer]:
    """File name → writer: `tables/NAME.csv` for each table, and `tables/tables.xlsx`."""
    tables = [lettered(table) for table in document.tables()]
    found: dict[str, Writer] = {
        f"tables/{table.name}.csv": _csv_writer(table) for table in tables}
    if tables:
        found["tables/tables.xlsx"] = lambda path: write_xlsx(tables, path)
    return found


def safe_text(text: str) -> str:
    """Text that no spreadsheet runs: an apostrophe before what would start a formula.

    An en dash or a plain negative number is left as it is.
    """
    if not text.startswith(FORMULA_STARTS) or _is_number(text):
        return text
    return f"'{text}"


def csv_text(table: Table) -> str:
    """A table as CSV (RFC 4180, UTF-8 with a mark, so that spreadsheets read the letters)."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([safe_text(text) for text in table.columns])
    for row in table.rows:
        writer.writerow([safe_text(cell.text) for cell in row])
    # What the numbers mean goes with them: below, after an empty line.
    writer.writerows([[], *([safe_text(note)] for note in table.notes)] if table.notes else [])
    return out.getvalue()


def write_xlsx(tables: list[Table], path: Path) -> None:
    """All tables in one workbook, a sheet each, every cell as text; the clock is left out."""
    from datetime import datetime

    import xlsxwriter

    from analyses.renderers.docx_document import same_each_time

    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {
        "in_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
        "strings_to_numbers": False})
    book.set_properties({"created": datetime(2000, 1, 1)})
    bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
    wrap = book.add_format({"text_wrap": True, "valign": "top"})
    for number, table in enumerate(tables, start=1):
        sheet = book.add_worksheet(f"{number} {table.name}"[:31].replace("/", "-"))
        sheet.write_string(0, 0, table.caption)
        for column, text in enumerate(table.columns):
            sheet.write_string(1, column, text, bold)
        for at, row in enumerate(table.rows, start=2):
            for column, cell in enumerate(row):
                sheet.write_string(at, column, cell.text, wrap)
        for at, note in enumerate(table.notes, start=len(table.rows) + 3):
            sheet.write_string(at, 0, note)
        sheet.freeze_panes(2, 1)
        sheet.set_column(0, 0, 38)
        sheet.set_column(1, max(1, len(table.columns) - 1), 24)
    book.close()
    path.write_bytes(same_each_time(buffer.getvalue()))


def _csv_writer(table: Table) -> Writer:
    return lambda path: path.write_bytes(b"\xef\xbb\xbf" + csv_text(table).encode("utf-8"))


def _is_number(text: str) -> bool:
    try:
        float(text.replace(",", ""))
    except ValueError:
        return False
    return True
