"""Complications in detail: kind, timing, severity and attribution, and every event in a list.

All but the phases use the one set of embolization complications (`Units.events`). A unit with
several events of one kind counts once for it: the same event, or two alike, are never counted
twice in one share. Shares of events (not of patients) describe the events only.
"""

from __future__ import annotations

import pandas as pd

from analyses.measures import catalogue_time as _words  # noqa: F401  (the names of these estimates)
from analyses.measures.counting import UNKNOWN, any_known, levels, share
from analyses.measures.harm import marked_units
from analyses.population.counted_events import LESION, placed, unit_key
from analyses.population.unit_frames import NOT_RECORDED, Units, as_group
from analyses.statistics.estimate import Estimate, replaced
from registry.schema import TABLES

UNITS = ("session", "patient")
KINDS: tuple[str, ...] = tuple(TABLES["complications"].by_name["kind"].values)
PHASES: tuple[str, ...] = tuple(TABLES["complications"].by_name["phase"].values)
GRADE_III_OR_MORE = ("IIIa", "IIIb", "IVa", "IVb", "V")
NO_LONGER_EARLY_DAYS = 2
"""Days after the session from which an event without its hour was surely later than 24 h."""

EVENT_COLUMNS = ("deficit", "clavien_dindo", "mrs_30d", "attribution", "mechanism", "rescue",
                 "preventable")
"""Fields of the events whose levels are given as shares of the events."""

UNKNOWN_WORDS = {
    "complication.within_24h": "with an event of unknown hour",
    "complication.after_24h": "with an event of unknown hour",
    "complication.clavien_dindo_3": "with an event without a grade",
    "complication.worse_at_30d": "with an event without an mRS at 30 days",
}

PHASE_UNITS = {"embolization": "first_session", "between treatments": "first_session",
               "resection": "first_resection", "radiosurgery": "first_radiosurgery",
               "follow-up": "first_treatment"}
"""Phase → the treatment a patient must have had to be in its denominator."""


def complication_detail(units: Units) -> list[Estimate]:
    """All estimates on single kinds, times and severities of complications.

    `complication.kind` by kind; the measures of `detail_flags`; `complication.phase` by phase
    (patients, every recorded complication); `complication.event_share` (unit event) by field;
    `complication.patient_with_retained_catheter`.
    """
    found: list[Estimate] = []
    kind = units.events["kind"]
    for unit in UNITS:
        for level in KINDS:
            found.append(_share_with(units, unit, kind.eq(level).astype("boolean"),
                                     "complication.kind", {"kind": level}))
    for id, flag in detail_flags(units).items():
        found += [_share_with(units, unit, flag, id, unknown=UNKNOWN_WORDS.get(id, UNKNOWN))
                  for unit in UNITS]
    found += phase_estimates(units)
    found += event_shares(units)
    found.append(retained_catheter_patients(units))
    return found


def detail_flags(units: Units) -> dict[str, pd.Series]:
    """For each measure, whether each event of the set is one (boolean, blank where not known)."""
    events = units.events
    early = within_24_h(events)
    before = events["patient_id"].map(
        units.tables["patients"].set_index("patient_id")["mrs_before"])
    harmless = events["symptomatic"].eq(False).fillna(False) & events["deficit"].eq("none")
    worse = (events["mrs_30d"] > before).astype("boolean")
    clavien = events["clavien_dindo"].isin(GRADE_III_OR_MORE).astype("boolean")
    died = events["death"].fillna(False).astype("boolean")
    transient = events["deficit"].eq("transient").astype("boolean")
    return {
        "complication.within_24h": early,
        "complication.after_24h": ~early,
        "complication.transient_deficit": transient.mask(
            events["deficit"].eq("not yet known")),
        # Death from the event is grade V, and mRS 6, whether written there or not.
        "complication.clavien_dindo_3": clavien.where(events["clavien_dindo"].notna()) | died,
        "complication.worse_at_30d": worse.mask(harmless.astype(bool), False) | died,
        "complication.definite_or_probable":
            events["attribution"].isin(["definite", "probable"]).astype("boolean"),
    }


def within_24_h(events: pd.DataFrame) -> pd.Series:
    """Whether each event came within 24 h of the procedure (boolean).

    By the hour where it is recorded; else by the days: on the day itself yes, from the second
    day on no; on the day after it cannot be told. Only the embolization's own clock counts: the
    hours after an operation say nothing of it.
    """
    days = events["days_after"].astype("Int64")
    by_days = days.eq(0).astype("boolean").mask(days.eq(1))
    hours = events["hours_after"].astype("Float64")
    own = events["phase"].isin(["embolization", "between treatments"]).astype(bool)
    by_hours = hours.le(24).astype("boolean")
    return by_hours.where(own & hours.notna(), by_days).astype("boolean")


def phase_estimates(units: Units) -> list[Estimate]:
    """Patients with any recorded complication in each phase, over those who had its treatment.

    Every row counts here, whatever it is attributed to: attribution is to the embolization alone.
    """
    rows = units.tables["complications"]
    firsts = units.lesions.groupby("patient_id")[list(dict.fromkeys(PHASE_UNITS.values()))].min()
    found = []
    for phase in PHASES:
        had = units.patients["key"].map(firsts[PHASE_UNITS[phase]]).notna()
        people = units.patients[had]
        mine = rows[rows["phase"].eq(phase).fillna(False)]
        flag = pd.Series(True, index=mine.index, dtype="boolean")
        event = any_known(people, "key", mine.assign(name=mine["patient_id"]), flag, "name")
        found.append(share(people.assign(event=event), "event", id="complication.phase",
                           unit="patient", group={"phase": phase}))
    return found


def event_shares(units: Units) -> list[Estimate]:
    """Share of the events at each level of each field; what is not recorded is a level too."""
    events = units.events
    found = []
    for column in EVENT_COLUMNS:
        labels = as_group(events[column])
        for level in levels(labels, column):
            rows = events.assign(event=labels.eq(level).astype("boolean"))
            found.append(share(rows, "event", id="complication.event_share", unit="event",
                               group={column: level}))
    return found


def retained_catheter_patients(units: Units) -> Estimate:
    """Patients with a catheter retained, not by design; what the two tables disagree on is said.

    From the injections (how each catheter came out); the complications rows of that kind beside.
    """
    people = units.patients[units.patients["embolized"]]
    used = units.catheters
    event = any_known(people, "key", used, used["retained"], "patient_id")
    found = share(people.assign(event=event), "event", unit="patient",
                  id="complication.patient_with_retained_catheter",
                  unknown="with a catheter whose retrieval is not recorded")
    kept = set(used.loc[used["retained"].fillna(False).astype(bool), "patient_id"])
    written = set(units.events.loc[units.events["kind"].eq("retained catheter"), "patient_id"])
    said = [f"{len(one)} of them without {words}" for one, words in (
        (kept - written, "a complications row of it"),) if one]
    said += [f"{len(written - kept)} more by a complications row only"] if written - kept else []
    return replaced(found, flags=(*found.flags, *said))


def listed_events(units: Units) -> pd.DataFrame:
    """Every recorded complication, one a row, counted or not, ordered by patient and onset.

    The columns of `placed`, `key`, `session_key` text, and `counted`: "yes", or why not.
    """
    rows = placed(units.tables["complications"], units.tables["sessions"])
    keys = unit_key(rows, [*LESION, "complication_no"])
    counted = keys.isin(set(units.events["key"]))
    why = pd.Series("no: after day 30", index=rows.index, dtype="string")
    why = why.mask(rows["at_session"].isna() | rows["days_after"].isna(), "no: no session before")
    why = why.mask(rows["attribution"].eq("unrelated").fillna(False), "no: unrelated")
    found = rows.assign(
        key=keys, counted=why.mask(counted, "yes"),
        session_text=unit_key(rows, ["patient_id", "at_lesion", "at_session"]).fillna(
            NOT_RECORDED))
    order = ["patient_id", "onset_date", "lesion_no", "complication_no"]
    return found.sort_values(order, kind="stable", ignore_index=True)


def _share_with(
    units: Units, unit: str, flag: pd.Series, id: str, group: dict[str, str] | None = None, *,
    unknown: str = UNKNOWN,
) -> Estimate:
    """Share of units with at least one event that is flagged."""
    return share(marked_units(units, unit, flag), "event", id=id, unit=unit, group=group,
                 unknown=unknown)
