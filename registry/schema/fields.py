"""How a field is declared: the one place that knows its label, meaning, unit and limits.

Every table module declares its fields with the helpers below (`text`, `choice`, `number`, …).
Each helper returns a `Column` that carries the whole description, so the dictionary, the entry
workbook, the SQL tables, the checks and the freeze's Table Schema can be generated from it. Asked
of its table, a column is its own name: `Lesions.side` is "side" to the program, a name that a
type checker knows, and `Lesions.sidee` is found before it runs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

# Nullable types throughout: a blank means "not recorded" and must never turn into "no" or zero.
Dtype = Literal["string", "Int64", "float64", "boolean", "datetime64[ns]"]
DTYPES: dict[str, Dtype] = {
    "text": "string",
    "choice": "string",
    "int": "Int64",
    "number": "float64",
    "yes/no": "boolean",
    "date": "datetime64[ns]",
}


@dataclass(frozen=True)
class FieldSpec:
    """A field as the generators see it.

    `type` is one of text, int, number, yes/no, date, choice. `minimum` and `maximum` are
    inclusive; `above` is a strict lower limit. `example` is a value of the right form. `free` is
    text in a person's own words; `filled_later` a field of a row that is otherwise never changed.
    """

    name: str
    type: str
    label: str
    definition: str
    unit: str = ""
    values: tuple[str, ...] = ()
    minimum: float | None = None
    maximum: float | None = None
    above: float | None = None
    pattern: str = ""
    pattern_words: str = ""
    required: bool = False
    key: bool = False
    example: str = ""
    free: bool = False
    filled_later: bool = False

    @property
    def dtype(self) -> Dtype:
        """The pandas dtype of this field's column."""
        return DTYPES[self.type]

    @property
    def heading(self) -> str:
        """The column heading in the entry workbook: the label, the unit, a star if required."""
        star = " *" if self.required else ""
        return f"{self.label} ({self.unit}){star}" if self.unit else f"{self.label}{star}"

    @property
    def wanted(self) -> str:
        """What a cell of this field may hold, in words."""
        if self.values:
            return "one of: " + ", ".join(self.values)
        if self.type == "yes/no":
            return "yes or no"
        if self.type == "date":
            return "a date, written year-month-day, such as 2024-03-09"
        if self.type == "text":
            return self.pattern_words or "text"
        return self._wanted_number()

    def _wanted_number(self) -> str:
        what = "a whole number" if self.type == "int" else "a number"
        unit = f" {self.unit}" if self.unit else ""
        low = self.minimum if self.above is None else self.above
        if low is None and self.maximum is None:
            return what
        if self.maximum is None:
            word = "above" if self.above is not None else "of at least"
            return f"{what} {word} {low:g}{unit}"
        if self.above is not None:
            return f"{what} above {self.above:g} and up to {self.maximum:g}{unit}"
        return f"{what} from {low:g} to {self.maximum:g}{unit}"


class Column:
    """A field where it is declared; asked of its table, the name of its column."""

    def __init__(self, spec: FieldSpec) -> None:
        self.spec = spec

    def __set_name__(self, owner: type, name: str) -> None:
        self.spec = replace(self.spec, name=name)

    def __get__(self, instance: object, owner: type) -> str:
        return self.spec.name


def text(
    label: str, definition: str, *, pattern: str = "", pattern_words: str = "",
    required: bool = False, key: bool = False, example: str = "",
) -> Column:
    """Declare a text field; `pattern` is a regular expression for the whole value."""
    spec = FieldSpec(
        "", "text", label, definition, pattern=pattern, pattern_words=pattern_words,
        required=required or key, key=key, example=example,
    )
    return Column(spec)


def free_text(
    label: str, definition: str, *, required: bool = False, filled_later: bool = False,
) -> Column:
    """Declare text in a person's own words, about what happened and never about who.

    What looks like a name, a number or a date of a person is refused at intake, and the field
    is left out of a freeze made for research.
    """
    spec = FieldSpec(
        "", "text", label, f"{definition} Without names, dates and numbers of persons.",
        pattern_words="words without names, dates or numbers of persons", required=required,
        free=True, filled_later=filled_later,
    )
    return Column(spec)


def choice(
    label: str, definition: str, values: Sequence[str], *, required: bool = False,
    key: bool = False,
) -> Column:
    """Declare a field with a closed list of values."""
    spec = FieldSpec("", "choice", label, definition, values=tuple(values),
                     required=required or key, key=key)
    return Column(spec)


def yes_no(label: str, definition: str, *, required: bool = False) -> Column:
    """Declare a yes/no field; blank means not recorded."""
    return Column(FieldSpec("", "yes/no", label, definition, required=required))


def date(
    label: str, definition: str, *, required: bool = False, filled_later: bool = False,
) -> Column:
    """Declare a date field (a day, no clock time)."""
    return Column(FieldSpec("", "date", label, definition, required=required,
                            filled_later=filled_later))


def integer(
    label: str, definition: str, low: int | None = None, high: int | None = None, *,
    unit: str = "", required: bool = False, key: bool = False,
) -> Column:
    """Declare a whole number from `low` to `high`, both included."""
    spec = FieldSpec(
        "", "int", label, definition, unit=unit, minimum=low, maximum=high,
        required=required or key, key=key,
    )
    return Column(spec)


def number(
    label: str, definition: str, low: float | None = None, high: float | None = None, *,
    above: float | None = None, unit: str = "", required: bool = False,
) -> Column:
    """Declare a number from `low` (or above `above`) to `high`."""
    spec = FieldSpec(
        "", "number", label, definition, unit=unit, minimum=low, maximum=high, above=above,
        required=required,
    )
    return Column(spec)
