"""One number out of a table."""

from __future__ import annotations

from collections.abc import Hashable

import pandas as pd


def number_at(table: pd.DataFrame, row: Hashable, column: Hashable) -> float:
    """The number at a row and a column, NaN where it is blank.

    Raises KeyError for an unknown row or column.
    """
    return float(table[column].astype(float).to_dict()[row])
