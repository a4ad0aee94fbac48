"""The unit frames: one row a unit, with its patient, its groups, and its dates."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import wraps
from types import MappingProxyType
from typing import Any, TypeVar, cast

import pandas as pd

from analyses.population.counted_events import (
    LESION,
    SESSION,
    embolization_complications,
    unit_key,
)
from analyses.population.deaths_told import with_deaths_told
from analyses.statistics.regression.terms import is_two_valued
from registry.clinical.grading import add_grades
from registry.clinical.practice_limits import PracticeLimits, default_limits
from registry.schema import Injections, Lesions, Patients, Radiosurgeries, Resections, Sessions
from registry.schema.vocabulary import COPOLYMER_AGENTS, EVOH_AGENTS

GROUPINGS = ("sm_grade", "ponce_class", "intent", "agent", "period", "ruptured")
"""The columns that every estimate is given by, beside overall."""

GROUPED_FROM: Mapping[str, tuple[str, ...]] = MappingProxyType({
    "sm_grade": ("lesions.nidus_length_mm", "lesions.eloquent", "lesions.deep_drainage"),
    "ponce_class": ("lesions.nidus_length_mm", "lesions.eloquent", "lesions.deep_drainage"),
    "intent": ("sessions.intent",), "agent": ("injections.agent",),
    "period": ("sessions.session_date",), "ruptured": ("lesions.haemorrhage_before",),
})
"""Grouping → the fields it is made from."""

NOT_RECORDED = "not recorded"
NOT_EMBOLIZED = "not embolized"
"""The intent and agent of a lesion treated in another way."""


@dataclass(frozen=True)
class Units:
    """The rows of each unit of analysis.

    Every frame has `key` (text, unique), `patient_id` and the columns of `GROUPINGS` as text.
    `lesions` are those treated in any way (`embolized` says whether by embolization);
    `sessions` are procedures; `patients` are those treated in any way; `events` is the set of
    embolization complications. `tables` are the freeze's own tables, a death told by an mRS of 6
    filled in (`deaths_told`); `limits` the practice
    limits that technique is judged by, `manifest` what the freeze says of itself. `made` keeps
    what `once` worked out.
    """

    tables: Mapping[str, pd.DataFrame]
    patients: pd.DataFrame
    lesions: pd.DataFrame
    sessions: pd.DataFrame
    injections: pd.DataFrame
    catheters: pd.DataFrame
    events: pd.DataFrame
    limits: PracticeLimits = field(default_factory=default_limits)
    manifest: Mapping[str, Any] = field(default_factory=dict)
    made: dict[object, Any] = field(default_factory=dict, repr=False, compare=False)


Made = TypeVar("Made")


def once(work: Callable[[Units], Made]) -> Callable[[Units], Made]:
    """Let a function of the unit frames work once for each of them; what it made is kept there.

    Who gets it must not change it in place.
    """
    @wraps(work)
    def kept(units: Units) -> Made:
        if work not in units.made:
            units.made[work] = work(units)
        return cast(Made, units.made[work])

    return kept


def units_of(
    tables: Mapping[str, pd.DataFrame], limits: PracticeLimits | None = None,
    manifest: Mapping[str, Any] | None = None,
) -> Units:
    """Work out every unit frame from a freeze's tables (name → table, typed by the schema).

    limits: the practice limits that technique is judged by; the package's own where None.
    manifest: what the freeze says of itself (who was left out, and why).
    """
    tables = with_deaths_told(tables)
    lesions = lesion_units(tables)
    sessions = session_units(tables, lesions)
    events = embolization_complications(tables["complications"], tables["sessions"])
    events = events.assign(session_key=_session_of_event(events, sessions))
    injections = injection_units(tables["injections"], sessions)
    return Units(
        tables=tables,
        patients=patient_units(lesions, tables["injections"]),
        lesions=lesions,
        sessions=sessions,
        injections=injections,
        catheters=catheter_units(injections),
        events=events,
        limits=limits or default_limits(),
        manifest=manifest or {},
    )


def agent_groups(injections: pd.DataFrame, by: list[str]) -> pd.Series:
    """Agent group of each combination of `by` that has injections (a Series indexed by them)."""
    flags = pd.DataFrame({
        "evoh": injections[Injections.agent].isin(EVOH_AGENTS),
        "other": injections[Injections.agent].isin(set(COPOLYMER_AGENTS) - set(EVOH_AGENTS)),
        "glue": injections[Injections.agent].eq("n-butyl cyanoacrylate"),
    }).astype(bool)
    kinds = flags.groupby([injections[column] for column in by]).any()
    # Two formulations of EVOH stay EVOH; any other pair of liquids is "several".
    several = kinds.sum(axis=1) > 1
    found = pd.Series("no liquid", index=kinds.index, dtype="string")
    found[kinds["evoh"]] = "EVOH only"
    found[kinds["other"]] = "other copolymer only"
    found[kinds["glue"]] = "cyanoacrylate only"
    found[several] = "several liquids"
    return found


def as_group(values: pd.Series) -> pd.Series:
    """A column of any type as group labels of text, one a row.

    Yes/no for truth values, whole numbers without a decimal point, and "not recorded" for blanks
    (also for text of nothing but spaces).
    """
    if isinstance(values.dtype, pd.CategoricalDtype):  # as its categories, whatever they are
        values = values.astype(values.cat.categories.to_series().convert_dtypes().dtype)
    if is_two_valued(values):
        words = values.astype("boolean").map({True: "yes", False: "no"}, na_action="ignore")
        return words.astype("string").fillna(NOT_RECORDED)
    if pd.api.types.is_float_dtype(values.dtype) and values.dropna().mod(1).eq(0).all():
        return values.astype("Int64").astype("string").fillna(NOT_RECORDED)
    text = values.astype("string")
    return text.mask(text.str.strip().eq(""), NOT_RECORDED).fillna(NOT_RECORDED)


def lesion_units(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Lesions treated in any way, with grades, groups and treatment dates.

    Adds to the graded lesions table: `key`, `embolized`, `first_treatment`, `last_treatment`,
    `first_resection`, `first_radiosurgery`, `ongoing`, the GROUPINGS as text, and
    `sm_grade_value` (Int64).
    """
    dates = treatment_dates(tables)
    rows = graded_lesions(tables).merge(dates, on=LESION, how="inner").reset_index(drop=True)
    first = tables["sessions"].sort_values(SESSION).groupby(LESION, as_index=False).first()
    rows = rows.merge(first[[*LESION, Sessions.intent]], on=LESION, how="left")
    agents = agent_groups(tables["injections"], LESION).rename(Injections.agent).reset_index()
    rows = rows.merge(agents, on=LESION, how="left")
    rows[Injections.agent] = rows[Injections.agent].where(
        rows[Injections.agent].notna() | ~rows["embolized"], "no liquid"
    )
    year = rows["first_session"].fillna(rows["first_treatment"]).dt.year.astype("Int64")
    return rows.assign(
        key=unit_key(rows, LESION),
        ongoing=rows[Lesions.plan_status].eq("ongoing").fillna(False).astype(bool),
        sm_grade_value=rows["sm_grade"].astype("Int64"),
        sm_grade=as_group(rows["sm_grade"]),
        ponce_class=as_group(rows["ponce_class"]),
        intent=as_group(rows[Sessions.intent]).where(rows["embolized"], NOT_EMBOLIZED),
        agent=as_group(rows[Injections.agent]).where(rows["embolized"], NOT_EMBOLIZED),
        period=as_group(year),
        ruptured=as_group(rows[Lesions.haemorrhage_before]),
    )


def graded_lesions(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """The lesions with their grades and scores.

    A freeze carries them worked out before ages were capped; without (tables that never were
    frozen) they are worked out here.
    """
    if "grades" in tables:
        return tables["lesions"].merge(tables["grades"], on=LESION, how="left")
    return add_grades(
        tables["patients"], tables["lesions"], tables["sessions"], tables["radiosurgeries"],
        tables["resections"],
    )


def treatment_dates(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """First and last treatment of each lesion treated in any way (one row a lesion)."""
    kinds = {
        "session": tables["sessions"].rename(columns={Sessions.session_date: "day"}),
        "resection": tables["resections"].rename(columns={Resections.resection_date: "day"}),
        "radiosurgery": tables["radiosurgeries"].rename(
            columns={Radiosurgeries.radiosurgery_date: "day"}
        ),
    }
    long = pd.concat(
        [rows[[*LESION, "day"]].assign(treatment=kind) for kind, rows in kinds.items()],
        ignore_index=True,
    )
    whole = long.groupby(LESION)["day"].agg(first_treatment="min", last_treatment="max")
    for kind in kinds:
        own = long[long["treatment"] == kind].groupby(LESION)["day"]
        whole[f"first_{kind}"] = own.min()
        whole[f"last_{kind}"] = own.max()
    whole["embolized"] = whole["first_session"].notna()
    return whole.reset_index()


def session_units(
    tables: Mapping[str, pd.DataFrame], lesions: pd.DataFrame
) -> pd.DataFrame:
    """Procedures: sessions rows of a patient that share a procedure number are one.

    Columns: `key` (that of the procedure's first sessions row), `patient_id`, `session_date`,
    `operator_id`, `lesions` (how many), the GROUPINGS, `sm_grade_value` (of the highest lesion
    treated) and `rows` (the keys of its sessions rows, one a lesion).
    """
    rows = tables["sessions"].sort_values(SESSION).reset_index(drop=True)
    own = unit_key(rows, SESSION)
    shared = (
        rows[Patients.patient_id] + "/procedure " + rows[Sessions.procedure_no].astype("string")
    )
    rows = rows.assign(own_key=own, procedure=shared.fillna(own))
    about = lesions.set_index(LESION)[["sm_grade_value", Lesions.haemorrhage_before]]
    rows = rows.join(about, on=LESION)
    grouped = rows.groupby("procedure", sort=False)
    found = grouped.agg(
        key=("own_key", "first"), patient_id=(Patients.patient_id, "first"),
        session_date=(Sessions.session_date, "min"), intent=(Sessions.intent, "first"),
        operator_id=(Sessions.operator_id, "first"), route=(Sessions.route, "first"),
        lesions=(Lesions.lesion_no, "nunique"), sm_grade_value=("sm_grade_value", "max"),
        bled=(Lesions.haemorrhage_before, "max"), rows=("own_key", tuple),
    ).reset_index()
    injected = tables["injections"].merge(rows[[*SESSION, "procedure"]], on=SESSION)
    agents = agent_groups(injected, ["procedure"])
    grade = found["sm_grade_value"].astype("Int64")
    return found.assign(
        sm_grade_value=grade,
        sm_grade=as_group(grade),
        ponce_class=as_group(ponce_of(grade)),
        agent=as_group(found["procedure"].map(agents).astype("string").fillna("no liquid")),
        intent=as_group(found[Sessions.intent]),
        period=as_group(found[Sessions.session_date].dt.year.astype("Int64")),
        ruptured=as_group(found["bled"].astype("boolean")),
    ).drop(columns=["bled"])


def ponce_of(grade: pd.Series) -> pd.Series:
    """Ponce class of a Spetzler–Martin grade (Spetzler and Ponce 2011): A I–II, B III, C IV–V."""
    classes = {1: "A", 2: "A", 3: "B", 4: "C", 5: "C"}
    return grade.map(classes, na_action="ignore").astype("string")


def injection_units(injections: pd.DataFrame, sessions: pd.DataFrame) -> pd.DataFrame:
    """Injections with the groups of their procedure; `session_key` names it."""
    own = sessions[["key", "rows"]].explode("rows").rename(columns={"key": "session_key"})
    rows = injections.reset_index(drop=True)
    rows = rows.assign(own_key=unit_key(rows, SESSION)).rename(
        columns={Injections.agent: "agent_used"}
    )
    rows = rows.merge(own, left_on="own_key", right_on="rows", how="left").drop(columns="rows")
    groups = sessions.set_index("key")[[*GROUPINGS, Sessions.session_date, Sessions.operator_id]]
    rows = rows.join(groups, on="session_key")
    return rows.assign(key=unit_key(rows, [*SESSION, Injections.injection_no]))


def catheter_units(injections: pd.DataFrame) -> pd.DataFrame:
    """Catheters used: injections of a session that share a catheter number are one.

    `retained` (boolean, blank where how it came out is not recorded): part of the catheter was
    left behind, and not by design.
    """
    number = injections[Injections.catheter_no].astype("string")
    own = injections["own_key"] + "/catheter " + number
    rows = injections.assign(catheter=own.fillna(injections["key"]))
    kept = rows[Injections.retrieval].eq("part retained")
    rows = rows.assign(kept=kept.astype("boolean").where(rows[Injections.retrieval].notna()))
    found = rows.groupby("catheter", sort=False).agg(
        **{name: (name, "first") for name in (Patients.patient_id, "session_key", *GROUPINGS)},
        retained=("kept", "max"),
    ).reset_index().rename(columns={"catheter": "key"})
    return found.assign(retained=found["retained"].astype("boolean"))


def patient_units(lesions: pd.DataFrame, injections: pd.DataFrame) -> pd.DataFrame:
    """Patients treated in any way; grade of the highest lesion, intent and period of the first
    session, ruptured if any lesion bled before treatment.
    """
    # Lesions never embolized have no first session and sort last.
    ordered = lesions.sort_values([Patients.patient_id, "first_session", Lesions.lesion_no])
    found = ordered.groupby(Patients.patient_id, as_index=False).agg(
        sm_grade_value=("sm_grade_value", "max"), intent=(Sessions.intent, "first"),
        first_treatment=("first_treatment", "min"), last_treatment=("last_treatment", "max"),
        first_session=("first_session", "min"), embolized=("embolized", "any"),
        lesions=(Lesions.lesion_no, "nunique"), bled=(Lesions.haemorrhage_before, "max"),
    )
    agents = agent_groups(injections, [Patients.patient_id])
    agent = found[Patients.patient_id].map(agents).astype("string")
    year = found["first_session"].fillna(found["first_treatment"]).dt.year.astype("Int64")
    return found.assign(
        key=found[Patients.patient_id],
        sm_grade=as_group(found["sm_grade_value"].astype("Int64")),
        ponce_class=as_group(ponce_of(found["sm_grade_value"].astype("Int64"))),
        agent=agent.fillna("no liquid").where(found["embolized"], NOT_EMBOLIZED),
        period=as_group(year),
        ruptured=as_group(found["bled"].astype("boolean")),
    ).drop(columns="bled")


def _session_of_event(events: pd.DataFrame, sessions: pd.DataFrame) -> pd.Series:
    """The procedure each event is placed in (its key)."""
    own = sessions[["key", "rows"]].explode("rows").set_index("rows")["key"]
    at = unit_key(events, [Patients.patient_id, "at_lesion", "at_session"])
    return at.map(own).astype("string")
