"""One row a procedure, and one row an injection, with what is measured of each.

A procedure on two lesions has two rows of sessions: volumes and pedicles of both are added up;
time, dose and contrast were written for the whole procedure, so the larger of the two is taken.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from analyses.population.counted_events import SESSION, unit_key
from analyses.population.unit_frames import NOT_RECORDED, Units, once
from registry.clinical.technique import (
    case_numbers,
    injection_technique,
    session_technique,
)
from registry.schema import Injections, Patients, Sessions

if TYPE_CHECKING:
    from pandas.core.groupby import SeriesGroupBy

WHOLE_PROCEDURE = (
    Sessions.procedure_min,
    Sessions.fluoroscopy_min,
    Sessions.air_kerma_mgy,
    Sessions.dose_area_product_gycm2,
    Sessions.contrast_ml,
    Sessions.nights,
)
"""Fields of sessions that describe the whole procedure."""

SUMS = ("pedicles_treated", Injections.agent_ml, "injections")
LIQUIDS = ("EVOH 6 %", "EVOH 8 %", "other copolymer", "n-butyl cyanoacrylate")
SEVERAL = "several liquids"
NO_LIQUID = "no liquid"


@once
def procedure_rows(units: Units) -> pd.DataFrame:
    """Procedures with `WHOLE_PROCEDURE`, `SUMS`, `agent_mixing_min` and `formulation`.

    A sum is blank where one of its parts was not recorded. `agent_mixing_min` is the shortest
    of the procedure. Rows are those of `units.sessions`.
    """
    sessions = units.tables["sessions"].reset_index(drop=True)
    technique = session_technique(sessions, units.tables["injections"], units.tables["lesions"])
    rows = pd.concat([sessions, technique[list(SUMS)]], axis=1)
    rows["session_key"] = unit_key(rows, SESSION).map(_procedure_of(units))
    grouped = rows.groupby("session_key")
    found = pd.DataFrame({
        **{name: grouped[name].max() for name in WHOLE_PROCEDURE},
        **{name: _whole_sum(grouped[name]) for name in SUMS},
        Sessions.agent_mixing_min: grouped[Sessions.agent_mixing_min].min(),
        "formulation": formulation(units.injections, "session_key"),
    })
    joined = units.sessions.join(found, on="key")
    return joined.assign(formulation=joined["formulation"].fillna(NO_LIQUID))


@once
def injection_rows(units: Units) -> pd.DataFrame:
    """Injections of a liquid agent with `push_min`, `rate_ml_min` and `formulation` (the agent).

    `longest_pause_s` is 0 where the pauses together were 0.
    """
    table = units.tables["injections"].reset_index(drop=True)
    worked = injection_technique(table, units.tables["sessions"])
    rows = units.injections.assign(
        **{name: worked[name].array for name in
           ("push_min", "rate_ml_min", Injections.longest_pause_s, "liquid")})
    rows = rows[rows["liquid"].fillna(False).astype(bool)].reset_index(drop=True)
    return rows.assign(formulation=rows["agent_used"])


def formulation(injections: pd.DataFrame, by: str) -> pd.Series:
    """The liquid that each value of `by` used, "several liquids" where more than one.

    Unlike the agent group, the two formulations of EVOH are told apart.
    """
    liquid = injections[injections["agent_used"].isin(LIQUIDS)]
    grouped = liquid.groupby(by)["agent_used"]
    return grouped.first().where(grouped.nunique() == 1, SEVERAL).astype("string")


@once
def sessions_of_patients(units: Units) -> pd.DataFrame:
    """Patients embolized, with `sessions`: how many procedures each had."""
    people = units.patients[units.patients["embolized"]]
    counts = units.sessions.groupby(Patients.patient_id).size()
    agents = formulation(units.injections, Patients.patient_id)
    return people.assign(
        sessions=people["key"].map(counts).astype("Int64"),
        formulation=people["key"].map(agents).fillna(NO_LIQUID).astype("string"))


def operator_groups(rows: pd.DataFrame) -> pd.DataFrame:
    """The rows with `operator`, the code as a group; only for use inside the service."""
    return rows.assign(operator=rows[Sessions.operator_id].astype("string").fillna(NOT_RECORDED))


def _procedure_of(units: Units) -> pd.Series:
    """Sessions row (its key) → the key of its procedure."""
    return units.sessions[["key", "rows"]].explode("rows").set_index("rows")["key"]


def _whole_sum(grouped: SeriesGroupBy[Any, Any]) -> pd.Series:
    """Sum of each group, blank where one of its rows is blank."""
    total: pd.Series = grouped.sum()
    return total.where(grouped.count() == grouped.size())


def case_numbers_of(units: Units) -> pd.Series:
    """The case number of each sessions row (index: its key), from the freeze where it has them."""
    if "case_numbers" in units.tables:
        rows = units.tables["case_numbers"]
        return rows["case_number"].set_axis(unit_key(rows, SESSION))
    sessions = units.tables["sessions"]
    return case_numbers(sessions).set_axis(unit_key(sessions, SESSION))
