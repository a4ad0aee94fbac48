"""What is wrong with a cell, a row or a file, told so that a person can mend it.

Two weights: an error keeps the patient out until it is mended; a query asks the recorder and
lets the patient in. A fault of the file as a whole is a `SourceError`: nothing is taken in.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from registry.problems.sentence_error import SentenceError
from registry.schema import TABLES

Severity = Literal["error", "query"]


@dataclass(frozen=True)
class Place:
    """Where it is: the sheet (or CSV file) and the row as the spreadsheet counts it, from 1.

    `row` is None where the whole sheet is meant.
    """

    sheet: str
    row: int | None = None

    def __str__(self) -> str:
        return self.sheet if self.row is None else f"{self.sheet}, row {self.row}"


@dataclass(frozen=True)
class Problem:
    """One thing to mend or to answer.

    `rule` is a short stable name of the check; `field` the field's name in the schema (None
    where a whole row is meant); `found`, `wanted` and `mend` are phrases without a full stop.
    `place` is None where the row is not in the source but already in the registry.
    """

    severity: Severity
    rule: str
    table: str
    field: str | None
    patient_id: str | None
    place: Place | None
    found: str
    wanted: str
    mend: str

    @property
    def column(self) -> str:
        """The field's label as the workbook's heading shows it; empty for a whole row."""
        table = TABLES.get(self.table)
        spec = table.by_name.get(self.field) if table and self.field else None
        return spec.label if spec else (self.field or "")

    def sentence(self) -> str:
        """Where, what was found, what is wanted, how to mend it; in one line."""
        label = TABLES[self.table].label if self.table in TABLES else self.table
        where = str(self.place) if self.place else f"{label}, already in the registry"
        if self.column:
            where += f', column "{self.column}"'
        return f"{where}: found {self.found}; wanted: {self.wanted}. {_capital(self.mend)}."


class SourceError(SentenceError):
    """The file as a whole cannot be taken in; nothing was written.

    `sentences` says every such fault at once.
    """

    def __init__(self, *sentences: str) -> None:
        super().__init__("\n".join(sentences))
        self.sentences: tuple[str, ...] = sentences


class OutputError(SentenceError):
    """A file cannot be written where it was asked for; the message is a whole sentence."""


def errors_of(problems: Iterable[Problem]) -> list[Problem]:
    """The problems that keep a patient out, in their order."""
    return [problem for problem in problems if problem.severity == "error"]


def queries_of(problems: Iterable[Problem]) -> list[Problem]:
    """The problems that only ask, in their order."""
    return [problem for problem in problems if problem.severity == "query"]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
