"""How often someone was harmed: the complication.* and combined.* estimates.

All use the one set of embolization complications (`Units.events`), except the combined measure,
which counts every treatment phase.
"""

from __future__ import annotations

import pandas as pd

from analyses.measures.counting import any_known, shares
from analyses.population.counted_events import LESION, unit_key
from analyses.population.unit_frames import GROUPINGS, Units
from analyses.population.vital_status import deaths_within_30_days, vital_known
from analyses.statistics.estimate import Estimate

HAEMORRHAGIC = ("intracranial haemorrhage", "vessel perforation")
ISCHAEMIC_WITH_DEFICIT = ("unintended vessel occlusion", "thromboembolism", "dissection")
TREATMENT_PHASES = ("embolization", "resection", "radiosurgery")


def complication_estimates(units: Units) -> list[Estimate]:
    """All complication.* and combined.* estimates of the plan, overall and by every grouping."""
    found: list[Estimate] = []
    for id, flag in event_flags(units.events).items():
        for unit in UNITS_OF[id]:
            found += _by_unit(units, id, unit, flag)
    found += death_estimates(units)
    found += shares(units.catheters, "retained", id="complication.retained_catheter",
                    unit="catheter")
    combined = combined_patients(units)
    found += shares(combined, "harmed", id="combined.permanent_deficit_or_death",
                    unit="patient")
    return found


UNITS_OF = {
    "complication.any": ("injection", "session", "lesion", "patient"),
    "complication.symptomatic": ("injection", "session", "lesion", "patient"),
    "complication.haemorrhagic": ("session", "patient"),
    "complication.haemorrhagic_symptomatic": ("session", "patient"),
    "complication.haemorrhagic_without_navigation": ("session", "patient"),
    "complication.ischaemic": ("session", "patient"),
    "complication.permanent_deficit": ("session", "patient"),
}
"""Which units each measure is counted in (analysis plan)."""


def event_flags(events: pd.DataFrame) -> dict[str, pd.Series]:
    """For each measure, whether each event is one (boolean; blank where it cannot be told)."""
    kind = events["kind"]
    symptomatic = events["symptomatic"].astype("boolean")
    haemorrhagic = kind.isin(HAEMORRHAGIC).astype("boolean")
    navigation = events["mechanism"].eq("navigation perforation").astype("boolean")
    return {
        "complication.any": pd.Series(True, index=events.index, dtype="boolean"),
        "complication.symptomatic": symptomatic,
        "complication.haemorrhagic": haemorrhagic,
        "complication.haemorrhagic_symptomatic": haemorrhagic & symptomatic,
        "complication.haemorrhagic_without_navigation":
            haemorrhagic & ~navigation.where(events["mechanism"].notna()),
        "complication.ischaemic": ischaemic(events),
        "complication.permanent_deficit": permanent_or_death(events),
    }


def ischaemic(events: pd.DataFrame) -> pd.Series:
    """Ischaemic stroke; or unintended occlusion, thromboembolism or dissection with a deficit."""
    unknown = events["deficit"].eq("not yet known")
    deficit = events["deficit"].isin(["transient", "permanent"]).astype("boolean")
    with_deficit = events["kind"].isin(ISCHAEMIC_WITH_DEFICIT) & deficit.mask(unknown)
    return events["kind"].eq("ischaemic stroke").astype("boolean") | with_deficit


def permanent_or_death(events: pd.DataFrame) -> pd.Series:
    """Permanent deficit or death from the event; blank while the deficit is not yet known."""
    permanent = events["deficit"].eq("permanent").astype("boolean")
    permanent = permanent.mask(events["deficit"].eq("not yet known"))
    return permanent | events["death"].fillna(False).astype("boolean")


def marked_units(units: Units, unit: str, flag: pd.Series) -> pd.DataFrame:
    """The unit frame of `unit` (injection, session, lesion or patient) with a column `event`."""
    events = units.events
    if unit == "injection":
        rows = events[events["injection_no"].notna() & ~events["placed_by_date"]]
        rows = rows.assign(name=unit_key(
            rows, ["patient_id", "lesion_no", "session_no", "injection_no"]))
        frame = units.injections
    elif unit == "session":
        rows, frame = events.assign(name=events["session_key"]), units.sessions
    elif unit == "lesion":
        frame = units.lesions[units.lesions["embolized"]]
        # An event written under a lesion that was never embolized counts for the one that was.
        own = unit_key(events, LESION)
        embolized = own.isin(set(frame["key"]))
        rows = events.assign(name=own.where(
            embolized, unit_key(events, ["patient_id", "at_lesion"])))
    else:
        rows = events.assign(name=events["patient_id"])
        frame = units.patients[units.patients["embolized"]]
    return frame.assign(event=any_known(frame, "key", rows, flag[rows.index], "name"))


def death_estimates(units: Units) -> list[Estimate]:
    """complication.death_30d and death.all_cause_30d per session and per patient.

    Denominator: units whose vital status 30 days after the session is known. A death belongs to
    the latest session on or before it, so that it is counted once.
    """
    known = vital_known(units)
    found: list[Estimate] = []
    for id, dead in deaths_within_30_days(units).items():
        sessions = units.sessions.assign(
            event=units.sessions["key"].isin(dead).astype("boolean"))
        alive_known = sessions["key"].isin(known)
        sessions["event"] = sessions["event"].mask(~alive_known & ~sessions["event"])
        patients = units.patients[units.patients["embolized"]]
        patients = patients.assign(event=any_known(
            patients, "key", sessions, sessions["event"], "patient_id"))
        found += shares(sessions, "event", id=id, unit="session")
        found += shares(patients, "event", id=id, unit="patient")
    return found


def combined_patients(units: Units) -> pd.DataFrame:
    """Patients treated; `harmed`: new permanent deficit or death from any treatment phase.

    Blank while such a deficit is not yet known (see `treatment_harm`).
    """
    rows = treatment_harm(units)
    harmed = any_known(units.patients, "key", rows, rows["harmed"], "patient_id")
    return units.patients.assign(harmed=harmed)


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
    elsewhere = rows["cause"].eq("natural history").fillna(False) | (
        rows["phase"].eq("embolization") & rows["attribution"].eq("unrelated"))
    own_phase = rows["phase"].isin(TREATMENT_PHASES) & ~elsewhere
    counted = own_phase | rows["cause"].isin(TREATMENT_PHASES).fillna(False)
    counted |= _in_set(rows, units.events)
    events = rows[counted.astype(bool)]
    operated = units.tables["resections"]
    after = operated["deficit"].eq("permanent").astype("boolean")
    people = units.tables["patients"][["patient_id", "death_cause"]]
    return pd.concat([
        events[LESION].assign(harmed=permanent_or_death(events)),
        operated[LESION].assign(harmed=after.mask(operated["deficit"].eq("not yet known"))),
        people[["patient_id"]].assign(
            lesion_no=pd.Series(pd.NA, index=people.index, dtype="Int64"),
            harmed=people["death_cause"].eq("treatment").astype("boolean").fillna(False)),
    ], ignore_index=True)


def _by_unit(units: Units, id: str, unit: str, flag: pd.Series) -> list[Estimate]:
    frame = marked_units(units, unit, flag)
    return shares(frame, "event", id=id, unit=unit, by=GROUPINGS,
                  notes=_placement_notes(units, unit, flag))


def _placement_notes(units: Units, unit: str, flag: pd.Series) -> list[str]:
    """How events were placed, where the reader has to know it."""
    events = units.events[flag.fillna(False).astype(bool)]
    if unit == "injection":
        nameless = int((events["injection_no"].isna() | events["placed_by_date"]).sum())
        return [f"{_events(nameless)} naming no injection left out"] if nameless else []
    by_date = int(events["placed_by_date"].sum())
    if unit == "session" and by_date:
        return [f"{_events(by_date)} without a session placed by date"]
    return []


def _in_set(rows: pd.DataFrame, events: pd.DataFrame) -> pd.Series:
    keys = unit_key(rows, [*LESION, "complication_no"])
    return keys.isin(set(events["key"]))


def _events(count: int) -> str:
    return f"{count} event" if count == 1 else f"{count} events"
