"""One frame a unit, from a freeze's units: its own fields, its parents', grades and technique.

A parent's column keeps its name; where the unit has one of that name already, the parent's is
called after its table: `session_nights`. Two lesions embolized in one procedure are one session:
a field in which its rows differ is blank there, but for intent, route and operator, which are
those of the first. A catheter has the fields in which its injections agree, and their volume.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import pandas as pd

from analyses.models.technique_declared import applies_columns, totals
from analyses.models.technique_rows import TechniqueRows, not_on_purpose, session_rows
from analyses.population.counted_events import LESION, SESSION, unit_key
from analyses.population.unit_frames import NOT_RECORDED, Units, graded_lesions, once
from analyses.study.frame_columns import (
    AGE,
    DATES,
    GROUPS,
    INJECTIONS,
    INTENT,
    LESIONS,
    OF_INJECTIONS,
    OPERATED,
    RETAINED,
    SESSIONS,
    TECHNIQUE,
    Column,
    fields_of,
    grades,
)
from registry.clinical.technique import injection_technique
from registry.schema import Injections, Lesions, Patients, Resections, Sessions

KEYS = (Patients.patient_id, *SESSION[1:], Injections.injection_no)
"""Key fields, which a unit shares with its parents."""

FIRST_SAYS = (
    Sessions.intent,
    Sessions.route,
    Sessions.operator_id,
    Sessions.session_date,
    Sessions.session_no,
    Lesions.lesion_no,
)
"""Fields of a session that are those of its first row, as everywhere in the analyses."""


@dataclass(frozen=True)
class StudyFrame:
    """The frame of a unit, indexed by `key`, with what each of its columns is.

    asked: the yes/no columns of `analyses.models.applies`, for what has no meaning in every row.
    """

    unit: str
    frame: pd.DataFrame
    columns: Mapping[str, Column]
    asked: pd.DataFrame = field(default_factory=pd.DataFrame)

    def with_column(self, values: pd.Series, column: Column) -> StudyFrame:
        """The frame with one column more; values are indexed by its keys."""
        added = self.frame.assign(**{column.name: values.reindex(self.frame.index)})
        return StudyFrame(self.unit, added, {**self.columns, column.name: column}, self.asked)


@once
def study_frames(units: Units) -> Mapping[str, StudyFrame]:
    """Unit → its frame; all of the freeze, treated or not."""
    patients = _patients(units)
    lesions = _lesions(units, patients)
    sessions = _sessions(units, lesions, patients)
    injections = _injections(units, sessions, lesions, patients)
    return {
        "patient": patients, "lesion": lesions, "session": sessions, "injection": injections,
        "catheter": _catheters(units, injections),
        "resection": _resections(units, lesions, patients),
    }


class _Frame:
    """A frame in the making: columns come in order, the first of a name stays."""

    def __init__(self, unit: str, keys: pd.Series) -> None:
        self.unit = unit
        self.index = pd.Index(keys.astype("string"), name="key")
        self.series: dict[str, pd.Series] = {}
        self.columns: dict[str, Column] = {}

    def take(self, frame: pd.DataFrame, columns: Iterable[Column]) -> None:
        """Columns of a frame with the same rows in the same order."""
        for column in columns:
            if column.name in frame and column.name not in self.series:
                values = frame[column.name].set_axis(self.index)
                self.series[column.name] = column.typed(values)
                self.columns[column.name] = column

    def look_up(self, frame: pd.DataFrame, columns: Iterable[Column]) -> None:
        """Columns of a frame that is indexed by the keys; blank where it has none of them."""
        self.take(frame.reindex(self.index).reset_index(drop=True), columns)

    def parent(self, parent: StudyFrame, keys: pd.Series, names: Iterable[str]) -> None:
        """Columns of the parent's frame, each named after it where the name is taken."""
        rows = parent.frame.reindex(keys.astype("string"))
        for name in names:
            column = parent.columns[name]
            taken = self.columns.get(name)
            if name in KEYS or (taken is not None and taken.source == column.source):
                continue
            new = name if taken is None else f"{parent.unit}_{name}"
            self.series[new] = rows[name].set_axis(self.index)
            self.columns[new] = Column(**{**vars(column), "name": new})

    def finished(self, asked: pd.DataFrame | None = None) -> StudyFrame:
        frame = pd.DataFrame(self.series, index=self.index)
        found = pd.DataFrame(index=self.index) if asked is None else asked.reindex(
            self.index).eq(True)
        return StudyFrame(self.unit, frame, self.columns, found)


def _patients(units: Units) -> StudyFrame:
    table = units.tables["patients"].reset_index(drop=True)
    made = _Frame("patient", table[Patients.patient_id])
    made.take(table, fields_of("patients"))
    treated = _grouped(units.patients).assign(treated=True).set_index("key")
    first = graded_lesions(units.tables).groupby(Patients.patient_id)["age_at_treatment"].min()
    counted = pd.DataFrame({
        "lesions": units.tables["lesions"].groupby(Patients.patient_id).size(),
        "sessions": units.sessions.groupby(Patients.patient_id).size(),
        "age_at_treatment": first}, index=made.index)
    counts = counted.fillna({"lesions": 0, "sessions": 0})
    made.look_up(counts, (AGE, LESIONS, SESSIONS))
    made.look_up(_or_no(treated, made.index), (*DATES, *GROUPS, INTENT))
    worked, asked = _technique(units, Patients.patient_id)
    made.look_up(worked, TECHNIQUE)
    return made.finished(asked)


def _lesions(units: Units, patients: StudyFrame) -> StudyFrame:
    table = graded_lesions(units.tables).reset_index(drop=True)
    made = _Frame("lesion", unit_key(table, LESION))
    made.take(table, [*fields_of("lesions"), *grades()])
    treated = _grouped(units.lesions).assign(treated=True).set_index("key")
    made.look_up(_or_no(treated, made.index), (*DATES, *OPERATED, INTENT))
    groups = _or_no(treated, made.index)
    groups["ruptured"] = table[Lesions.haemorrhage_before].set_axis(made.index)
    made.look_up(groups, GROUPS)
    worked, asked = _technique(units, "lesion")
    made.look_up(worked, TECHNIQUE)
    made.parent(patients, table[Patients.patient_id], _field_names("patients"))
    return made.finished(asked)


def _sessions(units: Units, lesions: StudyFrame, patients: StudyFrame) -> StudyFrame:
    procedures = units.sessions
    table = units.tables["sessions"].sort_values(SESSION).reset_index(drop=True)
    owner = _procedure_of(units, unit_key(table, SESSION))
    own = _agreed(table, owner, FIRST_SAYS).reindex(procedures["key"]).reset_index(drop=True)
    made = _Frame("session", procedures["key"])
    made.take(own, fields_of("sessions"))
    made.take(_grouped(procedures), (*GROUPS, LESIONS))
    counts = units.injections.groupby("session_key").size().rename("injections")
    made.look_up(counts.reindex(made.index).fillna(0).to_frame(), (INJECTIONS,))
    worked, asked = _technique(units, "procedure")
    made.look_up(worked, TECHNIQUE)
    treated = lesions.frame.reindex(unit_key(table, LESION)).reset_index(drop=True)
    names = [*_field_names("lesions"), *(one.name for one in grades())]
    agreed = _agreed(treated[names], owner, ()).reindex(made.index)
    made.parent(StudyFrame("lesion", agreed.astype(treated[names].dtypes.to_dict()),
                           lesions.columns), procedures["key"], names)
    made.parent(patients, procedures[Patients.patient_id], _field_names("patients"))
    return made.finished(asked)


def _injections(
    units: Units, sessions: StudyFrame, lesions: StudyFrame, patients: StudyFrame,
) -> StudyFrame:
    rows = units.injections.reset_index(drop=True)
    worked = injection_technique(
        rows.assign(agent=rows["agent_used"]), units.tables["sessions"])
    passage = not_on_purpose(rows)[Injections.venous_passage]
    worked = worked.assign(**{Injections.venous_passage: passage})
    better = worked[[one.name for one in OF_INJECTIONS if one.name in worked]]
    made = _Frame("injection", rows["key"])
    own = [one for one in fields_of("injections") if one.name != "agent"]
    made.take(rows.assign(**better), [
        *(one for one in own if one.name not in better), *OF_INJECTIONS])
    made.take(_grouped(rows), GROUPS)
    of_session = rows["session_key"]
    made.parent(sessions, of_session, [*_field_names("sessions"), "case_number"])
    made.parent(lesions, unit_key(rows, LESION),
                [*_field_names("lesions"), *(one.name for one in grades())])
    made.parent(patients, rows[Patients.patient_id], _field_names("patients"))
    return made.finished()


def _catheters(units: Units, injections: StudyFrame) -> StudyFrame:
    rows = injections.frame.reset_index()
    owner = catheter_of(units).reindex(rows["key"]).reset_index(drop=True)
    agreed = _agreed(rows, owner, ()).reindex(units.catheters["key"])
    whole = rows[Injections.agent_ml].groupby(owner).agg(lambda part: part.sum(skipna=False))
    agreed[Injections.agent_ml] = whole.reindex(agreed.index)
    made = _Frame("catheter", units.catheters["key"])
    made.take(units.catheters, (RETAINED,))
    counted = rows.groupby(owner).size().rename("injections").to_frame()
    made.look_up(counted, (INJECTIONS,))
    made.look_up(agreed, injections.columns.values())
    return made.finished()


def _resections(units: Units, lesions: StudyFrame, patients: StudyFrame) -> StudyFrame:
    table = units.tables["resections"].reset_index(drop=True)
    made = _Frame("resection", unit_key(table, [*LESION, Resections.resection_no]))
    made.take(table, fields_of("resections"))
    made.parent(lesions, unit_key(table, LESION), lesions.columns)
    made.parent(patients, table[Patients.patient_id], _field_names("patients"))
    return made.finished()


def catheter_of(units: Units) -> pd.Series:
    """The catheter (its key) of each injection, indexed by the injection's key."""
    rows = units.injections
    own = rows["own_key"] + "/catheter " + rows[Injections.catheter_no].astype("string")
    return own.fillna(rows["key"]).set_axis(rows["key"].astype("string"))


def _technique(units: Units, by: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Technique of each value of `by`, and what it applies to."""
    injections = units.injections.rename(columns={"session_key": "procedure"})
    if by == "lesion":
        injections = injections.assign(lesion=unit_key(injections, LESION))
    worked = totals(TechniqueRows(session_rows(units), by, injections))
    worked.index = worked.index.astype("string")
    return worked, worked[applies_columns()].rename_axis("key")


def _grouped(frame: pd.DataFrame) -> pd.DataFrame:
    """A unit frame with its grouping texts as values: numbers, truth values, blanks."""
    found = frame.copy()
    for name in ("sm_grade", "ponce_class", "intent", "agent", "period", "ruptured"):
        if name in found:
            found[name] = found[name].astype("string").mask(found[name].eq(NOT_RECORDED))
    found["ruptured"] = found["ruptured"].map({"yes": True, "no": False}).astype("boolean")
    for name in ("sm_grade", "period"):
        found[name] = pd.to_numeric(found[name]).astype("Int64")
    return found.reset_index(drop=True)


def _or_no(treated: pd.DataFrame, index: pd.Index) -> pd.DataFrame:
    """The rows of all units; those never treated are not embolized either."""
    found = treated.reindex(index)
    for name in ("treated", "embolized"):
        found[name] = found[name].eq(True).astype("boolean")
    return found


def _agreed(table: pd.DataFrame, owner: pd.Series, first: Iterable[str]) -> pd.DataFrame:
    """One row an owner: the value in which its rows agree, else blank; of `first`, the first."""
    rows = table.reset_index(drop=True)
    grouped = rows.groupby(owner.reset_index(drop=True).astype("string"), sort=False)
    start = rows.loc[~owner.reset_index(drop=True).duplicated()]
    start = start.set_axis(owner.reset_index(drop=True)[start.index].astype("string"))
    for name in table.columns:
        if name in first or len(start) == len(rows):
            continue
        one = grouped[name].nunique(dropna=False).eq(1).reindex(start.index)
        start[name] = start[name].where(one)
    return start


def _procedure_of(units: Units, keys: pd.Series) -> pd.Series:
    own = units.sessions[["key", "rows"]].explode("rows").set_index("rows")["key"]
    return keys.map(own)


def _field_names(table: str) -> list[str]:
    return [one.name for one in fields_of(table)]
