"""How often someone was harmed: the complication.* and combined.* estimates.

All use the one set of embolization complications (`Units.events`), except the combined measure,
which counts every treatment phase.
"""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from analyses.measures.counting import any_known
from analyses.measures.gate import Known, unseen
from analyses.measures.measure import Counts, Direction, Notes, Share
from analyses.measures.places import Place
from analyses.population.counted_events import LESION, unit_key
from analyses.population.unit_frames import Units, once
from analyses.population.vital_status import (
    WINDOW,
    deaths_from_an_event,
    deaths_from_any_cause,
    last_contact,
    outcome_known,
    vital_known,
)
from registry.schema import Complications, Injections, Lesions, Patients, Resections, Sessions

HAEMORRHAGIC = ("intracranial haemorrhage", "vessel perforation")
ISCHAEMIC_WITH_DEFICIT = ("unintended vessel occlusion", "thromboembolism", "dissection")
TREATMENT_PHASES = ("embolization", "resection", "radiosurgery")


Flag = Callable[[pd.DataFrame], pd.Series]
"""The set of events → whether each is one that the measure counts (boolean; blank: not known)."""


def every_event(events: pd.DataFrame) -> pd.Series:
    """Every event of the set."""
    return pd.Series(True, index=events.index, dtype="boolean")


def symptomatic(events: pd.DataFrame) -> pd.Series:
    """Events with symptoms; a deficit or death is one, whatever else is recorded of it."""
    return events[Complications.symptomatic].astype("boolean") | deficit_or_death(events).fillna(
        False)


def haemorrhagic(events: pd.DataFrame) -> pd.Series:
    """Intracranial haemorrhages and vessel perforations."""
    return events[Complications.kind].isin(HAEMORRHAGIC).astype("boolean")


def haemorrhagic_symptomatic(events: pd.DataFrame) -> pd.Series:
    """The same, with symptoms."""
    return haemorrhagic(events) & symptomatic(events)


def haemorrhagic_without_navigation(events: pd.DataFrame) -> pd.Series:
    """The same, other than by navigation; blank where the mechanism is not recorded."""
    navigation = events[Complications.mechanism].eq("navigation perforation").astype("boolean")
    return haemorrhagic(events) & ~navigation.where(events[Complications.mechanism].notna())


def ischaemic(events: pd.DataFrame) -> pd.Series:
    """Ischaemic stroke; or unintended occlusion, thromboembolism or dissection with a deficit."""
    unknown = events[Complications.deficit].eq("not yet known")
    deficit = events[Complications.deficit].isin(["transient", "permanent"]).astype("boolean")
    with_deficit = events[Complications.kind].isin(ISCHAEMIC_WITH_DEFICIT) & deficit.mask(unknown)
    return events[Complications.kind].eq("ischaemic stroke").astype("boolean") | with_deficit


def deficit_or_death(events: pd.DataFrame) -> pd.Series:
    """Any new deficit, transient or permanent, or death; blank where no deficit is recorded."""
    deficit = events[Complications.deficit]
    found = deficit.isin(["transient", "permanent"]).astype("boolean")
    return found.mask(deficit.isna() | deficit.eq("not yet known")) | _fatal(events)


def _fatal(events: pd.DataFrame) -> pd.Series:
    return events[Complications.death].fillna(False).astype("boolean")


def permanent_or_death(events: pd.DataFrame) -> pd.Series:
    """Permanent deficit or death from the event; blank while the deficit is not yet known."""
    permanent = events[Complications.deficit].eq("permanent").astype("boolean")
    permanent = permanent.mask(events[Complications.deficit].eq("not yet known"))
    return permanent | _fatal(events)


def marked_units(units: Units, unit: str, flag: pd.Series) -> pd.DataFrame:
    """The unit frame of `unit` (injection, session, lesion or patient) with a column `event`.

    An event that names no injection may belong to any of its session: their outcome is blank,
    unless one of them has an event of its own.
    """
    events = units.events
    if unit == "injection":
        return _marked_injections(units, flag)
    if unit == "session":
        rows, frame = events.assign(name=events["session_key"]), units.sessions
    elif unit == "lesion":
        frame = units.lesions[units.lesions["embolized"]]
        # An event written under a lesion that was never embolized counts for the one that was.
        own = unit_key(events, LESION)
        embolized = own.isin(set(frame["key"]))
        rows = events.assign(name=own.where(
            embolized, unit_key(events, [Patients.patient_id, "at_lesion"])))
    else:
        rows = events.assign(name=events[Patients.patient_id])
        frame = units.patients[units.patients["embolized"]]
    return frame.assign(event=any_known(frame, "key", rows, flag[rows.index], "name"))


def _marked_injections(units: Units, flag: pd.Series) -> pd.DataFrame:
    events, frame = units.events, units.injections
    named = _names_injection(events)
    rows = events[named].assign(name=unit_key(events[named], [
        Patients.patient_id, Lesions.lesion_no, Sessions.session_no, Injections.injection_no]))
    found = any_known(frame, "key", rows, flag[rows.index], "name")
    maybe = set(events.loc[~named & ~flag.eq(False).fillna(False).astype(bool), "session_key"])
    open_ = frame["session_key"].isin(maybe) & found.eq(False).fillna(False).astype(bool)
    return frame.assign(event=found.mask(open_))


def _names_injection(events: pd.DataFrame) -> pd.Series:
    return events[Injections.injection_no].notna() & ~events["placed_by_date"]


def seen_after(units: Units, unit: str) -> pd.Series:
    """Whether each session, or each patient after every session of theirs, was seen at 30 days.

    Seen: with a row on or after day 30 that records how the patient was, or known to have died; a
    try that was answered is not enough. Indexed as the unit frame.
    """
    known = units.sessions["key"].isin(outcome_known(units))
    if unit == "session":
        return known
    unseen_after = set(units.sessions.loc[~known, Patients.patient_id])
    patients = units.patients[units.patients["embolized"]]
    return ~patients["key"].isin(unseen_after)


def units_with_death(units: Units, unit: str, dead: set[str]) -> pd.DataFrame:
    """Sessions or patients with `event`: followed by one of these deaths within 30 days.

    dead: keys of sessions; a death belongs to the latest session on or before it, so that it is
    counted once. Blank where vital status 30 days after the session is not known.
    """
    known = vital_known(units)
    sessions = units.sessions.assign(event=units.sessions["key"].isin(dead).astype("boolean"))
    alive_known = sessions["key"].isin(known)
    sessions["event"] = sessions["event"].mask(~alive_known & ~sessions["event"])
    if unit == "session":
        return sessions
    patients = units.patients[units.patients["embolized"]]
    return patients.assign(event=any_known(
        patients, "key", sessions, sessions["event"], Patients.patient_id))


@once
def combined_patients(units: Units) -> pd.DataFrame:
    """Patients treated; `event`: new permanent deficit or death from any treatment phase.

    Blank while such a deficit is not yet known (see `treatment_harm`), and where a patient
    without one was not seen 30 days or more after the last treatment (`lost`).
    """
    rows = treatment_harm(units)
    harmed = any_known(units.patients, "key", rows, rows["harmed"], Patients.patient_id)
    return unseen(units.patients.assign(event=harmed), seen_after_treatment(units, units.patients))


@once
def combined_lesions(units: Units) -> pd.DataFrame:
    """Lesions treated; `event` and `lost` as for patients, by what was recorded of the lesion.

    A death put down to treatment without a lesion counts for every lesion of the patient.
    """
    return unseen(units.lesions.assign(event=lesion_harm(units, units.lesions)),
                  seen_after_treatment(units, units.lesions))


def lesion_harm(units: Units, lesions: pd.DataFrame) -> pd.Series:
    """Of each lesion of the frame: permanent deficit or death from any treatment of it (or blank).

    lesions: rows with `key` and `patient_id`.
    """
    harm = treatment_harm(units)
    own = harm[harm[Lesions.lesion_no].notna()]
    own = own.assign(name=unit_key(own, LESION))
    nowhere = harm[harm[Lesions.lesion_no].isna()]
    of_lesion = any_known(lesions, "key", own, own["harmed"], "name")
    of_patient = any_known(lesions, Patients.patient_id, nowhere, nowhere["harmed"],
                           Patients.patient_id)
    found: pd.Series = of_lesion | of_patient
    return found


def seen_after_treatment(units: Units, frame: pd.DataFrame) -> pd.Series:
    """Whether each row's patient was seen, or had died, 30 days after its last treatment or later.

    frame: patients or lesions with `patient_id` and `last_treatment`.
    """
    last = frame[Patients.patient_id].map(last_contact(dict(units.tables)))
    died = frame[Patients.patient_id].map(
        units.tables["patients"].set_index(Patients.patient_id)[Patients.death_date])
    seen: pd.Series = died.notna() | (last >= frame["last_treatment"] + WINDOW)
    return seen


@once
def treatment_harm(units: Units) -> pd.DataFrame:
    """Everything that could be lasting harm from treatment: `patient_id`, `lesion_no`, `harmed`.

    Counted: complications put down to a treatment (or in a treatment's phase and not put down
    to the natural history), a new deficit after a resection, and a death whose cause is
    treatment (without a lesion). `harmed` (boolean) is a permanent deficit or death, blank while
    the deficit is not yet known.
    """
    rows = units.tables["complications"]
    # Attribution is to the embolization only: it clears an event of the embolization phase,
    # but says nothing of one after a resection.
    elsewhere = rows[Complications.cause].eq("natural history").fillna(False) | (
        rows[Complications.phase].eq("embolization")
        & rows[Complications.attribution].eq("unrelated")
    )
    own_phase = rows[Complications.phase].isin(TREATMENT_PHASES) & ~elsewhere
    counted = own_phase | rows[Complications.cause].isin(TREATMENT_PHASES).fillna(False)
    counted |= _in_set(rows, units.events)
    events = rows[counted.astype(bool)]
    operated = units.tables["resections"]
    after = operated[Resections.deficit].eq("permanent").astype("boolean")
    people = units.tables["patients"][[Patients.patient_id, Patients.death_cause]]
    return pd.concat(
        [
            events[LESION].assign(harmed=permanent_or_death(events)),
            operated[LESION].assign(
                harmed=after.mask(operated[Resections.deficit].eq("not yet known"))
            ),
            people[[Patients.patient_id]].assign(
                lesion_no=pd.Series(pd.NA, index=people.index, dtype="Int64"),
                harmed=people[Patients.death_cause].eq("treatment").astype("boolean").fillna(False),
            ),
        ],
        ignore_index=True,
    )


def _placement_notes(units: Units, unit: str, flag: pd.Series) -> list[str]:
    """How events were placed, where the reader has to know it."""
    events = units.events[flag.fillna(False).astype(bool)]
    if unit == "injection":
        nameless = int((~_names_injection(events)).sum())
        return [f"{_events(nameless)} naming no injection"] if nameless else []
    notes = []
    by_date = int(events["placed_by_date"].sum())
    if unit == "session" and by_date:
        notes.append(f"{_events(by_date)} without a session placed by date")
    apart = int(_not_separated(events).sum())
    if apart:
        notes.append(f"{_events(apart)} not separated from another treatment counted here")
    return notes


def _not_separated(events: pd.DataFrame) -> pd.Series:
    """Events that cannot be separated, or in another treatment's phase without a recorded cause."""
    blank = events[Complications.cause].isna() & events[Complications.phase].isin(
        ["resection", "radiosurgery"]).fillna(False)
    return blank | events[Complications.cause].eq("cannot be separated").fillna(False)


def _in_set(rows: pd.DataFrame, events: pd.DataFrame) -> pd.Series:
    keys = unit_key(rows, [*LESION, Complications.complication_no])
    return keys.isin(set(events["key"]))


def _events(count: int) -> str:
    return f"{count} event" if count == 1 else f"{count} events"


def with_event(flag: Flag) -> Counts:
    """Units with at least one event that is flagged."""
    def counts(units: Units, unit: str) -> pd.DataFrame:
        return marked_units(units, unit, flag(units.events))

    return counts


def placement(flag: Flag) -> Notes:
    """How the flagged events were placed, where the reader has to know it."""
    def notes(units: Units, unit: str) -> list[str]:
        return _placement_notes(units, unit, flag(units.events))

    return notes


def _dead(deaths: Callable[[Units], set[str]]) -> Counts:
    def counts(units: Units, unit: str) -> pd.DataFrame:
        return units_with_death(units, unit, deaths(units))

    return counts


def _retained(units: Units, unit: str) -> pd.DataFrame:
    return units.catheters.assign(event=units.catheters["retained"])


def _seen_with_event(flag: Flag) -> Counts:
    """The same, blank in units without an event that nobody saw 30 days later (`lost`)."""
    def counts(units: Units, unit: str) -> pd.DataFrame:
        return unseen(marked_units(units, unit, flag(units.events)), seen_after(units, unit))

    return counts


def _combined(units: Units, unit: str) -> pd.DataFrame:
    return combined_lesions(units) if unit == "lesion" else combined_patients(units)


WINDOW_DAYS = 30
FOUR = ("injection", "session", "lesion", "patient")
TWO = ("session", "patient")
PER_SESSION, PER_PATIENT, PER_CATHETER = ("session",), ("patient",), ("catheter",)
IN_TABLES = {Place.HARM_TABLE: TWO, Place.HARM_ALL_UNITS: TWO}
THE_SET = ("complications.attribution", "complications.onset_date", "complications.session_no",
           "sessions.session_date")
BY_HAND = "counted by hand on the small cohort; interval against R survey"
AMONG_STATUS = "{units} whose vital status at 30 days is known"

ANY = Share(
    id="complication.any", units=FOUR, label="Any complication",
    subject="any embolization complication",
    counted="{units} with at least one event: not unrelated to the embolization, onset from "
            "vascular access to 30 days after a session",
    among="{units}", direction=Direction.HARM, window_days=WINDOW_DAYS,
    # Per injection: which one an event that names none belongs to.
    known=Known.ONLY_WITH_AN_EVENT,
    counts=with_event(every_event), notes=placement(every_event),
    shown_in={Place.HARM_TABLE: TWO, Place.HARM_ALL_UNITS: FOUR,
              Place.HARM_OTHER_UNITS: ("injection", "lesion"), Place.HARM_BY_UNIT: FOUR,
              Place.HARM_TEXT: TWO, Place.HARM_BY_GROUP: PER_SESSION, Place.SUMMARY: PER_SESSION,
              Place.DEFINITIONS: FOUR, Place.DIFFERENCES_DRAWN: PER_SESSION,
              Place.QUALITY_OUTCOME: PER_SESSION, Place.COMPARED: PER_SESSION,
              Place.CASE_ANY: PER_SESSION, Place.PRECISION: PER_SESSION,
              Place.MODELLED: PER_SESSION, Place.MONITORED: PER_SESSION},
    answers=("avm-endovascular: Complications", "avm-terminology: Complications",
             "process 14", "strobe 15"),
    comparable=("any complication",), uses=THE_SET, checked_against=BY_HAND)
SYMPTOMATIC = Share(
    id="complication.symptomatic", units=FOUR, label="Symptomatic complication",
    subject="a symptomatic embolization complication",
    counted="{units} with at least one symptomatic event of that set", among="{units}",
    direction=Direction.HARM, window_days=WINDOW_DAYS, known=Known.ONLY_WITH_AN_EVENT,
    counts=with_event(symptomatic), notes=placement(symptomatic),
    shown_in={Place.HARM_TABLE: TWO, Place.HARM_ALL_UNITS: FOUR,
              Place.HARM_OTHER_UNITS: ("injection", "lesion"), Place.HARM_TEXT: PER_SESSION,
              Place.HARM_BY_GROUP: PER_SESSION, Place.QUALITY_OUTCOME: PER_SESSION,
              Place.COMPARED: PER_SESSION},
    comparable=("clinically significant complication",),
    uses=(*THE_SET, "complications.symptomatic", "complications.deficit", "complications.death"),
    checked_against=BY_HAND)
HAEMORRHAGIC_EVENT = Share(
    id="complication.haemorrhagic", units=TWO, label="Haemorrhagic complication",
    subject="a haemorrhagic complication",
    counted="{units} with an intracranial haemorrhage or a vessel perforation of that set",
    among="{units}", direction=Direction.HARM, window_days=WINDOW_DAYS,
    counts=with_event(haemorrhagic), notes=placement(haemorrhagic),
    shown_in={**IN_TABLES, Place.HARM_TEXT: PER_SESSION, Place.DEFINITIONS: TWO},
    comparable=("haemorrhagic complication",), uses=(*THE_SET, "complications.kind"),
    checked_against=BY_HAND)
HAEMORRHAGIC_SYMPTOMATIC = Share(
    id="complication.haemorrhagic_symptomatic", units=TWO,
    label="Haemorrhagic complication, symptomatic",
    subject="a symptomatic haemorrhagic complication",
    counted="{units} with a symptomatic intracranial haemorrhage or vessel perforation of that "
            "set",
    among="{units}", direction=Direction.HARM, window_days=WINDOW_DAYS,
    known=Known.ONLY_WITH_AN_EVENT, counts=with_event(haemorrhagic_symptomatic),
    notes=placement(haemorrhagic_symptomatic), shown_in=IN_TABLES,
    uses=(*THE_SET, "complications.kind", "complications.symptomatic"), checked_against=BY_HAND)
HAEMORRHAGIC_WITHOUT_NAVIGATION = Share(
    id="complication.haemorrhagic_without_navigation", units=TWO,
    label="Haemorrhagic complication, navigation perforation left out",
    subject="a haemorrhagic complication other than navigation perforation",
    counted="{units} with an intracranial haemorrhage or vessel perforation of that set whose "
            "mechanism is not navigation perforation",
    among="{units} where the mechanism is known", direction=Direction.HARM,
    window_days=WINDOW_DAYS, known=Known.ONLY_WITH_AN_EVENT,
    counts=with_event(haemorrhagic_without_navigation),
    notes=placement(haemorrhagic_without_navigation), shown_in=IN_TABLES,
    comparable=("haemorrhage unrelated to navigation perforation",),
    uses=(*THE_SET, "complications.kind", "complications.mechanism"), checked_against=BY_HAND)
ISCHAEMIC = Share(
    id="complication.ischaemic", units=TWO, label="Ischaemic complication",
    subject="an ischaemic complication",
    counted="{units} with an ischaemic stroke, or with an unintended vessel occlusion, "
            "thromboembolism or dissection that left a deficit",
    among="{units}", direction=Direction.HARM, window_days=WINDOW_DAYS,
    known=Known.ONLY_WITH_AN_EVENT, counts=with_event(ischaemic), notes=placement(ischaemic),
    shown_in={**IN_TABLES, Place.HARM_TEXT: PER_SESSION, Place.DEFINITIONS: TWO},
    uses=(*THE_SET, "complications.kind", "complications.deficit"), checked_against=BY_HAND)
PERMANENT_DEFICIT = Share(
    id="complication.permanent_deficit", units=TWO,
    label="Permanent deficit or death from embolization",
    subject="permanent deficit or death from an embolization complication",
    counted="{units} with an event of that set that left a permanent deficit or death",
    among="{units} whose outcome at 30 days is known", direction=Direction.HARM,
    window_days=WINDOW_DAYS, known=Known.ONLY_WITH_AN_EVENT,
    counts=_seen_with_event(permanent_or_death), notes=placement(permanent_or_death),
    shown_in={**IN_TABLES, Place.HARM_TEXT: PER_PATIENT, Place.HARM_BY_GROUP: PER_SESSION,
              Place.DEFINITIONS: TWO, Place.QUALITY_OUTCOME: PER_SESSION, Place.HARM_DETAIL: TWO,
              Place.COMPARED: PER_SESSION, Place.QUESTIONED: PER_SESSION,
              Place.MODELLED: PER_SESSION},
    answers=("avm-endovascular: Deficit and death",),
    comparable=("permanent deficit or death",),
    uses=(*THE_SET, "complications.deficit", "complications.death"), checked_against=BY_HAND)
NEW_DEFICIT = Share(
    id="complication.new_deficit", units=TWO, label="Any new deficit or death from embolization",
    subject="a new deficit, lasting or not, or death from an embolization complication",
    counted="{units} with an event of that set that left a deficit, transient or permanent, or "
            "death",
    among="{units} whose outcome at 30 days is known", direction=Direction.HARM,
    window_days=WINDOW_DAYS, known=Known.ONLY_WITH_AN_EVENT,
    counts=_seen_with_event(deficit_or_death), notes=placement(deficit_or_death),
    shown_in={Place.HARM_TABLE: TWO, Place.HARM_ALL_UNITS: TWO, Place.DEFINITIONS: TWO},
    comparable=("any new deficit",),
    uses=(*THE_SET, "complications.deficit", "complications.death"), checked_against=BY_HAND)
DEATH_30D = Share(
    id="complication.death_30d", units=TWO, label="Death from a complication within 30 days",
    subject="death from an embolization complication within 30 days",
    counted="{units} with a death from an event of that set within 30 days of the session",
    among=AMONG_STATUS, direction=Direction.HARM, window_days=WINDOW_DAYS,
    counts=_dead(deaths_from_an_event), shown_in=IN_TABLES,
    uses=(*THE_SET, "complications.death", "patients.death_date"), checked_against=BY_HAND)
DEATH_ALL_CAUSE = Share(
    id="death.all_cause_30d", units=TWO, label="Death from any cause within 30 days",
    subject="death from any cause within 30 days of a session",
    counted="{units} followed by death from any cause within 30 days", among=AMONG_STATUS,
    direction=Direction.HARM, window_days=WINDOW_DAYS, counts=_dead(deaths_from_any_cause),
    shown_in={**IN_TABLES, Place.HARM_TEXT: PER_PATIENT},
    uses=("patients.death_date", "sessions.session_date", "follow_ups.follow_up_date"),
    checked_against=BY_HAND)
COMBINED = Share(
    id="combined.permanent_deficit_or_death", units=("patient", "lesion"),
    label="Permanent deficit or death from any treatment",
    subject="a new permanent deficit or death from any treatment phase",
    counted="{units} with a new permanent deficit or death from embolization, resection or "
            "radiosurgery",
    among="{units} treated whose status 30 days after the last treatment is known",
    direction=Direction.HARM,
    known=Known.ONLY_WITH_AN_EVENT, counts=_combined,
    shown_in={Place.HARM_TABLE: PER_PATIENT, Place.HARM_ALL_UNITS: ("patient", "lesion"),
              Place.HARM_TEXT: PER_PATIENT, Place.HARM_BY_GROUP: PER_PATIENT,
              Place.HEADLINE: PER_PATIENT, Place.DEFINITIONS: PER_PATIENT,
              Place.COMPARED: PER_PATIENT, Place.QUESTIONED: PER_PATIENT},
    uses=("complications.deficit", "complications.death", "complications.cause",
          "complications.phase", "resections.deficit", "patients.death_cause"),
    checked_against=BY_HAND)
RETAINED_CATHETER = Share(
    id="complication.retained_catheter", units=PER_CATHETER, label="Retained catheter",
    subject="a catheter retained in part or whole, not by design",
    counted="catheters retained in part or whole, not by design",
    among="catheters used whose retrieval is recorded", direction=Direction.HARM,
    counts=_retained,
    shown_in={Place.HARM_OTHER_UNITS: PER_CATHETER, Place.HARM_ALL_UNITS: PER_CATHETER,
              Place.HARM_TEXT: PER_CATHETER, Place.HARM_DETAIL: PER_CATHETER,
              Place.QUALITY_BALANCING: PER_CATHETER},
    uses=("injections.retrieval", "injections.catheter_no"), checked_against=BY_HAND)
