"""Ages, and text in a person's own words, on the way out."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from registry.schema import Patients, TableSpec

# 45 CFR 164.514(b)(2)(i)(C): all ages over 89 are put into one class of 90 or older.
OLDEST = 90


def cap_ages(patients: pd.DataFrame, *, oldest: float = OLDEST) -> pd.DataFrame:
    """A copy of the patients table with ages (years) above `oldest` set to it; blanks stay."""
    capped = patients.copy()
    capped[Patients.age_y] = capped[Patients.age_y].clip(upper=oldest)
    return capped


def without_free_text(spec: TableSpec) -> TableSpec:
    """The table without its fields of free text: no check of words finds every name in them."""
    return replace(spec, fields=tuple(field for field in spec.fields if not field.free))
