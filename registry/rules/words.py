"""The names a person sees in the entry workbook, taken from the schema: sheets and columns."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from registry.schema import TABLES


def sheet(table: str) -> str:
    """A table by the name of its sheet: `sheet "Sessions"`."""
    return f'sheet "{TABLES[table].label}"'


def column(table: str, field: str) -> str:
    """A field by the heading of its column, without unit and star: `"Session date"`."""
    return f'"{TABLES[table].by_name[field].label}"'


def key_words(rows: pd.DataFrame, table: str, key: Sequence[str]) -> pd.Series:
    """The key of each row of a table in words: `N-0012, Lesion number 1, Session number 2`."""
    words = rows[key[0]].astype("string")
    for name in key[1:]:
        words = words + f", {TABLES[table].by_name[name].label} " + rows[name].astype("string")
    return words
