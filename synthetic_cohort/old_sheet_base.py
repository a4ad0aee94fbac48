"""What an old wide sheet can say of a service: the clean tables cut down to its columns.

One row a patient, four sessions at most, one agent for everybody, one complication a patient
written in words, two visits. Everything else of the registry stays blank.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from registry.schema import (
    TABLES,
    Complications,
    FollowUps,
    Injections,
    Lesions,
    Patients,
    Radiosurgeries,
    Resections,
    Sessions,
)
from synthetic_cohort.cohort import make_cohort
from synthetic_cohort.settings import CohortSettings

Tables = dict[str, pd.DataFrame]

SESSIONS = 4
AGENT = "EVOH 6 %"

# Columns that the sheet carries, by table; those not named are blank in the clean tables.
KEPT: dict[str, tuple[str, ...]] = {
    "patients": (
        Patients.site_id,
        Patients.age_y,
        Patients.sex,
        Patients.presentation,
        Patients.presentation_date,
        Patients.presentation_date_known_to,
        Patients.mrs_before,
        Patients.death_date,
        Patients.death_cause,
        Patients.research_use,
    ),
    "lesions": (
        Lesions.side,
        Lesions.location,
        Lesions.haemorrhage_before,
        Lesions.eloquent,
        Lesions.nidus_length_mm,
        Lesions.nidus_width_mm,
        Lesions.nidus_height_mm,
        Lesions.deep_drainage,
        Lesions.feeding_pedicles,
        Lesions.sm_grade_recorded,
    ),
    "sessions": (
        Sessions.session_date,
        Sessions.intent,
        Sessions.route,
        Sessions.operator_id,
        Sessions.occlusion_after_pct,
        Sessions.contrast_ml,
    ),
    "injections": (Injections.feeding_artery, Injections.agent, Injections.agent_ml),
    "complications": (
        Sessions.session_no,
        Complications.phase,
        Complications.onset_date,
        Complications.kind,
        Complications.symptomatic,
        Complications.deficit,
        Complications.death,
        Complications.attribution,
    ),
    "resections": (
        Resections.resection_date,
        Resections.urgency,
        Resections.result,
        Resections.blood_loss_ml,
        Resections.deficit,
    ),
    "radiosurgeries": (Radiosurgeries.radiosurgery_date, Radiosurgeries.margin_dose_gy),
    "follow_ups": (FollowUps.follow_up_date, FollowUps.imaging, FollowUps.occlusion, FollowUps.mrs),
}


def sheet_tables(patients: int, seed: int) -> Tables:
    """Clean typed tables of about `patients` patients, with just what the old sheet carries."""
    settings = CohortSettings(
        missing_share=0.0, two_lesions=0.0, chart_grade_errors=0.0, complication_risk=0.16,
        loss_per_year=0.06,
    )
    whole = make_cohort(patients, seed, settings).tables
    fit = set(whole["patients"][Patients.patient_id]) - _too_much(whole)
    tables = {name: whole[name][whole[name][Patients.patient_id].isin(fit)] for name in KEPT}
    tables["patients"] = _middle_of_part_dates(tables["patients"])
    tables["injections"] = _one_a_pedicle(tables["injections"])
    tables["complications"] = _first_event(tables["complications"], tables["sessions"])
    tables["resections"] = tables["resections"].assign(urgency="planned")
    tables["follow_ups"] = _two_visits(tables["follow_ups"])
    out = {name: spec.empty() for name, spec in TABLES.items()}
    return out | {name: _cut(name, table) for name, table in tables.items()}


def _too_much(whole: Tables) -> set[str]:
    """Patients the sheet has no room for: a fifth session, a vein, occlusion not assessed."""
    sessions = whole["sessions"]
    many = sessions.loc[sessions[Sessions.session_no] > SESSIONS, Patients.patient_id]
    vein = sessions.loc[sessions[Sessions.route] != "arterial", Patients.patient_id]
    unseen = sessions.loc[
        sessions[Sessions.occlusion_status] == "not assessed", Patients.patient_id
    ]
    return set(many) | set(vein) | set(unseen)


def _cut(name: str, table: pd.DataFrame) -> pd.DataFrame:
    spec = TABLES[name]
    return spec.typed(table[[*spec.key, *KEPT[name]]]).sort_values(
        list(spec.key), ignore_index=True)


def _middle_of_part_dates(people: pd.DataFrame) -> pd.DataFrame:
    """Where only the month or year is known: its middle (15th, 1 July), as the registry asks."""
    day, known = people[Patients.presentation_date], people[Patients.presentation_date_known_to]
    month = day.dt.to_period("M").dt.to_timestamp() + pd.Timedelta(days=14)
    year = day.dt.to_period("Y").dt.to_timestamp() + pd.DateOffset(months=6)
    day = day.mask(known.eq("month"), month).mask(known.eq("year"), year)
    return people.assign(presentation_date=day)


def _one_a_pedicle(injections: pd.DataFrame) -> pd.DataFrame:
    """One injection of the one agent a pedicle, pedicles of an artery together, numbered anew."""
    key = [Patients.patient_id, Lesions.lesion_no, Sessions.session_no]
    rows = injections.sort_values([*key, Injections.injection_no])
    rows = rows.drop_duplicates([*key, Injections.pedicle_no])
    first = rows.groupby([*key, Injections.feeding_artery])[Injections.injection_no].transform(
        "min"
    )
    rows = rows.assign(first=first).sort_values([*key, "first", Injections.injection_no])
    number = rows.groupby(key).cumcount() + 1
    volume = rows[Injections.agent_ml].fillna(0.25).clip(lower=0.05).round(2)
    return rows.assign(injection_no=number, agent=AGENT, agent_ml=volume)


def _first_event(events: pd.DataFrame, sessions: pd.DataFrame) -> pd.DataFrame:
    """The first embolization complication of each patient, put down to its session."""
    rows = events[
        events[Complications.attribution].ne("unrelated") & events[Sessions.session_no].notna()
    ]
    rows = rows[rows[Complications.deficit].ne("not yet known")]
    rows = rows.sort_values(
        [Patients.patient_id, Complications.onset_date, Complications.complication_no]
    )
    rows = rows.drop_duplicates(Patients.patient_id)
    return rows.assign(complication_no=1, attribution="probable")


def _two_visits(visits: pd.DataFrame) -> pd.DataFrame:
    """The first catheter angiogram as visit 1, the last visit after it as visit 2."""
    rows = visits.sort_values([Patients.patient_id, FollowUps.follow_up_date])
    angio = rows[rows[FollowUps.imaging].eq("catheter angiography")].drop_duplicates(
        Patients.patient_id
    )
    seen = rows[Patients.patient_id].map(
        angio.set_index(Patients.patient_id)[FollowUps.follow_up_date]
    )
    later = rows[seen.isna() | (rows[FollowUps.follow_up_date] > seen)]
    last = later.drop_duplicates(Patients.patient_id, keep="last")
    both = pd.concat([angio.assign(follow_up_no=1), last.assign(follow_up_no=2)])
    return both.assign(occlusion=both[FollowUps.occlusion].mask(both[FollowUps.imaging].eq("none")))


def draws(seed: int, name: str, size: int) -> np.ndarray:
    """Uniform numbers for the ways in which one column is written."""
    from synthetic_cohort.draws import Streams

    return Streams(seed).uniform(f"old sheet {name}", size)
