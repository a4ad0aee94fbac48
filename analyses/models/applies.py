"""Of which rows a question can be asked at all.

Where no liquid was injected there is no rate: such a row has no gap to fill in, and leaving it out
is not leaving out a value that somebody forgot to record. A table says so in a yes/no column
beside the variable, named as `applies_to` says; a table without one asks every row.
"""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd


def applies_to(column: str) -> str:
    """The name of the column that says in which rows `column` has a meaning."""
    return f"{column}.applies"


def rows_asked(data: pd.DataFrame, columns: Iterable[str]) -> tuple[pd.DataFrame, dict[str, int]]:
    """The rows in which every one of `columns` has a meaning, and how many each one leaves out.

    data: one row a unit, with a column `applies_to(c)` (yes/no, no blanks) for each column `c`
    that does not apply everywhere.
    """
    asked = pd.Series(True, index=data.index)
    left: dict[str, int] = {}
    for column in columns:
        if applies_to(column) not in data.columns:
            continue
        own = data[applies_to(column)].astype(bool)
        if not own.all():
            left[column] = int((~own).sum())
        asked &= own
    return data[asked], left
