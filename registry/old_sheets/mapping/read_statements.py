"""A mapping file → a `Mapping`, or every fault of it at once."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from registry.intake.names import nearest
from registry.old_sheets.mapping.check_statements import check
from registry.old_sheets.mapping.entry import Entry, Faults
from registry.old_sheets.mapping.read_columns import read_column, read_numbers, read_target
from registry.old_sheets.mapping.statements import (
    Constant,
    Mapping,
    MappingError,
    RowsWhere,
    StudyCodes,
)
from registry.old_sheets.mapping.toml_lines import entry_lines, key_lines
from registry.schema import TABLES

ORDERS = ("day first", "month first")
_SECTIONS = ("draft", "sheet", "study_codes", "numbers", "column", "constant", "leave_out_rows",
             "dates_in_rows")
_PREFIX = re.compile(r"[A-Z]{1,4}")
_RANGE = re.compile(r"\s*(\d+)\s*(?:[-–]\s*(\d+)\s*)?")


def read_mapping(path: str | Path) -> Mapping:
    """Read and check a mapping file. Raises MappingError with a sentence for every fault."""
    path = Path(path)
    text = _text(path)
    try:
        content = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as fault:
        raise MappingError(
            f"{path.name} is not well-formed TOML: {fault}. Texts stand in quotation marks, lists "
            "in square brackets, and every statement on a line of its own."
        ) from fault
    return parse_mapping(content, text, path.name)


def parse_mapping(content: dict[str, Any], text: str, name: str) -> Mapping:
    """The mapping of parsed TOML; `text` is the file, for the lines. Raises MappingError."""
    faults = Faults(name)
    whole = _Reader(content, text, faults).mapping()
    if not faults.sentences and whole is not None:
        check(whole, faults)
    if faults.sentences or whole is None:
        raise MappingError(*faults.sentences)
    return whole


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise MappingError(
            f"There is no mapping {path.name} at that place. Write a first one with --draft."
        ) from None
    except (OSError, UnicodeDecodeError):
        raise MappingError(
            f"{path.name} cannot be read as a text in UTF-8; save it as plain text in UTF-8."
        ) from None


class _Reader:
    """Reads the sections of one file."""

    def __init__(self, content: dict[str, Any], text: str, faults: Faults) -> None:
        self.content, self.faults = content, faults
        self.entries, self.lines = entry_lines(text, content), key_lines(text)

    def mapping(self) -> Mapping | None:
        self._unknown_sections()
        sheet = self._section("sheet")
        heading_rows = self._heading_rows(sheet)
        one_row_is = sheet.text("one_row_is", needed=True)
        if one_row_is is not None and one_row_is not in TABLES:
            sheet.fault(f'"one_row_is" is "{one_row_is}"', "one of " + ", ".join(TABLES))
        found = dict(
            name=self.faults.file, draft=self.content.get("draft", False) is not False,
            sheet=sheet.text("name"), heading_rows=heading_rows, one_row_is=one_row_is,
            dates=sheet.one_of("dates", ORDERS),
            short_years_from=sheet.whole("short_years_from", 1900, 2000),
            blank=sheet.words("blank"), other_columns=sheet.text("other_columns"),
            merged_each_row={"each row": True, "first row": False, None: None}[
                sheet.one_of("merged_cells", ("each row", "first row"))],
        )
        sheet.close()
        columns = tuple(read_column(entry) for entry in self._list("column"))
        return Mapping(
            **found, columns=tuple(c for c in columns if c is not None),
            constants=tuple(filter(None, map(self._constant, self._list("constant")))),
            leave_out_rows=tuple(map(self._rows, self._list("leave_out_rows"))),
            dates_in_rows=tuple(map(self._dates, self._list("dates_in_rows"))),
            numbers=self._numbers(), study_codes=self._study_codes(), lines=self.lines,
        )

    def _unknown_sections(self) -> None:
        for name in self.content:
            if name not in _SECTIONS:
                near = nearest(name, _SECTIONS)
                self.faults.add(
                    self.lines.get((name, ""), self.lines.get(("", name), 0)),
                    f'"{name}" is no part of a mapping',
                    f'"{near}", if that is meant' if near else "one of " + ", ".join(_SECTIONS),
                )

    def _section(self, name: str) -> Entry:
        content = self.content.get(name, {})
        line = self.lines.get((name, ""), 0)
        if not isinstance(content, dict):
            self.faults.add(line, f'"{name}" is {content!r}', f"a section headed [{name}]")
            content = {}
        return Entry(content, line, f"[{name}]", self.faults)

    def _list(self, name: str) -> list[Entry]:
        items = self.content.get(name, [])
        if not isinstance(items, list) or not all(isinstance(item, dict) for item in items):
            self.faults.add(self.lines.get((name, ""), 0), f'"{name}" is no list of entries',
                            f"entries headed [[{name}]], in double brackets")
            return []
        lines = self.entries.get(name, [0] * len(items))
        return [
            Entry(item, line, f"[[{name}]] {number}" if not line else f"[[{name}]]", self.faults)
            for number, (item, line) in enumerate(zip(items, lines, strict=True), start=1)
        ]

    def _heading_rows(self, sheet: Entry) -> tuple[int, ...]:
        value = sheet.any("headings_in_row")
        rows = value if isinstance(value, list) else [value]
        if not rows or not all(
            isinstance(r, int) and not isinstance(r, bool) and 1 <= r <= 1_048_576 for r in rows
        ) or sorted(set(rows)) != rows or len(rows) > 5:
            sheet.fault(f'"headings_in_row" is {value!r}' if value is not None
                        else '"headings_in_row" is not stated',
                        "the number of the row with the headings, such as 1, or several in order")
            return (1,)
        return tuple(rows)

    def _numbers(self) -> dict[str, int | str]:
        section = self._section("numbers")
        return dict(read_numbers(section, list(section.content)))

    def _study_codes(self) -> StudyCodes | None:
        if "study_codes" not in self.content:
            return None
        section = self._section("study_codes")
        heading, column = section.text("heading", needed=True), section.text("column")
        prefix = section.text("prefix", needed=True)
        key_file = section.text("key_file", needed=True)
        section.close()
        if prefix is not None and not _PREFIX.fullmatch(prefix):
            section.fault(f'"prefix" is "{prefix}"', "one to four capital letters")
        if heading is None or prefix is None or key_file is None:
            return None
        return StudyCodes(section.line, heading, column, prefix, key_file)

    def _constant(self, entry: Entry) -> Constant | None:
        target = read_target(entry, entry.text("field", needed=True))
        value = entry.any("value")
        if value is None:
            entry.fault('"value" is not stated', "the value itself")
        numbers = read_numbers(entry)
        entry.close()
        if target is None or value is None:
            return None
        return Constant(entry.line, target, value, numbers)

    def _rows(self, entry: Entry, order: Any = None) -> RowsWhere:
        because = entry.text("because", needed=order is None) or ""
        ranges = self._ranges(entry)
        heading, column = entry.text("heading"), entry.text("column")
        values = entry.words("is")
        if bool(ranges) == bool(heading is not None) or (heading is not None and not values):
            entry.fault("it does not say which rows",
                        'rows = "4-60", or heading = "…" together with is = ["…"]')
        entry.close()
        return RowsWhere(entry.line, because, ranges, heading, column, values, order)

    def _dates(self, entry: Entry) -> RowsWhere:
        order = entry.one_of("order", ORDERS)
        if order is None and not entry.has("order"):
            entry.fault('"order" is not stated', '"day first" or "month first"')
        return self._rows(entry, order or "day first")

    def _ranges(self, entry: Entry) -> tuple[tuple[int, int], ...]:
        value = entry.any("rows")
        if value is None:
            return ()
        pieces = value if isinstance(value, list) else str(value).split(",")
        found = []
        for piece in pieces:
            match = _RANGE.fullmatch(str(piece))
            first = int(match[1]) if match else 0
            last = int(match[2] or first) if match else 0
            if not 1 <= first <= last:
                entry.fault(f'"rows" is {value!r}', 'row numbers such as "4-60, 75"')
                return ((1, 1),)
            found.append((first, last))
        return tuple(found)


__all__ = ["parse_mapping", "read_mapping"]
