"""How procedures were done: sessions a patient, pedicles, volumes, rates, pauses, dose, time.

All of these are skewed: medians with quartiles, the interval of the median by patient.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analyses.measures.counting import shares
from analyses.measures.measuring import medians
from analyses.population.procedure_rows import (
    injection_rows,
    operator_groups,
    procedure_rows,
    sessions_of_patients,
)
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate

HIGH_KERMA_MGY = 5000.0
"""From 5 Gy at the reference point a dose is called substantial and the skin is followed up.

Stecker and others 2009, J Vasc Interv Radiol 20:S263 (the value from memory).
"""


@dataclass(frozen=True)
class Measure:
    """A measurement: its column, what it is called, and its unit ("" for a count)."""

    column: str
    label: str
    measure: str


PER_PATIENT = (Measure("sessions", "Sessions a patient", ""),)
PER_SESSION = (
    Measure("pedicles_treated", "Pedicles a session", ""),
    Measure("agent_ml", "Liquid agent a session", "mL"),
    Measure("procedure_min", "Procedure time", "min"),
    Measure("fluoroscopy_min", "Fluoroscopy time", "min"),
    Measure("air_kerma_mgy", "Air kerma at the reference point", "mGy"),
    Measure("dose_area_product_gycm2", "Dose–area product", "Gy·cm²"),
    Measure("contrast_ml", "Contrast medium", "mL"),
    Measure("nights", "Nights in hospital", "nights"),
)
PER_INJECTION = (
    Measure("agent_ml", "Liquid agent an injection", "mL"),
    Measure("injection_min", "Injection time by the clock", "min"),
    Measure("push_min", "Time of pushing", "min"),
    Measure("rate_ml_min", "Mean rate while pushing", "mL/min"),
    Measure("pauses_s", "Pauses together", "s"),
    Measure("longest_pause_s", "Longest pause", "s"),
    Measure("reflux_stops", "Stops for reflux", ""),
    Measure("reflux_mm", "Longest reflux", "mm"),
)


def procedure_estimates(units: Units, *, by: tuple[str, ...] = ("formulation",)) -> list[Estimate]:
    """Medians of every measure overall and by formulation; the share with a substantial dose.

    Ids: `procedure.COLUMN` (unit patient or session) and `injection.COLUMN` (liquid injections).
    """
    return _estimates(sessions_of_patients(units), procedure_rows(units), injection_rows(units), by)


def operator_estimates(units: Units) -> list[Estimate]:
    """The same by operator code, for the service's own files only; never for ranking.

    Patients have no operator: sessions and injections only.
    """
    nobody = sessions_of_patients(units).iloc[:0]
    found = _estimates(nobody, operator_groups(procedure_rows(units)),
                       operator_groups(injection_rows(units)), ("operator",))
    return [e for e in found if e.unit != "patient"]


def _estimates(
    people: pd.DataFrame, sessions: pd.DataFrame, injections: pd.DataFrame, by: tuple[str, ...],
) -> list[Estimate]:
    groups = (
        (people, PER_PATIENT, "procedure", "patient"),
        (sessions, PER_SESSION, "procedure", "session"),
        (injections, PER_INJECTION, "injection", "injection"),
    )
    found: list[Estimate] = []
    for frame, measures, stem, unit in groups:
        used = tuple(column for column in by if column in frame)
        for m in measures:
            found += medians(frame, m.column, id=f"{stem}.{m.column}", unit=unit,
                             measure=m.measure, by=used)
    high = sessions["air_kerma_mgy"].ge(HIGH_KERMA_MGY).astype("boolean")
    high = high.where(sessions["air_kerma_mgy"].notna())
    return found + shares(sessions.assign(high=high), "high", id="procedure.high_kerma",
                          unit="session", by=by, unknown="without a recorded air kerma")
