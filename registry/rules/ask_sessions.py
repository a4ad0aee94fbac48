"""Queries on sessions and the service's log."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import LESION, day, figure, sure
from registry.rules.finding import Hits, Tables, query
from registry.schema import FollowUps, Lesions, Patients, Resections, Services, Sessions

RESIDUAL = ("near complete", "part", "none")
SOON_DAYS = 30


@query("occlusion fell")
def occlusion_fell(tables: Tables) -> Hits:
    """Less occlusion after the session than before it."""
    rows = tables["sessions"]
    rows = rows[sure(rows[Sessions.occlusion_after_pct] < rows[Sessions.occlusion_before_pct])]
    found = (
        figure(rows[Sessions.occlusion_before_pct]) + " % before the session, "
        + figure(rows[Sessions.occlusion_after_pct]) + " % after it"
    )
    return Hits(
        "sessions", rows, Sessions.occlusion_after_pct, found,
        "no less occlusion after a session than before it",
        "check both; each is the share of the original nidus that no longer fills",
    )


@query("fluoroscopy longer than the procedure")
def fluoroscopy_too_long(tables: Tables) -> Hits:
    """More fluoroscopy than the procedure lasted."""
    rows = tables["sessions"]
    rows = rows[sure(rows[Sessions.fluoroscopy_min] > rows[Sessions.procedure_min])]
    found = (
        figure(rows[Sessions.fluoroscopy_min]) + " min of fluoroscopy in a procedure of "
        + figure(rows[Sessions.procedure_min]) + " min"
    )
    return Hits(
        "sessions", rows, Sessions.fluoroscopy_min, found,
        "fluoroscopy no longer than the procedure",
        "check both times, in minutes (two planes are not added up)",
    )


def _residual_angiograms(tables: Tables) -> pd.DataFrame:
    """Catheter angiograms that showed residual: at a visit, or after an operation."""
    visits, operations = tables["follow_ups"], tables["resections"]
    visits = visits[
        sure(visits[FollowUps.imaging] == "catheter angiography")
        & sure(visits[FollowUps.occlusion].isin(RESIDUAL))
    ]
    operations = operations[sure(operations[Resections.result] == "residual")]
    return pd.concat([
        visits[LESION].assign(_seen=visits[FollowUps.follow_up_date]),
        operations[LESION].assign(_seen=operations[Resections.angiography_date]),
    ]).dropna()


@query("complete occlusion, then residual")
def complete_then_residual(tables: Tables) -> Hits:
    """100 % occlusion, and residual on a catheter angiogram within 30 days."""
    sessions = tables["sessions"]
    complete = sessions[sure(sessions[Sessions.occlusion_after_pct] == 100)]
    pairs = complete.assign(_row=range(len(complete))).merge(
        _residual_angiograms(tables), on=LESION
    )
    days = (pairs["_seen"] - pairs[Sessions.session_date]).dt.days
    pairs = pairs[(days > 0) & (days <= SOON_DAYS)]
    first = pairs.groupby("_row")["_seen"].min()
    rows = complete.iloc[first.index]
    found = (
        "100 % after the session on " + day(rows[Sessions.session_date])
        + ", residual on angiography on " + day(first.set_axis(rows.index))
    )
    return Hits(
        "sessions", rows, Sessions.occlusion_after_pct, found,
        "no residual within 30 days of a complete occlusion",
        "read both angiograms again",
    )


@query("one procedure on two dates")
def procedure_on_two_dates(tables: Tables) -> Hits:
    """Sessions that share a procedure number but not the date."""
    rows = tables["sessions"].dropna(
        subset=[Patients.patient_id, Sessions.procedure_no, Sessions.session_date]
    )
    dates = rows.groupby([Patients.patient_id, Sessions.procedure_no], sort=False)[
        Sessions.session_date
    ]
    rows = rows[dates.transform("nunique") > 1]
    found = (
        "procedure "
        + rows[Sessions.procedure_no].astype("string")
        + " on "
        + day(rows[Sessions.session_date])
        + "; it has another date in another session"
    )
    return Hits(
        "sessions", rows, Sessions.procedure_no, found, "one date for all sessions of a procedure",
        "correct the date, or give each procedure its own number",
    )


def procedures(tables: Tables) -> pd.DataFrame:
    """One row a procedure: patient_id, site_id, session_date (its first).

    Sessions of a patient with one procedure number are one procedure; a blank number is a
    procedure of its own.
    """
    rows = tables["sessions"].dropna(subset=LESION)
    session = (
        rows[Lesions.lesion_no].astype("string") + "/" + rows[Sessions.session_no].astype("string")
    )
    rows = rows.assign(
        _procedure=rows[Sessions.procedure_no].astype("string").fillna("own " + session)
    )
    days = rows.groupby([Patients.patient_id, "_procedure"])[Sessions.session_date]
    firsts = days.min().reset_index()
    sites = (
        tables["patients"].dropna(subset=[Patients.patient_id]).drop_duplicates(Patients.patient_id)
    )
    return firsts.merge(sites[[Patients.patient_id, Patients.site_id]], on=Patients.patient_id)


@query("fewer procedures than the suite's log")
def fewer_than_log(tables: Tables) -> Hits:
    """Fewer procedures in the registry than in the suite's log of the same period."""
    services = tables["services"]
    done = procedures(tables).merge(services, on=Patients.site_id)
    inside = (done[Sessions.session_date] >= done[Services.enrolment_from]) & (
        done[Services.enrolment_to].isna()
        | (done[Sessions.session_date] <= done[Services.enrolment_to])
    )
    counted = done[inside].groupby(Patients.site_id).size()
    rows = services.assign(_counted=services[Patients.site_id].map(counted).fillna(0))
    rows = rows[sure(rows["_counted"] < rows[Services.suite_log_procedures])]
    found = (
        figure(rows["_counted"]) + " procedures in the registry, "
        + figure(rows[Services.suite_log_procedures]) + " in the suite's log of the period"
    )
    return Hits(
        "services", rows, Services.suite_log_procedures, found,
        "every procedure of the suite's log in the registry",
        "find the procedures that were not entered; a series with gaps is not consecutive",
    )
