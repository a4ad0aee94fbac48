"""A recorded value as a reader wants it."""

from __future__ import annotations

from typing import Any

import pandas as pd

NOT_RECORDED = "not recorded"


def recorded(value: Any) -> str:
    """The value in words: yes or no, a number without needless digits; a blank is "not recorded".
    """
    if value is None or value is pd.NaT or (not isinstance(value, str) and pd.isna(value)):
        return NOT_RECORDED
    if isinstance(value, bool) or str(value) in ("True", "False"):
        return "yes" if str(value) == "True" else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)
