"""The practice limits as one long frame for monitoring: one row a check of one limit."""

from __future__ import annotations

import pandas as pd

from analyses.measures.declared import share_of, shares_at
from analyses.measures.places import Place
from analyses.measures.practice_kept import (
    PER_INJECTION,
    halt_called_for,
    judged_injections,
    mixed_sessions,
)
from analyses.population.unit_frames import Units
from registry.schema import Patients, Sessions


def limit_frame(units: Units, measure: str | None = None) -> pd.DataFrame:
    """Every check of every limit, for `analyses.monitoring.process_measures`.

    Columns: `date`, `limit` (in words), `within` (boolean, blank where not recorded),
    `patient_id`, `key` and `unit` (injection or session), `complication` (boolean: the procedure
    had the event of `measure`, a share given per session; that which is monitored where None).
    """
    words = units.limits.table().set_index("column")["limit"]
    injections, sessions = judged_injections(units), mixed_sessions(units)
    outcome = share_of(measure) if measure else shares_at(Place.MONITORED)[0][0]
    happened = outcome.frame(units, "session").set_index("key")["event"]
    days = units.sessions.set_index("key")[Sessions.session_date]
    parts = [_part(sessions, "mixing", sessions["key"], "session")]
    for name in PER_INJECTION:
        # Where nothing called for a halt, none was missed: such an injection would only flatter.
        judged = halt_called_for(injections) if name == "halted" else injections
        parts.append(_part(judged, name, judged["session_key"], "injection"))
    rows = pd.concat(parts, ignore_index=True)
    return rows.assign(
        date=rows["session_key"].map(days), limit=rows["limit"].map(words),
        complication=rows["session_key"].map(happened).astype("boolean"),
    ).drop(columns="session_key")


def _part(rows: pd.DataFrame, name: str, keys: pd.Series, unit: str) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "session_key": keys.to_numpy(),
            "key": rows["key"].to_numpy(),
            "unit": unit,
            "limit": name,
            "within": rows[name].astype("boolean").array,
            Patients.patient_id: rows[Patients.patient_id].array,
        }
    )
