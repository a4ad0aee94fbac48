"""A mapping as the program holds it, once every statement of the file has been checked."""

from __future__ import annotations

from collections.abc import Mapping as MappingType
from dataclasses import dataclass, field
from typing import Any, Literal

from registry.problems.problem import SourceError
from registry.schema import TABLES, FieldSpec

DateOrder = Literal["day first", "month first"]
Split = Literal["diameters", "counted", "added up", "parts"]
Numbers = tuple[tuple[str, int | str], ...]

COUNTED = "counted"


class MappingError(SourceError):
    """The mapping cannot be used; `sentences` says everything that is wrong with it."""


@dataclass(frozen=True)
class Target:
    """A field of a table, written "table.field" in the file."""

    table: str
    field: str

    @property
    def spec(self) -> FieldSpec:
        """The field's description in the schema."""
        return TABLES[self.table].by_name[self.field]

    def __str__(self) -> str:
        return f"{self.table}.{self.field}"


# One word's meaning: a value for the column's field, or groups of values (one a row).
WordMeaning = Any | tuple[MappingType[Target, Any], ...]


@dataclass(frozen=True)
class RowsWhere:
    """Rows of the sheet, by their numbers or by what a column holds. `line` is in the file."""

    line: int
    because: str
    ranges: tuple[tuple[int, int], ...] = ()
    heading: str | None = None
    column: str | None = None
    values: frozenset[str] = frozenset()
    order: DateOrder | None = None


@dataclass(frozen=True)
class ColumnPlan:
    """What becomes of one column. Exactly one of `targets`, `leave_out`, `open` says it."""

    line: int
    heading: str
    column: str | None = None
    targets: tuple[Target, ...] = ()
    leave_out: str | None = None
    open: bool = False
    numbers: Numbers = ()
    split: Split | None = None
    split_at: str = " "
    largest_first: bool = False
    count_into: Target | None = None
    unit: str | None = None
    words: MappingType[str, WordMeaning] = field(default_factory=dict)
    blank: frozenset[str] = frozenset()
    range: Literal["higher", "lower"] | None = None
    dates: DateOrder | None = None
    short_years_from: int | None = None
    part_dates: bool = False
    not_identifying: str | None = None

    @property
    def makes_rows(self) -> bool:
        """Whether one cell may give several rows."""
        parts_of_one = self.split == "parts" and len(self.targets) == 1
        return self.split == "counted" or parts_of_one or any(
            isinstance(meaning, tuple) and len(meaning) > 1 for meaning in self.words.values()
        )


@dataclass(frozen=True)
class Constant:
    """A value for every row of a table, or of those rows with certain numbers."""

    line: int
    target: Target
    value: Any
    numbers: Numbers = ()


@dataclass(frozen=True)
class StudyCodes:
    """How study codes are made from the service's own numbers."""

    line: int
    heading: str
    column: str | None
    prefix: str
    key_file: str


@dataclass(frozen=True)
class Mapping:
    """A whole mapping. `lines` gives the line of a statement by its section and key."""

    name: str
    draft: bool
    sheet: str | None
    heading_rows: tuple[int, ...]
    one_row_is: str
    columns: tuple[ColumnPlan, ...]
    constants: tuple[Constant, ...] = ()
    leave_out_rows: tuple[RowsWhere, ...] = ()
    dates_in_rows: tuple[RowsWhere, ...] = ()
    numbers: MappingType[str, int | str] = field(default_factory=dict)
    study_codes: StudyCodes | None = None
    dates: DateOrder | None = None
    short_years_from: int | None = None
    blank: frozenset[str] = frozenset()
    merged_each_row: bool | None = None
    other_columns: str | None = None
    lines: MappingType[tuple[str, str], int] = field(default_factory=dict)

    @property
    def open_columns(self) -> int:
        """How many columns wait for a person's decision."""
        return sum(column.open for column in self.columns)
