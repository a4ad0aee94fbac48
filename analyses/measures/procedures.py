"""How procedures were done: sessions a patient, pedicles, volumes, rates, pauses, dose, time.

All of these are skewed: medians with quartiles, the interval of the median by patient.
"""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from analyses.measures.counting import shares
from analyses.measures.measure import Counts, Direction, Share, Spread
from analyses.measures.measuring import medians
from analyses.measures.places import Place
from analyses.population.procedure_rows import (
    injection_rows,
    operator_groups,
    procedure_rows,
    sessions_of_patients,
)
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate
from registry.schema import Injections, Sessions

HIGH_KERMA_MGY = 5000.0
"""From 5 Gy at the reference point a dose is called substantial and the skin is followed up.

Stecker and others 2009, J Vasc Interv Radiol 20:S263 (the value from memory).
"""


NO_KERMA = "without a recorded air kerma"
Frame = Callable[[Units], pd.DataFrame]


def _column(frame: Frame, column: str) -> Counts:
    def values(units: Units, unit: str) -> pd.DataFrame:
        rows = frame(units)
        return rows.assign(value=rows[column])

    return values


def _spread(
    unit: str, frame: Frame, column: str, label: str, measure: str, uses: str = "",
    more: dict[Place, tuple[str, ...]] | None = None, answers: tuple[str, ...] = (),
) -> Spread:
    """A measurement of procedures or injections; `measure` is its unit, "" for a count."""
    stem = "injection" if unit == "injection" else "procedure"
    return Spread(
        id=f"{stem}.{column}", units=(unit,), label=label, subject=label.lower(),
        counted=label.lower(), among="{units} with it recorded", measure=measure,
        values=_column(frame, column), by=BY, shown_in={Place.PROCEDURE_TABLE: (unit,),
                                                        **(more or {})},
        uses=tuple(uses.split()), answers=answers, checked_against="order statistics, Conover")


BY = ("formulation",)
SESSION, IN_TEXT = ("session",), Place.PROCEDURE_TEXT
PATIENT_MEASURES: tuple[Spread, ...] = (
    _spread("patient", sessions_of_patients, "sessions", "Sessions a patient", "",
            "sessions.procedure_no", {IN_TEXT: ("patient",)}),
)
SESSION_MEASURES: tuple[Spread, ...] = (
    _spread(
        "session",
        procedure_rows,
        "pedicles_treated",
        "Pedicles a session",
        "",
        "injections.pedicle_no",
        {IN_TEXT: SESSION},
    ),
    _spread(
        "session",
        procedure_rows,
        Injections.agent_ml,
        "Liquid agent a session",
        "mL",
        "injections.agent_ml injections.agent",
        {IN_TEXT: SESSION},
    ),
    _spread(
        "session",
        procedure_rows,
        Sessions.procedure_min,
        "Procedure time",
        "min",
        "sessions.procedure_min",
    ),
    _spread(
        "session",
        procedure_rows,
        Sessions.fluoroscopy_min,
        "Fluoroscopy time",
        "min",
        "sessions.fluoroscopy_min",
    ),
    _spread(
        "session",
        procedure_rows,
        Sessions.air_kerma_mgy,
        "Air kerma at the reference point",
        "mGy",
        "sessions.air_kerma_mgy",
        {IN_TEXT: SESSION},
        ("avm-endovascular: Radiation",),
    ),
    _spread(
        "session",
        procedure_rows,
        Sessions.dose_area_product_gycm2,
        "Dose–area product",
        "Gy·cm²",
        "sessions.dose_area_product_gycm2",
    ),
    _spread(
        "session",
        procedure_rows,
        Sessions.contrast_ml,
        "Contrast medium",
        "mL",
        "sessions.contrast_ml",
    ),
    _spread("session", procedure_rows, "nights", "Nights in hospital", "nights", "sessions.nights"),
)
AIR_KERMA = next(one for one in SESSION_MEASURES if one.id == "procedure.air_kerma_mgy")
INJECTION_MEASURES: tuple[Spread, ...] = (
    _spread(
        "injection",
        injection_rows,
        Injections.agent_ml,
        "Liquid agent an injection",
        "mL",
        "injections.agent_ml",
    ),
    _spread(
        "injection",
        injection_rows,
        Injections.injection_min,
        "Injection time by the clock",
        "min",
        "injections.injection_min",
    ),
    _spread(
        "injection",
        injection_rows,
        "push_min",
        "Time of pushing",
        "min",
        "injections.injection_min injections.pauses_s",
    ),
    _spread(
        "injection",
        injection_rows,
        "rate_ml_min",
        "Mean rate while pushing",
        "mL/min",
        "injections.agent_ml injections.injection_min injections.pauses_s",
        {IN_TEXT: ("injection",)},
    ),
    _spread(
        "injection",
        injection_rows,
        Injections.pauses_s,
        "Pauses together",
        "s",
        "injections.pauses_s",
    ),
    _spread(
        "injection",
        injection_rows,
        Injections.longest_pause_s,
        "Longest pause",
        "s",
        "injections.longest_pause_s",
    ),
    _spread(
        "injection",
        injection_rows,
        Injections.reflux_stops,
        "Stops for reflux",
        "",
        "injections.reflux_stops",
    ),
    _spread(
        "injection",
        injection_rows,
        Injections.reflux_mm,
        "Longest reflux",
        "mm",
        "injections.reflux_mm",
    ),
)


def _high_kerma(units: Units, unit: str) -> pd.DataFrame:
    return _with_high_kerma(procedure_rows(units))


HIGH_KERMA = Share(
    id="procedure.high_kerma", units=SESSION, label="Air kerma of 5 Gy or more",
    subject="an air kerma of 5 Gy or more",
    counted="air kerma at the reference point of 5,000 mGy or more",
    among="sessions with the air kerma recorded", direction=Direction.HARM, counts=_high_kerma,
    by=BY, unknown=NO_KERMA, shown_in={Place.PROCEDURE_TABLE: SESSION, IN_TEXT: SESSION},
    uses=("sessions.air_kerma_mgy",),
    checked_against="Stecker and others 2009 (the value from memory)")


def operator_estimates(units: Units) -> list[Estimate]:
    """The same by operator code, for the service's own files only; never for ranking.

    Patients have no operator: sessions and injections only.
    """
    sessions, injections = (operator_groups(procedure_rows(units)),
                            operator_groups(injection_rows(units)))
    found: list[Estimate] = []
    for frame, measures in ((sessions, SESSION_MEASURES), (injections, INJECTION_MEASURES)):
        for m in measures:
            column = m.id.partition(".")[2]
            found += medians(frame, column, id=m.id, unit=m.units[0], measure=m.measure,
                             by=("operator",))
    return found + shares(_with_high_kerma(sessions), "event", id=HIGH_KERMA.id, unit="session",
                          by=("operator",), unknown=NO_KERMA)


def _with_high_kerma(sessions: pd.DataFrame) -> pd.DataFrame:
    """Procedures with `event`: a dose that is called substantial; blank where not recorded."""
    high = sessions[Sessions.air_kerma_mgy].ge(HIGH_KERMA_MGY).astype("boolean")
    return sessions.assign(event=high.where(sessions[Sessions.air_kerma_mgy].notna()))
