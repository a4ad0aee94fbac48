"""Faults that people put into an entry workbook, one a patient, and what should come of each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import pandas as pd

from registry.schema import Complications, FollowUps, Injections, Lesions, Patients, Sessions

Tables = dict[str, pd.DataFrame]
Outcome = Literal["taken", "asked", "kept out"]
"""taken: read as meant, nothing to say; asked: taken in with a query; kept out: the whole
patient waits until it is mended."""

LESION = [Patients.patient_id, Lesions.lesion_no]
SESSION = [*LESION, Sessions.session_no]


@dataclass(frozen=True)
class Fault:
    """A kind of fault: which rows can have it, and what is typed in place of the clean value.

    `where` gives a flag for each row of `table`; `typed` makes the cell from the clean value
    and its row. `action` is what else is done: "write" the cell, or "copy" the row once more.
    """

    kind: str
    table: str
    field: str
    outcome: Outcome
    typed: Callable[[Any, pd.Series], Any]
    where: Callable[[Tables], pd.Series]
    action: Literal["write", "copy"] = "write"


def _all(table: str) -> Callable[[Tables], pd.Series]:
    return lambda tables: pd.Series(True, index=tables[table].index)


def _is(table: str, field: str, value: object) -> Callable[[Tables], pd.Series]:
    return lambda tables: tables[table][field].eq(value).fillna(False).astype(bool)


def _there(table: str, field: str) -> Callable[[Tables], pd.Series]:
    return lambda tables: tables[table][field].notna()


def _late_day(table: str, field: str) -> Callable[[Tables], pd.Series]:
    return lambda tables: tables[table][field].dt.day.gt(12).fillna(False)


def _early_day(table: str, field: str) -> Callable[[Tables], pd.Series]:
    def where(tables: Tables) -> pd.Series:
        day = tables[table][field]
        return (day.dt.day.le(12) & day.dt.day.ne(day.dt.month)).fillna(False)

    return where


def _long_pauses(tables: Tables) -> pd.Series:
    return tables["injections"][Injections.pauses_s].ge(60).fillna(False)


def _small_pauses(tables: Tables) -> pd.Series:
    rows = tables["injections"]
    return rows[Injections.pauses_s].gt(0).fillna(False) & rows[Injections.injection_min].lt(
        60
    ).fillna(False)


def _second_session(tables: Tables) -> pd.Series:
    return tables["sessions"][Sessions.session_no].eq(2).fillna(False).astype(bool)


def _living_visit(tables: Tables) -> pd.Series:
    """Patients with a visit who are not known to have died."""
    people = tables["patients"]
    seen = people[Patients.patient_id].isin(set(tables["follow_ups"][Patients.patient_id]))
    return seen & people[Patients.death_date].isna()


def _alive_visit(tables: Tables) -> pd.Series:
    dead = tables["patients"].loc[
        tables["patients"][Patients.death_date].notna(), Patients.patient_id
    ]
    return ~tables["follow_ups"][Patients.patient_id].isin(set(dead))


def _alive_event(tables: Tables) -> pd.Series:
    dead = tables["patients"].loc[
        tables["patients"][Patients.death_date].notna(), Patients.patient_id
    ]
    rows = tables["complications"]
    return ~rows[Patients.patient_id].isin(set(dead)) & rows[Complications.attribution].ne(
        "unrelated"
    )


def _unplaced_event(tables: Tables) -> pd.Series:
    rows = tables["complications"]
    return (rows[Complications.hours_after].notna() & rows[Complications.phase].eq("embolization")
            & rows[Injections.injection_no].isna())


def _assessed_growing(tables: Tables) -> pd.Series:
    rows = tables["sessions"]
    later = rows.groupby(LESION)[Sessions.session_no].transform("max")
    return (rows[Sessions.occlusion_before_pct].ge(20) & rows[Sessions.occlusion_after_pct].notna()
            & rows[Sessions.session_no].eq(later))


def _unequal_diameters(tables: Tables) -> pd.Series:
    rows = tables["lesions"]
    return rows[Lesions.nidus_width_mm].lt(rows[Lesions.nidus_length_mm]).fillna(False)


def _arterial(tables: Tables) -> pd.Series:
    return tables["injections"][Injections.access].ne("vein").fillna(True)


def _solid(tables: Tables) -> pd.Series:
    """Injections of sessions in which no liquid was used."""
    rows = tables["injections"]
    solid = rows[Injections.agent].isin(["coil", "particles"])
    return solid.groupby([rows[name] for name in SESSION]).transform("all")


def _minutes(tables: Tables) -> pd.Series:
    return tables["sessions"][Sessions.procedure_min].notna()


def _ready(value: Any) -> Callable[[Any, pd.Series], Any]:
    return lambda clean, row: value


FAULTS: tuple[Fault, ...] = (
    # Read as meant.
    Fault(
        "other letter case",
        "patients",
        "presentation",
        "taken",
        lambda v, row: str(v).upper(),
        _all("patients"),
    ),
    Fault(
        "blanks around a word",
        "lesions",
        "location",
        "taken",
        lambda v, row: f" {v}\u00a0 ",
        _all("lesions"),
    ),
    Fault(
        "number stored as text",
        "lesions",
        Lesions.nidus_length_mm,
        "taken",
        lambda v, row: f"{v:g}",
        _all("lesions"),
    ),
    Fault(
        "unit typed after the number",
        "lesions",
        Lesions.nidus_length_mm,
        "taken",
        lambda v, row: f"{v:g} mm",
        _all("lesions"),
    ),
    Fault(
        "date as text, year first",
        "sessions",
        Sessions.session_date,
        "taken",
        lambda v, row: v.strftime("%Y-%m-%d"),
        _all("sessions"),
    ),
    Fault(
        "date as text, month in letters",
        "sessions",
        Sessions.session_date,
        "taken",
        lambda v, row: f"{v.day} {v:%B} {v.year}",
        _all("sessions"),
    ),
    Fault(
        "date as text, day over 12",
        "sessions",
        Sessions.session_date,
        "taken",
        lambda v, row: v.strftime("%d.%m.%Y"),
        _late_day("sessions", Sessions.session_date),
    ),
    Fault(
        "y for yes",
        "lesions",
        "eloquent",
        "taken",
        lambda v, row: "Y" if v else "N",
        _all("lesions"),
    ),
    Fault(
        "study code in small letters with a long dash",
        "follow_ups",
        Patients.patient_id,
        "taken",
        lambda v, row: str(v).lower().replace("-", "–"),
        _all("follow_ups"),
    ),
    # Taken in, with a question.
    Fault(
        "decimal comma",
        "injections",
        Injections.agent_ml,
        "asked",
        lambda v, row: f"{v:.2f}".replace(".", ","),
        _there("injections", Injections.agent_ml),
    ),
    Fault(
        "grade as written differs",
        "lesions",
        Lesions.sm_grade_recorded,
        "asked",
        lambda v, row: v + 1 if v < 5 else v - 1,
        _there("lesions", Lesions.sm_grade_recorded),
    ),
    Fault(
        "share for a percentage",
        "sessions",
        Sessions.occlusion_planned_pct,
        "asked",
        lambda v, row: v / 100,
        _there("sessions", Sessions.occlusion_planned_pct),
    ),
    Fault(
        "occlusion falls",
        "sessions",
        Sessions.occlusion_after_pct,
        "asked",
        lambda v, row: max(row[Sessions.occlusion_before_pct] - 10, 0),
        _assessed_growing,
    ),
    Fault(
        "diameters not in order",
        "lesions",
        Lesions.nidus_width_mm,
        "asked",
        lambda v, row: row[Lesions.nidus_length_mm] + 4,
        _unequal_diameters,
    ),
    Fault(
        "fluoroscopy longer than the procedure",
        "sessions",
        Sessions.fluoroscopy_min,
        "asked",
        lambda v, row: row[Sessions.procedure_min] + 20,
        _minutes,
    ),
    Fault(
        "solvent with a coil or particles",
        "injections",
        Injections.dmso_ml,
        "asked",
        _ready(0.25),
        _solid,
    ),
    # Kept out until mended: what a cell holds.
    Fault(
        "misspelt word",
        "lesions",
        "location",
        "kept out",
        lambda v, row: f"{v[:2]}{v[3]}{v[2]}{v[4:]}",
        _is("lesions", "location", "temporal"),
    ),
    Fault(
        "day that does not exist",
        "sessions",
        Sessions.session_date,
        "kept out",
        lambda v, row: f"{v.year}-02-30",
        _all("sessions"),
    ),
    Fault(
        "day and month either way round",
        "sessions",
        Sessions.session_date,
        "kept out",
        lambda v, row: v.strftime("%d/%m/%Y"),
        _early_day("sessions", Sessions.session_date),
    ),
    Fault(
        "year in two figures",
        "follow_ups",
        FollowUps.follow_up_date,
        "kept out",
        lambda v, row: f"{v.day}.{v.month}.{v:%y}",
        _all("follow_ups"),
    ),
    Fault(
        "question mark",
        "lesions",
        Lesions.nidus_length_mm,
        "kept out",
        _ready("?"),
        _all("lesions"),
    ),
    Fault(
        "three diameters in one cell",
        "lesions",
        Lesions.nidus_length_mm,
        "kept out",
        lambda v, row: f"{v:g}x{row[Lesions.nidus_width_mm]:g}",
        _all("lesions"),
    ),
    Fault(
        "impossible age",
        "patients",
        Patients.age_y,
        "kept out",
        lambda v, row: v + 190,
        _all("patients"),
    ),
    Fault("required cell left blank", "lesions", "side", "kept out", _ready(None), _all("lesions")),
    Fault(
        "two scores in one cell",
        "follow_ups",
        "mrs",
        "kept out",
        lambda v, row: f"{v}-{v + 1}",
        _all("follow_ups"),
    ),
    Fault("maybe", "lesions", "eloquent", "kept out", _ready("maybe"), _all("lesions")),
    Fault(
        "formula without a result",
        "sessions",
        Sessions.procedure_min,
        "kept out",
        lambda v, row: f"={v - 10:g}+10",
        _minutes,
    ),
    Fault(
        "code of another form",
        "patients",
        Patients.patient_id,
        "kept out",
        lambda v, row: f"{str(v).split('-')[1]}-{str(v).split('-')[0]}",
        _all("patients"),
    ),
    # Kept out until mended: what rows say together.
    Fault(
        "key used twice",
        "follow_ups",
        FollowUps.follow_up_no,
        "kept out",
        lambda v, row: v,
        _all("follow_ups"),
        action="copy",
    ),
    Fault(
        "no such lesion", "follow_ups", Lesions.lesion_no, "kept out", _ready(9), _all("follow_ups")
    ),
    Fault(
        "session before presentation",
        "patients",
        Patients.presentation_date,
        "kept out",
        lambda v, row: v + pd.Timedelta(days=4000),
        _is("patients", Patients.presentation_date_known_to, "day"),
    ),
    Fault(
        "sessions in the wrong order",
        "sessions",
        Sessions.session_date,
        "kept out",
        lambda v, row: v - pd.Timedelta(days=400),
        _second_session,
    ),
    Fault(
        "longest pause above all pauses",
        "injections",
        Injections.longest_pause_s,
        "kept out",
        lambda v, row: row[Injections.pauses_s] + 30,
        _long_pauses,
    ),
    Fault(
        "pauses longer than the injection",
        "injections",
        Injections.pauses_s,
        "kept out",
        lambda v, row: row[Injections.injection_min] * 60 + 600,
        _small_pauses,
    ),
    Fault(
        "visit after death",
        "patients",
        Patients.death_date,
        "kept out",
        lambda v, row: row[Patients.presentation_date] + pd.Timedelta(days=1),
        _living_visit,
    ),
    Fault(
        "dead at a visit, no date of death",
        "follow_ups",
        "mrs",
        "kept out",
        _ready(6),
        _alive_visit,
    ),
    Fault(
        "death from an event, no date of death",
        "complications",
        "death",
        "kept out",
        _ready("yes"),
        _alive_event,
    ),
    Fault(
        "hours after nothing",
        "complications",
        Sessions.session_no,
        "kept out",
        _ready(None),
        _unplaced_event,
    ),
    Fault(
        "occlusion missing though assessed",
        "sessions",
        Sessions.occlusion_after_pct,
        "kept out",
        _ready(None),
        _there("sessions", Sessions.occlusion_after_pct),
    ),
    Fault(
        "feeding artery missing",
        "injections",
        Injections.feeding_artery,
        "asked",
        _ready(None),
        _arterial,
    ),
)
