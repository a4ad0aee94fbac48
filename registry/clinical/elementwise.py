"""Lets one function, written once for columns, also take single values.

Scores and technique variables are written on pandas columns with nullable types, where a
blank stays a blank. The decorator below lets the same function answer for one patient.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import wraps
from typing import Any

import pandas as pd

# One value, or a column of them. A blank is None, NaN or pandas NA.
Values = Any


def scalar_or_column(function: Callable[..., pd.Series]) -> Callable[..., Any]:
    """Let `function`, written for pandas Series, also take single values, lists and arrays.

    All arguments single values: one value comes back, pandas NA for a blank. Otherwise a
    Series, on the index of the first argument that is a Series (0, 1, 2, … where none is);
    single values stand for every row. Series must share that index: a ValueError says when
    they do not, since lining them up by position or by guess could mix patients.
    """

    @wraps(function)
    def answer(*args: Values, **named: Values) -> Any:
        given = [*args, *named.values()]
        single = all(pd.api.types.is_scalar(value) for value in given)
        index = _shared_index(given)
        columns = [_as_column(value, index) for value in args]
        result = function(*columns, **{k: _as_column(v, index) for k, v in named.items()})
        return _as_single(result.iloc[0]) if single else result

    return answer


def _shared_index(given: list[Values]) -> pd.Index:
    indexes = [value.index for value in given if isinstance(value, pd.Series)]
    if any(not indexes[0].equals(other) for other in indexes[1:]):
        raise ValueError("The columns do not have the same rows; give columns of one table.")
    if indexes:
        return indexes[0]
    lengths = {len(value) for value in given if not pd.api.types.is_scalar(value)}
    if len(lengths) > 1:
        raise ValueError(f"The lists have different lengths: {sorted(lengths)}.")
    return pd.RangeIndex(lengths.pop() if lengths else 1)


def _as_column(value: Values, index: pd.Index) -> pd.Series:
    if isinstance(value, pd.Series):
        return value
    if pd.api.types.is_scalar(value):
        return pd.Series([value] * len(index), index=index, dtype="object")
    if len(value) != len(index):
        raise ValueError(f"A list of {len(value)} values does not fit {len(index)} rows.")
    return pd.Series(list(value), index=index, dtype="object")


def _as_single(value: Any) -> Any:
    if pd.isna(value):
        return pd.NA
    return value.item() if hasattr(value, "item") else value


def numbers(values: pd.Series) -> pd.Series:
    """The column as nullable numbers ("Float64"); blanks stay blank."""
    return values.where(values.notna(), pd.NA).astype("Float64")


def yes_no(values: pd.Series) -> pd.Series:
    """The column as nullable yes/no ("boolean"); blanks stay blank."""
    return values.where(values.notna(), pd.NA).astype("boolean")


def words(values: pd.Series, allowed: Sequence[str], name: str) -> pd.Series:
    """The column as text, refusing with a ValueError any word that is not of `allowed`."""
    text = values.where(values.notna(), pd.NA).astype("string")
    unknown = sorted(set(text.dropna()) - set(allowed))
    if unknown:
        found = ", ".join(repr(word) for word in unknown)
        raise ValueError(f"{name}: found {found}; wanted one of: {', '.join(allowed)}.")
    return text


def points(condition: pd.Series, number: int = 1) -> pd.Series:
    """`number` points where the condition holds, 0 where it does not, blank where unknown."""
    return condition.astype("boolean").astype("Int64") * number


def column(table: pd.DataFrame, name: str) -> pd.Series:
    """A column of the table; all blank when the table does not have it."""
    if name in table.columns:
        return table[name]
    return pd.Series(pd.NA, index=table.index, dtype="object")


def plain(values: pd.Series) -> pd.Series:
    """Nullable numbers as the "float64" the tables use for numbers, blanks as NaN."""
    array = values.astype("Float64").to_numpy(dtype="float64", na_value=float("nan"))
    return pd.Series(array, index=values.index, name=values.name)
