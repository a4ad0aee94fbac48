"""Queries on sessions and the service's log."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import LESION, day, figure, sure
from registry.rules.finding import Hits, Tables, query

RESIDUAL = ("near complete", "part", "none")
SOON_DAYS = 30


@query("occlusion fell")
def occlusion_fell(tables: Tables) -> Hits:
    """Less occlusion after the session than before it."""
    rows = tables["sessions"]
    rows = rows[sure(rows["occlusion_after_pct"] < rows["occlusion_before_pct"])]
    found = (
        figure(rows["occlusion_before_pct"]) + " % before the session, "
        + figure(rows["occlusion_after_pct"]) + " % after it"
    )
    return Hits(
        "sessions", rows, "occlusion_after_pct", found,
        "no less occlusion after a session than before it",
        "check both; each is the share of the original nidus that no longer fills",
    )


@query("fluoroscopy longer than the procedure")
def fluoroscopy_too_long(tables: Tables) -> Hits:
    """More fluoroscopy than the procedure lasted."""
    rows = tables["sessions"]
    rows = rows[sure(rows["fluoroscopy_min"] > rows["procedure_min"])]
    found = (
        figure(rows["fluoroscopy_min"]) + " min of fluoroscopy in a procedure of "
        + figure(rows["procedure_min"]) + " min"
    )
    return Hits(
        "sessions", rows, "fluoroscopy_min", found,
        "fluoroscopy no longer than the procedure",
        "check both times, in minutes (two planes are not added up)",
    )


def _residual_angiograms(tables: Tables) -> pd.DataFrame:
    """Catheter angiograms that showed residual: at a visit, or after an operation."""
    visits, operations = tables["follow_ups"], tables["resections"]
    visits = visits[
        sure(visits["imaging"] == "catheter angiography") & sure(visits["occlusion"].isin(RESIDUAL))
    ]
    operations = operations[sure(operations["result"] == "residual")]
    return pd.concat([
        visits[LESION].assign(_seen=visits["follow_up_date"]),
        operations[LESION].assign(_seen=operations["angiography_date"]),
    ]).dropna()


@query("complete occlusion, then residual")
def complete_then_residual(tables: Tables) -> Hits:
    """100 % occlusion, and residual on a catheter angiogram within 30 days."""
    sessions = tables["sessions"]
    complete = sessions[sure(sessions["occlusion_after_pct"] == 100)]
    pairs = complete.assign(_row=range(len(complete))).merge(
        _residual_angiograms(tables), on=LESION
    )
    days = (pairs["_seen"] - pairs["session_date"]).dt.days
    pairs = pairs[(days > 0) & (days <= SOON_DAYS)]
    first = pairs.groupby("_row")["_seen"].min()
    rows = complete.iloc[first.index]
    found = (
        "100 % after the session on " + day(rows["session_date"])
        + ", residual on angiography on " + day(first.set_axis(rows.index))
    )
    return Hits(
        "sessions", rows, "occlusion_after_pct", found,
        "no residual within 30 days of a complete occlusion",
        "read both angiograms again",
    )


@query("one procedure on two dates")
def procedure_on_two_dates(tables: Tables) -> Hits:
    """Sessions that share a procedure number but not the date."""
    rows = tables["sessions"].dropna(subset=["patient_id", "procedure_no", "session_date"])
    dates = rows.groupby(["patient_id", "procedure_no"], sort=False)["session_date"]
    rows = rows[dates.transform("nunique") > 1]
    found = (
        "procedure " + rows["procedure_no"].astype("string") + " on " + day(rows["session_date"])
        + "; it has another date in another session"
    )
    return Hits(
        "sessions", rows, "procedure_no", found, "one date for all sessions of a procedure",
        "correct the date, or give each procedure its own number",
    )


def procedures(tables: Tables) -> pd.DataFrame:
    """One row a procedure: patient_id, site_id, session_date (its first).

    Sessions of a patient with one procedure number are one procedure; a blank number is a
    procedure of its own.
    """
    rows = tables["sessions"].dropna(subset=LESION)
    session = rows["lesion_no"].astype("string") + "/" + rows["session_no"].astype("string")
    rows = rows.assign(_procedure=rows["procedure_no"].astype("string").fillna("own " + session))
    firsts = rows.groupby(["patient_id", "_procedure"], as_index=False)["session_date"].min()
    sites = tables["patients"].dropna(subset=["patient_id"]).drop_duplicates("patient_id")
    return firsts.merge(sites[["patient_id", "site_id"]], on="patient_id")


@query("fewer procedures than the suite's log")
def fewer_than_log(tables: Tables) -> Hits:
    """Fewer procedures in the registry than in the suite's log of the same period."""
    services = tables["services"]
    done = procedures(tables).merge(services, on="site_id")
    inside = (done["session_date"] >= done["enrolment_from"]) & (
        done["enrolment_to"].isna() | (done["session_date"] <= done["enrolment_to"])
    )
    counted = done[inside].groupby("site_id").size()
    rows = services.assign(_counted=services["site_id"].map(counted).fillna(0))
    rows = rows[sure(rows["_counted"] < rows["suite_log_procedures"])]
    found = (
        figure(rows["_counted"]) + " procedures in the registry, "
        + figure(rows["suite_log_procedures"]) + " in the suite's log of the period"
    )
    return Hits(
        "services", rows, "suite_log_procedures", found,
        "every procedure of the suite's log in the registry",
        "find the procedures that were not entered; a series with gaps is not consecutive",
    )


RULES = [
    occlusion_fell,
    fluoroscopy_too_long,
    complete_then_residual,
    procedure_on_two_dates,
    fewer_than_log,
]
