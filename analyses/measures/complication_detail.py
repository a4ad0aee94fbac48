"""Complications in detail: kind, timing, severity and attribution, and every event in a list.

All but the phases use the one set of embolization complications (`Units.events`). A unit with
several events of one kind counts once for it: the same event, or two alike, are never counted
twice in one share. Shares of events (not of patients) describe the events only.
"""

from __future__ import annotations

import pandas as pd

from analyses.measures.counting import UNKNOWN, any_known, levels, share
from analyses.measures.gate import Known
from analyses.measures.harm import THE_SET, marked_units, with_event
from analyses.measures.measure import Counts, Direction, Share, Worked
from analyses.measures.places import Place
from analyses.population.counted_events import LESION, placed, unit_key
from analyses.population.unit_frames import NOT_RECORDED, Units, as_group
from analyses.statistics.estimate import Estimate, replaced
from registry.schema import TABLES, Complications, Lesions, Patients

UNITS = ("session", "patient")
KINDS: tuple[str, ...] = tuple(TABLES["complications"].by_name[Complications.kind].values)
PHASES: tuple[str, ...] = tuple(TABLES["complications"].by_name[Complications.phase].values)
GRADE_III_OR_MORE = ("IIIa", "IIIb", "IVa", "IVb", "V")
NO_LONGER_EARLY_DAYS = 2
"""Days after the session from which an event without its hour was surely later than 24 h."""

EVENT_COLUMNS = (
    Complications.deficit,
    Complications.clavien_dindo,
    Complications.mrs_30d,
    Complications.attribution,
    Complications.mechanism,
    Complications.rescue,
    Complications.preventable,
)
"""Fields of the events whose levels are given as shares of the events."""

PHASE_UNITS = {"embolization": "first_session", "between treatments": "first_session",
               "resection": "first_resection", "radiosurgery": "first_radiosurgery",
               "follow-up": "first_treatment"}
"""Phase → the treatment a patient must have had to be in its denominator."""


def kind_estimates(units: Units) -> list[Estimate]:
    """`complication.kind` by kind, per session and per patient; kinds never seen as well."""
    kind = units.events[Complications.kind]
    return [
        share(marked_units(units, unit, kind.eq(level).astype("boolean")), "event",
              id="complication.kind", unit=unit, group={"kind": level})
        for unit in UNITS for level in KINDS]


def after_24_h(events: pd.DataFrame) -> pd.Series:
    """Whether each event came later than 24 h after the procedure (boolean)."""
    return ~within_24_h(events)


def transient(events: pd.DataFrame) -> pd.Series:
    """Whether each event left a transient deficit; blank while the deficit is not yet known."""
    found = events[Complications.deficit].eq("transient").astype("boolean")
    return found.mask(events[Complications.deficit].eq("not yet known"))


def grade_iii_or_more(events: pd.DataFrame) -> pd.Series:
    """Whether each event is of grade IIIa or more; death is grade V, written there or not."""
    clavien = events[Complications.clavien_dindo].isin(GRADE_III_OR_MORE).astype("boolean")
    died = events[Complications.death].fillna(False).astype("boolean")
    return clavien.where(events[Complications.clavien_dindo].notna()) | died


def definite_or_probable(events: pd.DataFrame) -> pd.Series:
    """Whether each event is attributed to the embolization as definite or probable.

    Blank while nobody has reviewed it: it counts as an event, and may be either.
    """
    found = events[Complications.attribution].isin(["definite", "probable"]).astype("boolean")
    return found.mask(events[Complications.attribution].eq("not reviewed"))


def worse_at_30_days(units: Units) -> pd.Series:
    """Whether the mRS 30 days after each event was above that before treatment (death: mRS 6)."""
    events = units.events
    before = events[Patients.patient_id].map(
        units.tables["patients"].set_index(Patients.patient_id)[Patients.mrs_before])
    harmless = events[Complications.symptomatic].eq(False).fillna(False) & events[
        Complications.deficit
    ].eq("none")
    worse = (events[Complications.mrs_30d] > before).astype("boolean")
    died = events[Complications.death].fillna(False).astype("boolean")
    return worse.mask(harmless.astype(bool), False) | died


def within_24_h(events: pd.DataFrame) -> pd.Series:
    """Whether each event came within 24 h of the procedure (boolean).

    By the hour where it is recorded; else by the days: on the day itself yes, from the second
    day on no; on the day after it cannot be told. Only the embolization's own clock counts: the
    hours after an operation say nothing of it.
    """
    days = events["days_after"].astype("Int64")
    by_days = days.eq(0).astype("boolean").mask(days.eq(1))
    hours = events[Complications.hours_after].astype("Float64")
    own = events[Complications.phase].isin(["embolization", "between treatments"]).astype(bool)
    by_hours = hours.le(24).astype("boolean")
    return by_hours.where(own & hours.notna(), by_days).astype("boolean")


def phase_estimates(units: Units) -> list[Estimate]:
    """Patients with any recorded complication in each phase, over those who had its treatment.

    Every row counts here, whatever it is attributed to: attribution is to the embolization alone.
    """
    rows = units.tables["complications"]
    firsts = units.lesions.groupby(Patients.patient_id)[
        list(dict.fromkeys(PHASE_UNITS.values()))
    ].min()
    found = []
    for phase in PHASES:
        had = units.patients["key"].map(firsts[PHASE_UNITS[phase]]).notna()
        people = units.patients[had]
        mine = rows[rows[Complications.phase].eq(phase).fillna(False)]
        flag = pd.Series(True, index=mine.index, dtype="boolean")
        event = any_known(people, "key", mine.assign(name=mine[Patients.patient_id]), flag, "name")
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


def retained_catheter_patients(units: Units) -> list[Estimate]:
    """Patients with a catheter retained, not by design; what the two tables disagree on is said.

    From the injections (how each catheter came out); the complications rows of that kind beside.
    """
    people = units.patients[units.patients["embolized"]]
    used = units.catheters
    event = any_known(people, "key", used, used["retained"], Patients.patient_id)
    found = share(people.assign(event=event), "event", unit="patient",
                  id="complication.patient_with_retained_catheter",
                  unknown="with a catheter whose retrieval is not recorded")
    kept = set(used.loc[used["retained"].fillna(False).astype(bool), Patients.patient_id])
    written = set(
        units.events.loc[
            units.events[Complications.kind].eq("retained catheter"), Patients.patient_id
        ]
    )
    said = [f"{len(one)} of them without {words}" for one, words in (
        (kept - written, "a complications row of it"),) if one]
    said += [f"{len(written - kept)} more by a complications row only"] if written - kept else []
    return [replaced(found, flags=(*found.flags, *said))]


def listed_events(units: Units) -> pd.DataFrame:
    """Every recorded complication, one a row, counted or not, ordered by patient and onset.

    The columns of `placed`, `key`, `session_key` text, and `counted`: "yes", or why not.
    """
    rows = placed(units.tables["complications"], units.tables["sessions"])
    keys = unit_key(rows, [*LESION, Complications.complication_no])
    counted = keys.isin(set(units.events["key"]))
    why = pd.Series("no: after day 30", index=rows.index, dtype="string")
    why = why.mask(rows["at_session"].isna() | rows["days_after"].isna(), "no: no session before")
    why = why.mask(rows[Complications.attribution].eq("unrelated").fillna(False), "no: unrelated")
    found = rows.assign(
        key=keys, counted=why.mask(counted, "yes"),
        session_text=unit_key(rows, [Patients.patient_id, "at_lesion", "at_session"]).fillna(
            NOT_RECORDED))
    order = [
        Patients.patient_id,
        Complications.onset_date,
        Lesions.lesion_no,
        Complications.complication_no,
    ]
    return found.sort_values(order, kind="stable", ignore_index=True)


def _worse(units: Units, unit: str) -> pd.DataFrame:
    return marked_units(units, unit, worse_at_30_days(units))


WINDOW_DAYS = 30
BY_HAND = "counted by hand on the small cohort"


def _detail(
    name: str, label: str, subject: str, counted: str, among: str, counts: Counts, uses: str,
    unknown: str = UNKNOWN, known: Known = Known.ONLY_WITH_AN_EVENT,
) -> Share:
    """A detail of the set of embolization complications, per session and per patient."""
    return Share(
        id=f"complication.{name}", units=UNITS, label=label, subject=subject, counted=counted,
        among=among, direction=Direction.HARM, window_days=WINDOW_DAYS, counts=counts, by=(),
        known=known, unknown=unknown, shown_in={Place.HARM_DETAIL: UNITS},
        uses=(*THE_SET, *(f"complications.{field}" for field in uses.split())),
        checked_against=BY_HAND)


KIND = Worked(
    id="complication.kind", units=UNITS, label="Complication by kind",
    subject="a complication of this kind",
    counted="{units} with at least one event of this kind (of the set of embolization "
            "complications)",
    among="{units}", direction=Direction.HARM, window_days=WINDOW_DAYS, work=kind_estimates,
    uses=(*THE_SET, "complications.kind"), checked_against=BY_HAND)
EARLY = _detail(
    "within_24h", "Complication within 24 h", "a complication within 24 h of a session",
    "{units} with an event within 24 h", "{units} where the time is known",
    with_event(within_24_h), "hours_after onset_date", "with an event of unknown hour")
LATE = _detail(
    "after_24h", "Complication after 24 h, to day 30", "a complication after 24 h, up to day 30",
    "{units} with an event later than 24 h after a session, up to day 30",
    "{units} where the time is known", with_event(after_24_h), "hours_after onset_date",
    "with an event of unknown hour")
TRANSIENT_DEFICIT = _detail(
    "transient_deficit", "Transient deficit",
    "a transient deficit from an embolization complication",
    "{units} with an event that left a transient deficit",
    "{units} whose outcome at 30 days is known", with_event(transient), "deficit")
CLAVIEN_DINDO_3 = _detail(
    "clavien_dindo_3", "Complication of Clavien–Dindo grade III or more",
    "a complication of Clavien–Dindo grade III or more",
    "{units} with an event of grade IIIa or more (Dindo 2004)", "{units} without an ungraded event",
    with_event(grade_iii_or_more), "clavien_dindo death", "with an event without a grade")
WORSE_AT_30D = _detail(
    "worse_at_30d", "mRS worse 30 days after a complication",
    "a worse mRS 30 days after a complication",
    "{units} with an event after which the mRS at 30 days was above that before treatment",
    "{units} where it is recorded (no symptoms and no deficit: not worse)", _worse,
    "mrs_30d symptomatic deficit death", "with an event without an mRS at 30 days")
DEFINITE = _detail(
    "definite_or_probable", "Complication, definite or probable",
    "a complication definitely or probably due to the embolization",
    "{units} with an event attributed to the embolization as definite or probable",
    "{units} without an event not reviewed yet", with_event(definite_or_probable), "attribution",
    "with an event that nobody has reviewed")
PHASE = Worked(
    id="complication.phase", units=("patient",), label="Complication by phase",
    subject="a complication in this phase",
    counted="patients with a recorded complication of the phase, whatever it is attributed to",
    among="patients who had the treatment of that phase", direction=Direction.HARM,
    work=phase_estimates, uses=("complications.phase",), checked_against=BY_HAND)
EVENT_SHARE = Worked(
    id="complication.event_share", units=("event",), label="Events",
    subject="an event at this level",
    counted="events at this level", among="events of the set of embolization complications",
    work=event_shares, uses=tuple(f"complications.{name}" for name in EVENT_COLUMNS),
    checked_against=BY_HAND)
RETAINED_PATIENT = Worked(
    id="complication.patient_with_retained_catheter", units=("patient",),
    label="Patient with a retained catheter", subject="a retained catheter",
    counted="patients with a catheter retained in part or whole, not by design",
    among="patients embolized whose retrievals are recorded", direction=Direction.HARM,
    work=retained_catheter_patients, shown_in={Place.HARM_DETAIL: ("patient",)},
    uses=("injections.retrieval", "complications.kind"), checked_against=BY_HAND)
