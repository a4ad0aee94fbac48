"""The steps a migration is made of: each says what becomes of the columns and of every row.

A step is written down once and done twice: to the tables of a registry and to the frames of a
freeze, both as rows of plain values (`registry.schema.canonical` says which). A step never touches
the values of a key. What is held back is raw text as it was typed; `of_text` carries it over as
far as text can be, and leaves the rest under its old name, so that nothing is lost.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from registry.schema.fields import FieldSpec
from registry.schema.patients import Patients
from registry.schema.tables import TableSpec

Row = dict[str, Any]
Rows = dict[str, list[Row]]
"""Table → its rows, each field name → plain value, None for a blank."""
Texts = dict[str, str]


@dataclass(frozen=True)
class NewColumn:
    """A column as it is at the migration's own time: a later migration may rename it.

    `type` is one of `fields.DTYPES`: text, choice, int, number, yes/no, date.
    """

    name: str
    type: str

    @property
    def spec(self) -> FieldSpec:
        """The column as a field, for those who make tables of fields."""
        return FieldSpec(self.name, self.type, self.name, "")


@dataclass(frozen=True)
class Structure:
    """What a step does to the columns of its table, in this order."""

    renamed: Mapping[str, str] = field(default_factory=dict)
    added: tuple[NewColumn, ...] = ()
    dropped: tuple[str, ...] = ()
    made: TableSpec | None = None


class Step(Protocol):
    """One change of one table."""

    @property
    def table(self) -> str:
        """The table it changes."""

    @property
    def structure(self) -> Structure:
        """What becomes of the table's columns."""

    def of_rows(self, tables: Rows) -> Rows:
        """All tables after the step; what goes in stays as it is."""

    def of_text(self, values: Texts) -> Texts:
        """A row of this table that is held back, after the step."""

    def told(self, tables: Rows) -> list[str]:
        """Sentences about values of `tables`, before the step, that have no place after it."""


def _typed(value: Any) -> str:
    """A value as it would be typed."""
    words = {True: "yes", False: "no"}
    return words[value] if isinstance(value, bool) else str(value)


class _RowByRow:
    """A step that changes every row of its table by itself."""

    table: str

    def of_rows(self, tables: Rows) -> Rows:
        return {**tables, self.table: [self.of_row(row) for row in tables[self.table]]}

    def of_row(self, row: Row) -> Row:
        raise NotImplementedError

    def of_text(self, values: Texts) -> Texts:
        return dict(values)

    def told(self, tables: Rows) -> list[str]:
        return []


@dataclass(frozen=True)
class RenameField(_RowByRow):
    """A field has another name; a key may be renamed too, in every table that has it.

    `label` is the one it had before, where that is another too: sheets of before are still headed
    by it.
    """

    table: str
    old: str
    new: str
    label: str = ""

    @property
    def structure(self) -> Structure:
        return Structure(renamed={self.old: self.new})

    def of_row(self, row: Row) -> Row:
        return {self.new if name == self.old else name: value for name, value in row.items()}

    def of_text(self, values: Texts) -> Texts:
        return self.of_row(values)


@dataclass(frozen=True)
class SplitField(_RowByRow):
    """A field becomes two or more.

    `by` makes of a value (never a blank) the values of `into`, in order; a ValueError of it stops
    the migration and names the row. One of `into` may bear the old name, with the old type. Held
    text is split only where the field itself holds text (`of_type` text or choice).
    """

    table: str
    old: str
    of_type: str
    into: tuple[NewColumn, ...]
    by: Callable[[Any], Sequence[Any]]

    @property
    def structure(self) -> Structure:
        names = [column.name for column in self.into]
        return Structure(
            added=tuple(column for column in self.into if column.name != self.old),
            dropped=() if self.old in names else (self.old,),
        )

    def of_row(self, row: Row) -> Row:
        value = row[self.old]
        parts = [None] * len(self.into) if value is None else self._parts(value, row)
        kept = {name: other for name, other in row.items() if name != self.old}
        return kept | {c.name: part for c, part in zip(self.into, parts, strict=True)}

    def _parts(self, value: Any, row: Row) -> Sequence[Any]:
        try:
            return self.by(value)
        except ValueError as fault:
            raise ValueError(
                f"{self.table}.{self.old} of {row.get(Patients.patient_id, 'a row')} cannot be "
                f"split: {fault}"
            ) from fault

    def of_text(self, values: Texts) -> Texts:
        if self.old not in values or self.of_type not in ("text", "choice"):
            return dict(values)
        try:
            parts = self.of_row(values)
        except ValueError:
            return dict(values)
        return {name: _typed(part) for name, part in parts.items() if part is not None}


@dataclass(frozen=True)
class ChangeValues(_RowByRow):
    """A field's list of values changed: `to` maps an old value to its new one.

    Values that are not in `to` stay as they are. A list that only became longer has no step: its
    migration says so in its sentence.
    """

    table: str
    name: str
    to: Mapping[str, str]

    @property
    def structure(self) -> Structure:
        return Structure()

    def of_row(self, row: Row) -> Row:
        value = row[self.name]
        return {**row, self.name: self.to.get(value, value)}

    def of_text(self, values: Texts) -> Texts:
        """As typed: capitals and spaces around a word do not matter, as they do not at intake."""
        typed = {old.casefold(): new for old, new in self.to.items()}
        word = values.get(self.name, "").strip().casefold()
        return {**values, self.name: typed[word]} if word in typed else dict(values)


@dataclass(frozen=True)
class AddField(_RowByRow):
    """A field that rows of before get a value in: `value` makes it of the row, None for a blank.

    A new field that starts blank needs no step: a registry gets the column on opening.
    """

    table: str
    column: NewColumn
    value: Callable[[Mapping[str, Any]], Any]

    @property
    def structure(self) -> Structure:
        return Structure(added=(self.column,))

    def of_row(self, row: Row) -> Row:
        return {**row, self.column.name: self.value(row)}


@dataclass(frozen=True)
class DropField(_RowByRow):
    """A field is no more; what stood in it is told, or carried into another field.

    `into`: a text field of the same table; the value is written behind what stands there, as
    "label: value". Without it the count of values is told: a registry keeps them in its audit
    trail, a freeze in its files.
    """

    table: str
    name: str
    label: str
    into: str = ""

    @property
    def structure(self) -> Structure:
        return Structure(dropped=(self.name,))

    def of_row(self, row: Row) -> Row:
        kept = {name: value for name, value in row.items() if name != self.name}
        if self.into and row[self.name] is not None:
            kept[self.into] = self._behind(kept[self.into], row[self.name])
        return kept

    def of_text(self, values: Texts) -> Texts:
        if not self.into or not values.get(self.name):
            return dict(values)
        kept = {name: value for name, value in values.items() if name != self.name}
        return kept | {self.into: self._behind(kept.get(self.into), values[self.name])}

    def told(self, tables: Rows) -> list[str]:
        count = sum(row[self.name] is not None for row in tables[self.table])
        if self.into or not count:
            return []
        values = "1 value" if count == 1 else f"{count} values"
        return [f"{values} of {self.label} ({self.table}.{self.name}) have no place in the tables "
                "any more."]

    def _behind(self, text: str | None, value: Any) -> str:
        said = f"{self.label}: {_typed(value)}"
        return f"{text}; {said}" if text else said


@dataclass(frozen=True)
class AddTable:
    """A table that is made with rows of what other tables hold (before their fields are dropped).

    `spec` is the table as at the migration's own time. A new table that starts empty needs no
    step.
    """

    spec: TableSpec
    rows: Callable[[Mapping[str, Sequence[Mapping[str, Any]]]], list[Row]]

    @property
    def table(self) -> str:
        return self.spec.name

    @property
    def structure(self) -> Structure:
        return Structure(made=self.spec)

    def of_rows(self, tables: Rows) -> Rows:
        blank: Row = dict.fromkeys(self.spec.columns)
        return {**tables, self.table: [blank | row for row in self.rows(tables)]}

    def of_text(self, values: Texts) -> Texts:
        return dict(values)

    def told(self, tables: Rows) -> list[str]:
        return []
