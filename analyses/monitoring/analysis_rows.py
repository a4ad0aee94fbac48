"""The procedures that a quality analysis looks at: checked, in order, its baseline marked."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from analyses.monitoring.procedure_frame import COLUMNS
from analyses.monitoring.service_charts import DAYS_A_MONTH, SETS_LIMITS
from registry.schema import Patients, Sessions

if TYPE_CHECKING:
    import pandas as pd

PLANNED_MONTHS = 24
"""How long is planned where no plan says it."""
MOST_PLANNED = 1000


def rows_in_order(procedures: pd.DataFrame, expected: Iterable[Any] | None) -> pd.DataFrame:
    """The procedures of known outcome in order of time, checked; all faults are told at once.

    procedures: one row each with COLUMNS; expected: declared risks in the rows' order, which
    become `declared`. Raises ValueError.
    """
    import pandas as pd

    missing = [name for name in COLUMNS if name not in procedures.columns]
    if missing:
        raise ValueError(f"procedures: no column {', '.join(missing)}")
    sessions = procedures.copy()
    if expected is not None:
        sessions["declared"] = list(expected)
    days = pd.to_datetime(sessions[Sessions.session_date], errors="coerce")
    faults = [
        f"{name} is blank or unreadable in {int(blank.sum())} rows"
        for name, blank in (
            (Sessions.session_date, days.isna()),
            (Patients.patient_id, sessions[Patients.patient_id].isna()),
        )
        if blank.any()
    ]
    if sessions["complication"].notna().sum() == 0:
        faults.append("there is no procedure whose outcome is known")
    if faults:
        raise ValueError(f"procedures: {'; '.join(faults)}; leave such rows out and say how many")
    sessions[Sessions.session_date] = days
    sessions = sessions[sessions["complication"].notna()].copy()
    sessions["complication"] = sessions["complication"].astype(int)
    return sessions.sort_values([Sessions.session_date, "procedure_key"], kind="stable",
                                ignore_index=True)


def set_baseline(sessions: pd.DataFrame, first: Any, last: Any) -> None:
    """Mark the baseline's sessions, and as watched those after its last day.

    A declared baseline (last is a day) sets the limits of the charts too; without one it is the
    first half of the sessions. Raises ValueError where no session lies in it.
    """
    import pandas as pd

    days = sessions[Sessions.session_date]
    if last is None:
        sessions["baseline"] = np.arange(len(sessions)) < (len(sessions) + 1) // 2
        sessions["watched"] = ~sessions["baseline"]
        return
    chosen = days <= pd.Timestamp(last)
    if first is not None:
        chosen &= days >= pd.Timestamp(first)
    if not chosen.any():
        raise ValueError(f"the baseline ends on {last}: no session lies in it")
    sessions["baseline"], sessions["watched"] = chosen, days > pd.Timestamp(last)
    sessions[SETS_LIMITS] = chosen


def planned_sessions(sessions: pd.DataFrame, planned_to: Any) -> int:
    """Sessions to be expected from the baseline's end to the planned period's.

    At the baseline's own volume, so that what comes later does not move the limit; 10 to 1,000.
    """
    import pandas as pd

    days = sessions.loc[sessions["baseline"], Sessions.session_date]
    months = max(1.0, ((days.max() - days.min()).days + 1) / DAYS_A_MONTH)
    ahead = float(PLANNED_MONTHS) if planned_to is None else (
        (pd.Timestamp(planned_to) - days.max()).days / DAYS_A_MONTH)
    return int(np.clip(round(len(days) / months * ahead), 10, MOST_PLANNED))


def years_of(days: pd.Series) -> np.ndarray:
    """Days as calendar time in years, 365.25 days each, from the first of them."""
    found: np.ndarray = ((days - days.min()).dt.days / 365.25).to_numpy(float)
    return found
