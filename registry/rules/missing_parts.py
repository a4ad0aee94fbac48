"""Errors inside one record: pauses, the occlusion, the access, the event a time counts from."""

from __future__ import annotations

from registry.rules.columns import LESION, SESSION, bring, figure, has_match, sure
from registry.rules.finding import Hits, Tables, error
from registry.rules.words import column
from registry.schema import Complications, Injections, Sessions


@error("longest pause above all pauses")
def longest_pause_above_all(tables: Tables) -> Hits:
    """The longest pause is longer than all pauses together."""
    rows = tables["injections"]
    rows = rows[sure(rows[Injections.longest_pause_s] > rows[Injections.pauses_s])]
    found = (
        "longest pause " + figure(rows[Injections.longest_pause_s]) + " s, all pauses together "
        + figure(rows[Injections.pauses_s]) + " s"
    )
    return Hits(
        "injections", rows, Injections.longest_pause_s, found,
        "a longest pause no longer than all pauses together",
        "correct one of the two; both are in seconds",
    )


@error("pauses longer than the injection")
def pauses_above_injection(tables: Tables) -> Hits:
    """All pauses together are longer than the injection lasted."""
    rows = tables["injections"]
    rows = rows[sure(rows[Injections.pauses_s] / 60 > rows[Injections.injection_min])]
    found = (
        "pauses of " + figure(rows[Injections.pauses_s]) + " s in an injection of "
        + figure(rows[Injections.injection_min]) + " min"
    )
    return Hits(
        "injections", rows, Injections.pauses_s, found, "pauses shorter than the injection",
        "correct one of the two; pauses are in seconds, the injection in minutes, from the first "
        "push to the last",
    )


@error("hours after nothing")
def hours_after_nothing(tables: Tables) -> Hits:
    """hours_after on an event that names no session and belongs to no operation."""
    events = tables["complications"]
    operated = has_match(events, tables["resections"], LESION) & sure(
        events[Complications.phase] == "resection"
    )
    irradiated = has_match(events, tables["radiosurgeries"], LESION) & sure(
        events[Complications.phase] == "radiosurgery"
    )
    alone = events[Sessions.session_no].isna() & ~operated & ~irradiated
    rows = events[alone & events[Complications.hours_after].notna()]
    found = (
        figure(rows[Complications.hours_after])
        + " h, and neither a session nor an operation to count from"
    )
    return Hits(
        "complications", rows, Complications.hours_after, found,
        "hours counted from a session named here, or from an operation of this lesion",
        "enter the session number (or the operation in its table), or leave the hours blank",
    )


@error("occlusion missing")
def occlusion_missing(tables: Tables) -> Hits:
    """occlusion_after_pct blank, and the session not marked as not assessed."""
    rows = tables["sessions"]
    assessed = rows[Sessions.occlusion_status].fillna("blank") != "not assessed"
    rows = rows[assessed & rows[Sessions.occlusion_after_pct].isna()]
    found = "no occlusion after the session; occlusion assessed: " + rows[
        Sessions.occlusion_status
    ].fillna("blank")
    return Hits(
        "sessions",
        rows,
        Sessions.occlusion_after_pct,
        found,
        "the occlusion after every session, in per cent, unless it was not assessed",
        'enter the occlusion, or "not assessed" under '
        f'{column("sessions", Sessions.occlusion_status)}',
    )


@error("access missing")
def access_missing(tables: Tables) -> Hits:
    """access blank in a session whose route is venous or both."""
    rows = bring(tables["injections"], tables["sessions"], SESSION, ["route"])
    rows = rows[
        sure(rows[Sessions.route].isin(["venous", "both"])) & rows[Injections.access].isna()
    ]
    found = "no access, in a session whose route is " + rows[Sessions.route]
    return Hits(
        "injections", rows, "access", found,
        "artery or vein, where a session's route is venous or both",
        "enter artery or vein, or correct the session's route",
    )
