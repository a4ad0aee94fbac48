"""What enters a model: terms with their form, and the columns they become.

A term is one column in a stated form, or the product of several (an interaction). Encodings
remember their knots and levels, so that the same columns can be made for other rows.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analyses.statistics.arrays import Floats
from analyses.statistics.regression.splines import default_knots, spline_basis

FORMS = ("linear", "factor", "spline", "interaction")


@dataclass(frozen=True)
class Term:
    """One term of a model.

    columns: its column, or the columns an interaction multiplies; form: linear, factor, spline
    or interaction, blank to follow the column's type; knots: of a spline, how many (3 to 5) or
    where; reference: of a factor, the level the others are compared with; per: of a linear
    term, how many of its units one step of the coefficient is (0.1 for 0.1 mL/min).
    """

    columns: tuple[str, ...]
    form: str = ""
    knots: int | tuple[float, ...] = 3
    reference: str | None = None
    per: float = 1.0

    @property
    def name(self) -> str:
        return " × ".join(self.columns)


def as_term(given: str | Term | Mapping[str, Any]) -> Term:
    """A term from a column name, a `Term`, or a plan file's table.

    A plan file's table has `column` (or `columns`, for an interaction) and may have `form`,
    `knots`, `reference` and `per`. Raises ValueError for anything else.
    """
    if isinstance(given, Term):
        return given
    if isinstance(given, str):
        return Term((given,))
    known = {"column", "columns", "form", "knots", "reference", "per", "why"}
    unknown = sorted(set(given) - known)
    columns = given.get("columns") or [given.get("column", "")]
    if unknown or not all(columns):
        raise ValueError(
            f"term {dict(given)}: wanted column (or columns), and optionally form, knots, "
            f"reference, per{'; found ' + ', '.join(unknown) if unknown else ''}"
        )
    form = given.get("form", "interaction" if len(columns) > 1 else "")
    if form and form not in FORMS:
        raise ValueError(f"term {columns[0]}: form {form!r}; wanted one of {', '.join(FORMS)}")
    knots = given.get("knots", 3)
    knots = tuple(float(k) for k in knots) if isinstance(knots, (list, tuple)) else int(knots)
    per = given.get("per", 1.0)
    if isinstance(per, bool) or not isinstance(per, (int, float)) or not per > 0:
        raise ValueError(f"term {columns[0]}: per {per!r}; wanted a number above 0")
    return Term(tuple(columns), form, knots, given.get("reference"), float(per))


def is_two_valued(column: pd.Series) -> bool:
    """Whether a column holds only yes and no (True and False), gaps aside."""
    if pd.api.types.is_bool_dtype(column.dtype):
        return True
    seen = column.dropna()
    return column.dtype == object and len(seen) > 0 and bool(seen.map(
        lambda value: isinstance(value, (bool, np.bool_))
    ).all())


def numbers(column: pd.Series) -> Floats:
    """The column as floats, True as 1 and False as 0. Raises ValueError where it is text."""
    if is_two_valued(column):
        return column.astype("boolean").astype("Float64").to_numpy(float, na_value=np.nan)
    return pd.to_numeric(column).to_numpy(float, na_value=np.nan)


def form_of(term: Term, column: pd.Series) -> str:
    """The form a term takes: as stated, else factor for text and linear for numbers."""
    if term.form and term.form != "interaction":
        return term.form
    if is_two_valued(column) or pd.api.types.is_numeric_dtype(column.dtype):
        return "linear"
    return "factor"


@dataclass(frozen=True)
class Encoding:
    """How one column becomes columns of the design matrix."""

    column: str
    form: str
    knots: tuple[float, ...] = ()
    levels: tuple[Any, ...] = ()
    per: float = 1.0

    @property
    def names(self) -> tuple[str, ...]:
        if self.form == "factor":
            return tuple(f"{self.column} [{level}]" for level in self.levels[1:])
        curved = tuple(f"{self.column} (curve {i})" for i in range(1, len(self.knots) - 1))
        step = "" if self.per == 1 else f" (per {self.per:g})"
        return (f"{self.column}{step}", *curved)

    def encode(self, frame: pd.DataFrame) -> Floats:
        """(rows, len(names)) for the rows of `frame`."""
        if self.form == "factor":
            values = frame[self.column].astype(object).to_numpy()
            return np.column_stack([(values == level) for level in self.levels[1:]]).astype(float)
        values = numbers(frame[self.column])
        if self.form == "spline":
            return spline_basis(values, self.knots)
        return values[:, None] / self.per


def _levels(term: Term, column: pd.Series) -> tuple[Any, ...]:
    seen = column.dropna()
    if isinstance(column.dtype, pd.CategoricalDtype):
        found = [level for level in column.cat.categories if (seen == level).any()]
    else:
        found = sorted(seen.unique(), key=str)
    if term.reference is not None:
        if term.reference not in found:
            raise ValueError(
                f"{term.name}: reference {term.reference!r} is not among the levels "
                f"{', '.join(map(str, found))}"
            )
        found = [term.reference, *(level for level in found if level != term.reference)]
    return tuple(found)


def encoding_of(term: Term, column: pd.Series) -> Encoding:
    """Learn knots or levels of a one-column term from the rows of the model."""
    form = form_of(term, column)
    _refuse_ignored(term, form)
    if form == "factor":
        levels = _levels(term, column)
        if len(levels) < 2:
            raise ValueError(f"{term.name}: has only one level ({', '.join(map(str, levels))})")
        return Encoding(term.columns[0], form, levels=levels)
    if form == "spline":
        knots = term.knots
        if isinstance(knots, int):
            knots = default_knots(numbers(column.dropna()), knots)
        return Encoding(term.columns[0], form, knots=knots)
    return Encoding(term.columns[0], form, per=term.per)


def _refuse_ignored(term: Term, form: str) -> None:
    """Raise ValueError where an option says something that a term of this form cannot follow."""
    options = (("reference", term.reference is not None, "factor"),
               ("knots", term.knots != Term.knots, "spline"), ("per", term.per != 1, "linear"))
    for name, given, wanted in options:
        if given and form != wanted:
            raise ValueError(f"{term.name}: {name} is for a {wanted} term, and this one is "
                             f"{form}; leave {name} out, or say form {wanted}")
