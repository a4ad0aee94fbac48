"""Small operations on typed tables that the rules share. Blanks never count as a finding."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from registry.schema import Lesions, Patients, Sessions

LESION = [Patients.patient_id, Lesions.lesion_no]
SESSION = [*LESION, Sessions.session_no]


def rows_of(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """The rows in order, each as its values by the name of their column."""
    return [{str(name): value for name, value in row.items()} for row in frame.to_dict("records")]


def sure(condition: pd.Series) -> pd.Series:
    """The condition as plain true and false; unknown is false."""
    return condition.astype("boolean").fillna(False).astype(bool)


def bring(
    child: pd.DataFrame, parent: pd.DataFrame, key: Sequence[str], columns: Sequence[str],
) -> pd.DataFrame:
    """`child` with `columns` of its parent row added; index and row order stay.

    Where the parent's key occurs twice (an error of its own) its first row is used; where
    there is no parent the columns are blank.
    """
    key = list(key)
    known = parent.dropna(subset=key).drop_duplicates(key)
    return child.join(known.set_index(key)[list(columns)], on=key)


def has_match(child: pd.DataFrame, other: pd.DataFrame, key: Sequence[str]) -> pd.Series:
    """Whether `other` has a row with the same `key` as each row of `child`.

    A row of `child` with a blank in the key has no match.
    """
    key = list(key)
    known = other[key].dropna().drop_duplicates().assign(_there=True)
    return sure(child.join(known.set_index(key)["_there"], on=key)["_there"])


def day(dates: pd.Series) -> pd.Series:
    """Dates as text, year-month-day."""
    return pd.to_datetime(dates).dt.strftime("%Y-%m-%d").astype("string")


def figure(values: pd.Series) -> pd.Series:
    """Numbers as short text (three decimals at most)."""
    numbers = values.astype("float64")
    return numbers.map(lambda value: f"{round(value, 3):.10g}").astype("string")


def own_number(rows: pd.DataFrame, name: str, own: str) -> pd.Series:
    """`name` as text, a blank becoming a value of the row's own (made from its key `own`)."""
    return rows[name].astype("string").fillna("own " + rows[own].astype("string"))
