"""What the cells of a sheet do not say themselves: formulas, errors, percentages, hiding.

The fast reader hands out values only: it shows an error such as #REF! and a formula without a
result as blanks, and 80 % as 0.8. This scan of the sheet's own XML says where they are (a sheet
without any of them is told apart first). It holds no values, so its memory does not grow with
the sheet, and it stops at a sheet that reaches further than any table of a registry.
"""

from __future__ import annotations

import re
import zipfile
from dataclasses import dataclass, field

from defusedxml.ElementTree import XMLParser

from registry.intake.sheet import column_letters
from registry.intake.xlsx_quick import is_plain
from registry.problems.problem import SourceError

# Rows times columns up to the last filled cell; a reader has to lay out all of them.
MAX_AREA = 12_000_000

_REFERENCE = re.compile(r"([A-Z]{1,3})(\d+)")


@dataclass
class Facts:
    """Zero-based (row, column) of cells with something special, and hidden rows and columns."""

    formulas: set[tuple[int, int]] = field(default_factory=set)
    no_result: set[tuple[int, int]] = field(default_factory=set)
    errors: dict[tuple[int, int], str] = field(default_factory=dict)
    percents: set[tuple[int, int]] = field(default_factory=set)
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)
    last_row: int = -1
    last_column: int = -1


def scan(archive: zipfile.ZipFile, part: str, sheet: str, percent: frozenset[str]) -> Facts:
    """The facts of one sheet; SourceError where it reaches too far."""
    if is_plain(archive, part, percent, MAX_AREA):
        return Facts()
    target = _Scanner(sheet, percent)
    parser = XMLParser(target=target, forbid_dtd=True)
    with archive.open(part) as stream:
        while block := stream.read(2**18):
            parser.feed(block)
    parser.close()
    return target.facts


class _Scanner:
    """Called by the XML parser for every element of a sheet."""

    def __init__(self, sheet: str, percent: frozenset[str]) -> None:
        self.facts = Facts()
        self._sheet, self._percent = sheet, percent
        self._columns: dict[str, int] = {}
        self._row = self._column = -1
        self._type = self._style = self._text = ""
        self._formula = self._filled = self._in_value = False

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        name = tag[tag.rfind("}") + 1:]
        if name == "c":
            self._start_cell(attributes)
        elif name == "v":
            self._in_value, self._text = True, ""
        elif name == "f":
            self._formula = True
        elif name == "is":
            self._filled = True
        elif name == "row":
            self._start_row(attributes)
        elif name == "col" and attributes.get("hidden") in {"1", "true"}:
            first, last = int(attributes["min"]), int(attributes["max"])
            self.facts.hidden_columns.update(range(first - 1, min(last, 16384)))

    def data(self, text: str) -> None:
        if self._in_value:
            self._text += text

    def end(self, tag: str) -> None:
        name = tag[tag.rfind("}") + 1:]
        if name == "v":
            self._in_value = False
            self._filled = self._filled or bool(self._text)
        elif name == "c":
            self._end_cell()

    def close(self) -> None:
        """Nothing to build."""

    def _start_row(self, attributes: dict[str, str]) -> None:
        self._row = int(attributes["r"]) - 1 if "r" in attributes else self._row + 1
        self._column = -1
        if attributes.get("hidden") in {"1", "true"}:
            self.facts.hidden_rows.add(self._row)

    def _start_cell(self, attributes: dict[str, str]) -> None:
        # The reference may be left out; then a cell follows the one before it.
        match = _REFERENCE.fullmatch(attributes.get("r", ""))
        self._column = self._number(match[1]) if match else self._column + 1
        self._type, self._style = attributes.get("t", "n"), attributes.get("s", "")
        self._formula = self._filled = False
        self._text = ""

    def _end_cell(self) -> None:
        cell = (self._row, self._column)
        if self._formula:
            self.facts.formulas.add(cell)
            if not self._filled and self._type != "str":
                self.facts.no_result.add(cell)
        if self._type == "e":
            self.facts.errors[cell] = self._text
        elif self._style in self._percent and self._type == "n" and self._filled:
            self.facts.percents.add(cell)
        if self._filled or self._formula:
            self._reach(*cell)

    def _reach(self, row: int, column: int) -> None:
        facts = self.facts
        if row <= facts.last_row and column <= facts.last_column:
            return
        facts.last_row = max(row, facts.last_row)
        facts.last_column = max(column, facts.last_column)
        if (facts.last_row + 1) * (facts.last_column + 1) > MAX_AREA:
            raise SourceError(
                f"{self._sheet}: a filled cell was found as far out as column "
                f"{column_letters(facts.last_column)}, row {facts.last_row + 1}; no table of this "
                "registry reaches so far. Delete the rows and columns beyond the data, save, and "
                "take the file in again."
            )

    def _number(self, letters: str) -> int:
        if letters not in self._columns:
            number = 0
            for letter in letters:
                number = number * 26 + ord(letter) - 64
            self._columns[letters] = number - 1
        return self._columns[letters]
