"""One row a procedure, as quality monitoring wants it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyses.measures.declared import share_of, shown_at
from analyses.measures.places import Place
from analyses.population.procedure_rows import case_numbers_of
from analyses.population.unit_frames import Units
from registry.schema import Patients, Sessions

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = (
    Patients.patient_id,
    "procedure_key",
    Sessions.session_date,
    Sessions.operator_id,
    "case_number",
    "sm_grade",
    "ruptured",
    "complication",
)
"""What a quality analysis needs of a procedure."""


def procedure_frame(units: Units, outcome: str | None = None) -> pd.DataFrame:
    """Procedures for monitoring: one row each, in order of time.

    COLUMNS: `patient_id`, `procedure_key`, `session_date`, `operator_id`, `case_number` (all the
    operator's procedures before this one, those left out of the freeze too), `sm_grade` (number),
    `ruptured` (boolean), `complication` (boolean; blank where `outcome` is not known). outcome:
    the id of a share given per session; that of the measure that is monitored where None.
    """
    watched = outcome or shown_at(Place.MONITORED)[0][0]
    marked = share_of(watched).frame(units, "session")
    numbers = case_numbers_of(units)
    ruptured = marked["ruptured"].map({"yes": True, "no": False}).astype("boolean")
    frame = marked.assign(
        procedure_key=marked["key"], sm_grade=marked["sm_grade_value"].astype("Int64"),
        ruptured=ruptured, complication=marked["event"].astype("boolean"),
        case_number=marked["key"].map(numbers).astype("Int64"),
    )
    return frame[list(COLUMNS)].sort_values(
        [Sessions.session_date, "procedure_key"], kind="stable", ignore_index=True)
