"""Ages on the way out."""

from __future__ import annotations

import pandas as pd

from registry.schema import Patients

# 45 CFR 164.514(b)(2)(i)(C): all ages over 89 are put into one class of 90 or older.
OLDEST = 90


def cap_ages(patients: pd.DataFrame, *, oldest: float = OLDEST) -> pd.DataFrame:
    """A copy of the patients table with ages (years) above `oldest` set to it; blanks stay."""
    capped = patients.copy()
    capped[Patients.age_y] = capped[Patients.age_y].clip(upper=oldest)
    return capped
