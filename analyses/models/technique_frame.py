"""The tables that the technique models are fitted on: one row a unit, from a freeze's units.

Technique of a procedure, and of everything done to a lesion or a patient, as each technique
variable says (`technique_terms`).
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import pandas as pd

from analyses.measures.harm import ANY, PERMANENT_DEFICIT
from analyses.measures.obliteration import embolized_lesions
from analyses.models.technique_declared import applies_columns, totals
from analyses.models.technique_rows import TechniqueRows, session_rows
from analyses.population.counted_events import LESION, unit_key
from analyses.population.unit_frames import Units
from registry.schema import Patients, Resections, Sessions

if TYPE_CHECKING:
    from analyses.models.model_plan import Plan
    from analyses.models.technique_models import TechniqueModels


def technique_frames(units: Units) -> dict[str, pd.DataFrame]:
    """Unit → its table, as `run_technique_models` wants them.

    session: procedures with `event` (any embolization complication). lesion: embolized and
    assessed, with `obliterated` (immediate complete occlusion), technique up to any other
    treatment. patient: embolized, with `permanent_deficit` (or death, from embolization).
    resection: operations on lesions embolized before, with `blood_loss_ml` and `operation_min`.
    Each has `patient_id`, `key`, `sm_grade`, `ruptured`, and the columns of
    `technique_declared.totals`; `case_number` is that of the first procedure. Beside what has no
    meaning in every row stands a yes/no column (`analyses.models.applies`).
    """
    rows = session_rows(units)
    return {"session": _sessions(units, rows), "lesion": _lesions(units, rows),
            "patient": _patients(units, rows), "resection": _resections(units, rows)}


def technique_models(
    units: Units, manifest: Mapping[str, Any], *, plan: Plan | None = None,
) -> TechniqueModels:
    """Run a plan (the default one, as exploratory, where None) on a freeze's technique frames.

    manifest: the freeze's, for the day on which the data were frozen.
    """
    from analyses.models.technique_models import run_technique_models

    frozen = datetime.date.fromisoformat(manifest["date"])
    return run_technique_models(technique_frames(units), plan=plan, data_seen=frozen)


def _sessions(units: Units, rows: pd.DataFrame) -> pd.DataFrame:
    marked = ANY.frame(units, "session")
    worked = totals(TechniqueRows(rows, "procedure", units.injections.rename(
        columns={"session_key": "procedure"})))
    return _finished(marked, worked, {"event": marked["event"]})


def _lesions(units: Units, rows: pd.DataFrame) -> pd.DataFrame:
    lesions = embolized_lesions(units)
    other = lesions[["first_resection", "first_radiosurgery"]].min(axis=1)
    last = rows["lesion"].map(pd.Series(other.array, index=lesions["key"]))
    used = rows[last.isna() | (rows[Sessions.session_date] <= last)]
    worked = totals(TechniqueRows(used, "lesion", _injections(units, used)))
    return _finished(lesions, worked, {"obliterated": lesions["complete"]})


def _patients(units: Units, rows: pd.DataFrame) -> pd.DataFrame:
    marked = PERMANENT_DEFICIT.frame(units, "patient")
    worked = totals(TechniqueRows(rows, Patients.patient_id, units.injections))
    return _finished(marked, worked, {"permanent_deficit": marked["event"]})


def _resections(units: Units, rows: pd.DataFrame) -> pd.DataFrame:
    operations = units.tables["resections"].reset_index(drop=True)
    names = operations.assign(operation=unit_key(operations, [*LESION, Resections.resection_no]))
    before = rows.merge(names[[*LESION, "operation", Resections.resection_date]], on=LESION)
    before = before[before[Sessions.session_date] <= before[Resections.resection_date]]
    worked = totals(TechniqueRows(before, "operation", _injections(units, before, "operation")))
    about = units.lesions.set_index(LESION)[["sm_grade_value", "ruptured"]]
    own = names.rename(columns={"operation": "key"}).join(about, on=LESION)
    own = own[own["key"].isin(worked.index)].reset_index(drop=True)
    return _finished(own, worked, {
        name: own[name].astype("Float64").astype(float)
        for name in (Resections.blood_loss_ml, Resections.operation_min)})


def _finished(
    frame: pd.DataFrame, worked: pd.DataFrame, outcomes: dict[str, pd.Series],
) -> pd.DataFrame:
    """The unit's rows with its technique, its outcomes and what is adjusted for."""
    found = frame[[Patients.patient_id, "key"]].assign(
        **outcomes,
        sm_grade=frame["sm_grade_value"].astype("Float64").astype(float),
        ruptured=frame["ruptured"].map({"yes": True, "no": False}).astype("boolean"))
    # Of no rows at all the index has no type of its own.
    worked = worked.set_axis(worked.index.astype("string"))
    joined = found.assign(key=found["key"].astype("string")).join(worked, on="key")
    # A lesion first embolized after its resection has no technique to ask about.
    asked = applies_columns()
    joined[asked] = joined[asked].eq(True)
    return joined.reset_index(drop=True)


def _injections(units: Units, rows: pd.DataFrame, by: str = "lesion") -> pd.DataFrame:
    """The injections of these sessions rows, with the column `by` of the rows."""
    keys = rows[["key", by]].rename(columns={"key": "own_key"})
    kept = units.injections.drop(columns=[by], errors="ignore")
    return kept.merge(keys, on="own_key")
