"""The tables that the technique models are fitted on: one row a unit, from a freeze's units.

Technique of a procedure, and of everything done to a lesion or a patient: volumes and pedicles
added up, the rate as all the volume over all the push time, the longest pause, the worst reflux
and venous passage. A part that was not recorded leaves the whole blank, unless it is settled by
the others.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from analyses.measures.harm import ANY, PERMANENT_DEFICIT
from analyses.measures.obliteration import embolized_lesions
from analyses.models.applies import applies_to
from analyses.population.counted_events import LESION, SESSION, unit_key
from analyses.population.procedure_rows import case_numbers_of, formulation
from analyses.population.unit_frames import Units
from registry.clinical.scores import nidus_volume_ml
from registry.clinical.technique import VENOUS_PASSAGE, session_technique
from registry.schema import Injections, Patients, Resections, Sessions
from registry.schema.vocabulary import EVOH_AGENTS

if TYPE_CHECKING:
    from analyses.models.model_plan import Plan
    from analyses.models.technique_models import TechniqueModels

TECHNIQUE = (
    "pedicles",
    Injections.agent_ml,
    "agent_per_nidus",
    "rate_ml_min",
    Injections.longest_pause_s,
    "formulation",
    "reflux_past_limit",
    Injections.venous_passage,
)
ADJUST = ("sm_grade", "ruptured", "case_number")
OF_LIQUIDS = (
    "rate_ml_min",
    Injections.longest_pause_s,
    "reflux_past_limit",
    Injections.venous_passage,
)
"""Technique that has a meaning only where a liquid was injected."""


def technique_frames(units: Units) -> dict[str, pd.DataFrame]:
    """Unit → its table, as `run_technique_models` wants them.

    session: procedures with `event` (any embolization complication). lesion: embolized and
    assessed, with `obliterated` (immediate complete occlusion), technique up to any other
    treatment. patient: embolized, with `permanent_deficit` (or death, from embolization).
    resection: operations on lesions embolized before, with `blood_loss_ml` and `operation_min`.
    Each has `patient_id`, `key`, TECHNIQUE and ADJUST; `case_number` is that of the first
    procedure. `formulation` is blank unless one formulation of EVOH was used and no other liquid:
    the question is of the two. Beside what has no meaning in every row stands a yes/no column
    (`analyses.models.applies`): rate, pause, reflux and venous passage are asked where a
    liquid was injected, `formulation` where one formulation of EVOH was.
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


def session_rows(units: Units) -> pd.DataFrame:
    """Sessions rows with their technique, `nidus_ml`, `procedure` (its key) and `case_number`."""
    sessions = units.tables["sessions"].reset_index(drop=True)
    worked = session_technique(sessions, units.tables["injections"], units.tables["lesions"])
    keys = unit_key(sessions, SESSION)
    procedures = units.sessions[["key", "rows"]].explode("rows").set_index("rows")["key"]
    lesions = units.tables["lesions"]
    nidus = nidus_volume_ml(*(lesions[f"nidus_{side}_mm"] for side in (
        "length", "width", "height")))
    volumes = pd.Series(np.asarray(nidus, float), index=unit_key(lesions, LESION))
    return worked.assign(
        session_date=sessions[Sessions.session_date], key=keys, lesion=unit_key(sessions, LESION),
        procedure=keys.map(procedures), case_number=keys.map(case_numbers_of(units)),
        nidus_ml=unit_key(sessions, LESION).map(volumes).astype(float))


def totals(rows: pd.DataFrame, by: str, injections: pd.DataFrame) -> pd.DataFrame:
    """Technique of each value of `by` (index), from its sessions rows.

    rows: as `session_rows`; injections: the units' injections of those rows, with the column
    `by`, for the formulation.
    """
    grouped = rows.groupby(by)
    volume, pushed = _whole(grouped, Injections.agent_ml, "sum"), _pushed(rows, by)
    nidus = rows.drop_duplicates([by, "lesion"]).groupby(by)["nidus_ml"].agg(
        lambda part: part.sum(skipna=False))
    liquids = formulation(injections, by).reindex(volume.index)
    with_liquid = volume.index.isin(_liquid(rows)[by])
    return pd.DataFrame({
        "pedicles": grouped["pedicles_treated"].sum().astype(float), Injections.agent_ml: volume,
        "agent_per_nidus": volume / nidus, "rate_ml_min": volume / pushed.where(pushed > 0),
        Injections.longest_pause_s: _of_liquids(rows, by, Injections.longest_pause_s),
        "formulation": liquids.where(liquids.isin(EVOH_AGENTS)).astype(object),
        "reflux_past_limit": _any_yes(rows, by), Injections.venous_passage: _worst(rows, by),
        "case_number": grouped["case_number"].min().astype("Float64").astype(float),
        **{applies_to(name): with_liquid for name in OF_LIQUIDS},
        applies_to("formulation"): liquids.isin(EVOH_AGENTS).to_numpy(bool),
    })


def _sessions(units: Units, rows: pd.DataFrame) -> pd.DataFrame:
    marked = ANY.frame(units, "session")
    worked = totals(rows, "procedure", units.injections.rename(
        columns={"session_key": "procedure"}))
    return _finished(marked, worked, {"event": marked["event"]})


def _lesions(units: Units, rows: pd.DataFrame) -> pd.DataFrame:
    lesions = embolized_lesions(units)
    other = lesions[["first_resection", "first_radiosurgery"]].min(axis=1)
    last = rows["lesion"].map(pd.Series(other.array, index=lesions["key"]))
    used = rows[last.isna() | (rows[Sessions.session_date] <= last)]
    worked = totals(used, "lesion", _injections(units, used))
    return _finished(lesions, worked, {"obliterated": lesions["complete"]})


def _patients(units: Units, rows: pd.DataFrame) -> pd.DataFrame:
    marked = PERMANENT_DEFICIT.frame(units, "patient")
    worked = totals(rows, Patients.patient_id, units.injections)
    return _finished(marked, worked, {"permanent_deficit": marked["event"]})


def _resections(units: Units, rows: pd.DataFrame) -> pd.DataFrame:
    operations = units.tables["resections"].reset_index(drop=True)
    names = operations.assign(operation=unit_key(operations, [*LESION, Resections.resection_no]))
    before = rows.merge(names[[*LESION, "operation", Resections.resection_date]], on=LESION)
    before = before[before[Sessions.session_date] <= before[Resections.resection_date]]
    worked = totals(before, "operation", _injections(units, before, "operation"))
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
    asked = [applies_to(name) for name in (*OF_LIQUIDS, "formulation")]
    joined[asked] = joined[asked].eq(True)
    return joined.reset_index(drop=True)


def _injections(units: Units, rows: pd.DataFrame, by: str = "lesion") -> pd.DataFrame:
    """The injections of these sessions rows, with the column `by` of the rows."""
    keys = rows[["key", by]].rename(columns={"key": "own_key"})
    kept = units.injections.drop(columns=[by], errors="ignore")
    return kept.merge(keys, on="own_key")


def _liquid(rows: pd.DataFrame) -> pd.DataFrame:
    """The rows in which a liquid was injected, or in which that is not known."""
    return rows[rows["agent_group"].ne("no liquid").fillna(True)]


def _whole(grouped: pd.core.groupby.DataFrameGroupBy, name: str, how: str) -> pd.Series:
    """A sum (or the largest), blank where one of the parts is."""
    found = grouped[name].agg(how).astype("Float64").astype(float)
    return found.where(grouped[name].count() == grouped.size())


def _of_liquids(rows: pd.DataFrame, by: str, name: str) -> pd.Series:
    return _whole(_liquid(rows).groupby(by), name, "max")


def _pushed(rows: pd.DataFrame, by: str) -> pd.Series:
    return _whole(_liquid(rows).groupby(by), "push_min", "sum")


def _any_yes(rows: pd.DataFrame, by: str) -> pd.Series:
    """Yes if any session is, no if all are known not to be, else blank."""
    liquid = _liquid(rows)
    values = liquid["reflux_past_limit"].astype("boolean")
    yes = values.fillna(False).groupby(liquid[by]).any()
    known = values.notna().groupby(liquid[by]).all()
    return yes.astype("boolean").where(yes | known)


def _worst(rows: pd.DataFrame, by: str) -> pd.Series:
    """The worst venous passage; blank where a blank could be worse."""
    liquid = _liquid(rows)
    steps = liquid[Injections.venous_passage].map({v: i for i, v in enumerate(VENOUS_PASSAGE)})
    steps = steps.astype("Float64").astype(float)
    worst, known = steps.groupby(liquid[by]).max(), steps.notna().groupby(liquid[by]).all()
    settled = worst.where(known | worst.eq(len(VENOUS_PASSAGE) - 1))
    return settled.map(dict(enumerate(VENOUS_PASSAGE))).astype(object)
