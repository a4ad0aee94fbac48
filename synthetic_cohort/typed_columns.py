"""Arrays of the simulation as typed columns of the registry."""

from __future__ import annotations

import numpy as np
import pandas as pd

from registry.schema import TABLES
from synthetic_cohort.course import FIRST_DAY
from synthetic_cohort.draws import Columns

ORIGIN = np.datetime64(FIRST_DAY, "D")


def to_dates(days: np.ndarray) -> np.ndarray:
    """Calendar days of days counted from the service's first; not finite: blank."""
    days = np.asarray(days, dtype=float)
    there = np.isfinite(days)
    whole = np.where(there, days, 0).astype(np.int64)
    dates = (ORIGIN + whole).astype("datetime64[ns]")
    dates[~there] = np.datetime64("NaT")
    return dates


def frame(table: str, columns: Columns, rows: int) -> pd.DataFrame:
    """A typed table from the columns that the schema knows; the others are left out."""
    spec = TABLES[table]
    known = {
        name: blank_ints(values) if spec.by_name[name].type == "int" else values
        for name, values in columns.items() if name in spec.by_name
    }
    return spec.typed(pd.DataFrame(known, index=pd.RangeIndex(rows)))


def blank_ints(values: np.ndarray) -> object:
    """Whole numbers, with blanks where the array holds NaN."""
    if values.dtype.kind != "f":
        return values
    missing = np.isnan(values)
    return pd.arrays.IntegerArray(np.where(missing, 0, values).astype(np.int64), missing)
