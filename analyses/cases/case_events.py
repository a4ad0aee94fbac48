"""Every event of every phase that a conference can be about, and how grave each was.

Four sorts of rows tell of one: a complication; a bleed after treatment began that is no
complication; an operation that left a deficit; and a death that none of these explains. Each
patient's events are numbered from 1 in order of time: `--event N` names one.
"""

from __future__ import annotations

import pandas as pd

from analyses.measures.harm import permanent_or_death
from analyses.population.counted_events import LESION, unit_key
from analyses.population.unit_frames import Units, once
from analyses.population.vital_status import WINDOW
from registry.schema import Complications, Haemorrhages, Patients, Resections

COMPLICATION, BLEED, OPERATION, DEATH = "complication", "haemorrhage", "resection", "death"
"""The table that holds an event; a death that no other row explains stands with the patient."""

SEVERITY = ("no symptoms", "symptoms, no deficit", "transient deficit, or not yet known",
            "permanent deficit", "death")
"""How grave an event was, 0 to 4, in words."""

DEFICITS = ("transient", "permanent", "not yet known")
"""Of an operation's new deficit: there was one."""
LATE_BLEED, NEW_DEFICIT, BARE_DEATH = (
    "intracranial haemorrhage", "new deficit after the operation", "death")


@once
def case_events(units: Units) -> pd.DataFrame:
    """Every event of every treated patient, of any phase, in order of patient and time.

    Columns: those of the complications table (blank where another table holds the event),
    `event_of` and `event_no` (the table that holds it, and its number there), `number` (from 1
    within the patient), `severity` (0 to 4, see SEVERITY), `counted` (whether it is one of the
    set of embolization complications), `session_key` (its procedure, where counted).
    """
    parts = [_complications(units), _bleeds(units), _operations(units), _deaths(units)]
    kept = [part for part in parts if len(part)]
    rows = pd.concat(kept, ignore_index=True) if kept else parts[0]
    rows = rows[rows[Patients.patient_id].isin(units.patients[Patients.patient_id])]
    rows = rows.assign(severity=_severity(rows)).sort_values(
        [Patients.patient_id, Complications.onset_date, "event_of", *LESION[1:], "event_no"],
        ignore_index=True, na_position="last")
    return rows.assign(number=rows.groupby(Patients.patient_id).cumcount() + 1)


def gravest_first(events: pd.DataFrame) -> pd.DataFrame:
    """Events of one patient, the gravest first; of two alike, the earlier."""
    return events.sort_values(["severity", "number"], ascending=[False, True])


def _severity(rows: pd.DataFrame) -> pd.Series:
    """0 to 4 of each event; what is blank makes nothing graver."""
    lasting = permanent_or_death(rows).fillna(False).astype(bool)
    deficit = rows[Complications.deficit].isin(["transient", "not yet known"])
    found = rows[Complications.symptomatic].fillna(False).astype(int)
    found = found.mask(deficit, 2).mask(lasting, 3)
    return found.mask(rows[Complications.death].fillna(False).astype(bool), 4).astype(int)


def _complications(units: Units) -> pd.DataFrame:
    rows = units.tables["complications"]
    key = unit_key(rows, [*LESION, Complications.complication_no])
    placed = units.events.set_index("key")["session_key"]
    return rows.assign(
        event_of=COMPLICATION, event_no=rows[Complications.complication_no],
        counted=key.isin(set(units.events["key"])), session_key=key.map(placed))


def _bleeds(units: Units) -> pd.DataFrame:
    """Bleeds after the day of the first treatment that are no row of complications."""
    rows = units.tables["haemorrhages"].merge(
        units.patients[[Patients.patient_id, "first_treatment"]], on=Patients.patient_id)
    rows = rows[rows[Haemorrhages.complication_no].isna()
                & rows[Haemorrhages.haemorrhage_date].gt(rows["first_treatment"])]
    return _in_form(rows, BLEED, rows[Haemorrhages.haemorrhage_no],
                    rows[Haemorrhages.haemorrhage_date], LATE_BLEED,
                    rows[Haemorrhages.deficit], rows[Haemorrhages.symptomatic], "follow-up")


def _operations(units: Units) -> pd.DataFrame:
    """Operations with a new deficit that no complication of the phase and lesion tells of."""
    rows = units.tables["resections"]
    told = units.tables["complications"]
    told = told[told[Complications.phase].eq("resection").fillna(False)]
    rows = rows[rows[Resections.deficit].isin(DEFICITS)
                & ~unit_key(rows, LESION).isin(set(unit_key(told, LESION)))]
    return _in_form(rows, OPERATION, rows[Resections.resection_no],
                    rows[Resections.resection_date], NEW_DEFICIT, rows[Resections.deficit],
                    pd.Series(True, index=rows.index, dtype="boolean"), "resection")


def _deaths(units: Units) -> pd.DataFrame:
    """Deaths that no complication tells of, put down to treatment or to the lesion.

    Where the cause is not known, those within 30 days of the last treatment.
    """
    people, fatal = units.tables["patients"], units.tables["complications"]
    told = set(fatal.loc[fatal[Complications.death].fillna(False).astype(bool),
                         Patients.patient_id])
    rows = people.merge(units.patients[[Patients.patient_id, "last_treatment"]],
                        on=Patients.patient_id)
    rows = rows[rows[Patients.death_date].notna() & ~rows[Patients.patient_id].isin(told)]
    cause = rows[Patients.death_cause]
    soon = rows[Patients.death_date].le(rows["last_treatment"] + WINDOW)
    rows = rows[cause.isin(["treatment", "lesion"]) | (cause.ne("other").fillna(True) & soon)]
    first = units.lesions.sort_values("key").groupby(Patients.patient_id)["lesion_no"].first()
    rows = rows.assign(lesion_no=rows[Patients.patient_id].map(first))
    yes = pd.Series(True, index=rows.index, dtype="boolean")
    blank = pd.Series(pd.NA, index=rows.index, dtype="string")
    made = _in_form(rows, DEATH, pd.Series(1, index=rows.index), rows[Patients.death_date],
                    BARE_DEATH, blank, yes, "follow-up")
    return made.assign(death=yes)


def _in_form(
    rows: pd.DataFrame, event_of: str, number: pd.Series, onset: pd.Series, kind: str,
    deficit: pd.Series, symptomatic: pd.Series, phase: str,
) -> pd.DataFrame:
    """Rows of another table in the form of complications."""
    return rows[LESION].assign(
        event_of=event_of, event_no=number, onset_date=onset, kind=kind, phase=phase,
        deficit=deficit.astype("string"), symptomatic=symptomatic.astype("boolean"),
        death=pd.Series(False, index=rows.index, dtype="boolean"), counted=False,
        session_key=pd.Series(pd.NA, index=rows.index, dtype="string"))
