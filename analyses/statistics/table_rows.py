"""The rows of a table, one by one."""

from __future__ import annotations

from typing import Any

import pandas as pd


def rows_of(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Each row as column name → value, in order."""
    return [{str(name): value for name, value in row.items()} for row in table.to_dict("records")]
