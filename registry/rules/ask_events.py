"""Queries on complications and haemorrhages: what they belong to, and when they began."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import LESION, SESSION, bring, day, figure, has_match, sure
from registry.rules.finding import Hits, Tables, query
from registry.rules.known_dates import earliest, latest
from registry.rules.words import column, sheet
from registry.schema import Complications, Haemorrhages, Injections, Sessions

EVENT = [*LESION, Complications.complication_no]


@query("session of the event not found")
def event_session_missing(tables: Tables) -> Hits:
    """A complication that names a session which is not there."""
    rows = tables["complications"]
    rows = rows[rows[Sessions.session_no].notna() & ~has_match(rows, tables["sessions"], SESSION)]
    return Hits(
        "complications",
        rows,
        Sessions.session_no,
        column("complications", Sessions.session_no)
        + " "
        + rows[Sessions.session_no].astype("string")
        + " is not a session of this lesion",
        "a session of this lesion, or a blank",
        "correct the number; until then the event counts by its date",
    )


@query("injection of the event not found")
def event_injection_missing(tables: Tables) -> Hits:
    """A complication that names an injection which is not there, or no session with it."""
    rows = tables["complications"]
    there = has_match(rows, tables["injections"], [*SESSION, Injections.injection_no])
    rows = rows[rows[Injections.injection_no].notna() & ~there]
    return Hits(
        "complications",
        rows,
        Injections.injection_no,
        column("complications", Injections.injection_no)
        + " "
        + rows[Injections.injection_no].astype("string")
        + " is not an injection of that session",
        "an injection of the session named in the same row, or a blank",
        "correct the numbers of the session and the injection",
    )


@query("complication of the bleed not found")
def bleed_event_missing(tables: Tables) -> Hits:
    """A haemorrhage that names a complication which is not there."""
    rows = tables["haemorrhages"]
    rows = rows[
        rows[Complications.complication_no].notna()
        & ~has_match(rows, tables["complications"], EVENT)
    ]
    return Hits(
        "haemorrhages",
        rows,
        Complications.complication_no,
        column("haemorrhages", Complications.complication_no)
        + " "
        + rows[Complications.complication_no].astype("string")
        + " is not a complication of this lesion",
        f"the row of {sheet('complications')} that is the same bleed, or a blank",
        "correct the number; until then the bleed counts as one of its own",
    )


@query("one bleed with two dates")
def bleed_dates_differ(tables: Tables) -> Hits:
    """A haemorrhage and the complication it names do not begin on one day, as far as known."""
    rows = bring(tables["haemorrhages"], tables["complications"], EVENT, [Complications.onset_date])
    first = earliest(rows[Haemorrhages.haemorrhage_date], rows[Haemorrhages.date_known_to])
    last = latest(rows[Haemorrhages.haemorrhage_date], rows[Haemorrhages.date_known_to])
    rows = rows[
        sure(rows[Complications.onset_date] < first) | sure(rows[Complications.onset_date] > last)
    ]
    found = (
        day(rows[Haemorrhages.haemorrhage_date])
        + " (known to the "
        + rows[Haemorrhages.date_known_to]
        + "), the complication began on "
        + day(rows[Complications.onset_date])
    )
    return Hits(
        "haemorrhages", rows, Haemorrhages.haemorrhage_date, found, "one date for one bleed",
        "correct one of the dates, or the number of the complication",
    )


def _procedure_dates(tables: Tables) -> pd.DataFrame:
    """Every procedure an event's hours may count from: its phase or session, and its date."""
    sessions = tables["sessions"][SESSION].assign(
        phase="session", _date=tables["sessions"][Sessions.session_date]
    )
    later = [
        tables[table][LESION].assign(phase=phase, _date=tables[table][f"{phase}_date"])
        for table, phase in (("resections", "resection"), ("radiosurgeries", "radiosurgery"))
    ]
    return pd.concat([sessions, *later])


@query("hours do not fit the date")
def hours_do_not_fit(tables: Tables) -> Hits:
    """hours_after leads to another day than onset_date.

    The clock time of the procedure is not recorded, so both the day the hours lead to from
    midnight and the day after it fit. Where the event may belong to a session or to an
    operation, one that fits is enough.
    """
    events = tables["complications"].dropna(
        subset=[Complications.hours_after, Complications.onset_date]
    )
    events = events.assign(_row=range(len(events)))
    dates = _procedure_dates(tables)
    of_session = events.merge(
        dates[dates[Complications.phase] == "session"].drop(columns=Complications.phase), on=SESSION
    )
    of_operation = events.merge(
        dates.drop(columns=Sessions.session_no), on=[*LESION, Complications.phase]
    )
    needed = ["_row", Complications.onset_date, Complications.hours_after, "_date"]
    pairs = pd.concat([of_session[needed], of_operation[needed]])
    late = (pairs[Complications.onset_date] - pairs["_date"]).dt.days - pairs[
        Complications.hours_after
    ] // 24
    fits = late.between(0, 1).groupby(pairs["_row"]).max()
    nearest = pairs.groupby("_row")["_date"].max()
    misfits = fits.index[~fits.astype(bool)]
    rows = events.iloc[misfits]
    found = (
        figure(rows[Complications.hours_after])
        + " h after the procedure on "
        + day(nearest[misfits].set_axis(rows.index))
        + ", onset on "
        + day(rows[Complications.onset_date])
    )
    return Hits(
        "complications",
        rows,
        Complications.hours_after,
        found,
        "hours that lead to the day of onset",
        "correct the hours, the onset, or the session number",
    )


@query("onset before the session")
def onset_before_session(tables: Tables) -> Hits:
    """A complication that began before the session it names."""
    rows = bring(tables["complications"], tables["sessions"], SESSION, [Sessions.session_date])
    rows = rows[sure(rows[Complications.onset_date] < rows[Sessions.session_date])]
    found = (
        "onset on " + day(rows[Complications.onset_date]) + ", the session was on "
        + day(rows[Sessions.session_date])
    )
    return Hits(
        "complications",
        rows,
        Complications.onset_date,
        found,
        "an onset on or after the day of the session",
        "correct the date or the session number",
    )


@query("resolved before it began")
def resolved_before_onset(tables: Tables) -> Hits:
    """A complication that was gone before it began."""
    rows = tables["complications"]
    rows = rows[sure(rows[Complications.resolved_date] < rows[Complications.onset_date])]
    found = (
        "onset on "
        + day(rows[Complications.onset_date])
        + ", gone on "
        + day(rows[Complications.resolved_date])
    )
    return Hits(
        "complications",
        rows,
        Complications.resolved_date,
        found,
        "a date of recovery not before the onset",
        "correct one of the two dates",
    )
