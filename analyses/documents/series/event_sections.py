"""The case series' section on complications in detail, and the list of every event."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from analyses.content.blocks import Cell, Paragraph, Picture, Section, Sentence, Table
from analyses.documents.tables.measure_tables import measures_table, number_cell
from analyses.figures.figure_shares import interval_figure
from analyses.measures.complication_detail import (
    EVENT_COLUMNS,
    EVENT_SHARE,
    KIND,
    KINDS,
    PHASE,
    listed_events,
)
from analyses.measures.declared import shown_at
from analyses.measures.group_words import GROUP_LABELS
from analyses.measures.places import Place
from analyses.measures.results import Results
from analyses.measures.weaknesses import EVENTS
from analyses.statistics.estimate import Estimate, counted_rows
from analyses.words.estimate_text import plural
from analyses.words.recorded_value import recorded
from registry.schema import Complications, Patients

LISTED = {
    "days_after": "Days after the latest session",
    Complications.hours_after: "Hours after",
    "phase": "Phase",
    "kind": "Kind",
    "mechanism": "Mechanism",
    "symptomatic": "Symptomatic",
    "deficit": "Deficit",
    Complications.clavien_dindo: "Clavien–Dindo",
    Complications.mrs_30d: "mRS at 30 days",
    "death": "Death",
    "attribution": "Attribution",
    "counted": "Counted",
}


def complication_detail_section(results: Results, events: Table | None = None) -> Section:
    """Kinds, phases, timing, severity and attribution, and every event.

    events: the listing of the events; with study codes where None, for use inside the service.
    """
    return Section("Complications in detail", (
        _placed(results), kinds_picture(results), kinds_table(results),
        measures_table(results, "complication-detail",
                       "Complications: timing, severity and attribution",
                       shown_at(Place.HARM_DETAIL)),
        phases_table(results), events_by_field_table(results),
        events or events_table(results),
    ))


def kinds_table(results: Results) -> Table:
    """Every kind a row, per session and per patient; those that never occurred as well."""
    rows = [
        (Cell(kind, heading=True), *(
            number_cell(results.one(KIND.id, unit, {"kind": kind}))
            for unit in ("session", "patient")))
        for kind in KINDS]
    return Table("complication-kinds", "Complications by kind", (
        "Kind", "Per session, events/n (%, 95 % interval)", "Per patient"), tuple(rows), (
        "A unit with several events of one kind counts once. A kind never seen is shown with "
        "the rate that cannot be excluded.",))


def kinds_picture(results: Results) -> Picture:
    """The kinds that occurred, per session, the most frequent first."""
    found = [results.one(KIND.id, "session", {"kind": kind}) for kind in KINDS]
    found = sorted((e for e in found if e.events), key=lambda e: -(e.events or 0))
    labels = [e.group[Complications.kind] for e in found if e.group]
    caption = "Kinds of embolization complication that occurred, per session, with 95 % intervals"
    alt = f"{caption}: " + "; ".join(
        f"{label} {e.number_text()}" for label, e in zip(labels, found, strict=True))
    return Picture("kinds-of-complication", caption, alt, lambda width: interval_figure(
        found, labels, width, "Sessions (%)"), tuple(found), rows_seen=False)


def phases_table(results: Results) -> Table:
    """Patients with a recorded complication of each phase, over those who had its treatment."""
    found = [e for e in results.estimates if e.id == PHASE.id]
    rows = [
        (
            Cell(e.group[Complications.phase], heading=True),
            number_cell(e),
            Cell("; ".join(e.notes())),
        )
        for e in found
        if e.group
    ]
    return Table("complication-phases", "Recorded complications by phase of treatment", (
        "Phase", "Patients, events/n (%, 95 % interval)", "Notes"), tuple(rows), (
        "Every recorded event, whatever it is attributed to: attribution is to the embolization "
        "only. A patient can stand in several phases.",))


def events_by_field_table(results: Results) -> Table:
    """The events themselves at each level of each field."""
    rows = []
    for column in EVENT_COLUMNS:
        for e in results.estimates:
            if e.id == EVENT_SHARE.id and e.group and column in e.group:
                rows.append((Cell(GROUP_LABELS[column], heading=True), Cell(e.group[column]),
                             number_cell(e)))
    return Table("complication-events", "Embolization complications, events by severity and more", (
        "Field", "Level", "Events, events/n (%, 95 % interval)"), tuple(rows), (
        "Shares of the events, not of the patients; intervals by patient.",), folded=True)


def events_table(results: Results, *, study_codes: bool = True) -> Table:
    """Every recorded complication, one a row, counted or not and why.

    With study codes it stays inside the service; without, patients are numbered in the order of
    the table and neither code nor date is shown, so that it may leave the service.
    """
    rows = listed_events(results.units)
    first = _names(rows, study_codes)
    session = rows["session_text"] if study_codes else rows["at_session"].map(recorded)
    body = tuple(
        (Cell(name, heading=True), Cell(f"{at} (by date)" if by_date else str(at)),
         *(Cell(recorded(value)) for value in rest))
        for name, at, by_date, rest in zip(
            first, session, rows["placed_by_date"] & rows["at_session"].notna(),
            rows[list(LISTED)].itertuples(index=False), strict=True))
    notes = ["A row that names no session belongs to the latest session on or before its onset: "
             "such rows say “by date”."]
    if not study_codes:
        notes.append("A rare event can be recognised even without a name.")
    return Table("events", "Every recorded complication", (
        "Event", "Session", *LISTED.values()), body, tuple(notes), folded=True)


def _names(rows: pd.DataFrame, study_codes: bool) -> Iterable[str]:
    if study_codes:
        return rows["key"].astype(str)
    number = pd.Series(pd.factorize(rows[Patients.patient_id])[0] + 1, index=rows.index)
    event = rows.groupby(Patients.patient_id).cumcount() + 1
    return "Patient " + number.astype(str) + ", event " + event.astype(str)


def _placed(results: Results) -> Paragraph:
    """How many events there are, in how many units, and how many had to be placed by date."""
    events = results.units.events
    by_date = events["placed_by_date"].astype(bool)
    found = Estimate(
        id=EVENTS, kind="count", value=float(len(events)), n=len(events), unit="event",
        method="count", clusters=int(events[Patients.patient_id].nunique()),
        counted=counted_rows(events["key"], by_date), events=int(by_date.sum()))
    by_dates = "none" if not found.events else f"{found.events:,}"
    said = (f"{found.n:,} embolization {'complication' if found.n == 1 else 'complications'} in "
            f"{found.clusters:,} {'patient' if found.clusters == 1 else plural('patient')}; "
            f"{by_dates} of them had to be placed at a session by the dates.")
    return Paragraph((Sentence(said, (found,)), Sentence(
        "Each measure counts a session or patient once, however many such events it had.")))
