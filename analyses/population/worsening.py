"""What a patient's worsening is put down to in the record: treatment by treatment, or a bleed.

Taken from what was recorded for single events; it does not show that one caused the other.
Death and permanent deficits alone are looked at: a transient deficit cannot explain a lasting
loss.
"""

from __future__ import annotations

import pandas as pd

from analyses.population.counted_events import LESION, unit_key
from analyses.population.unit_frames import Units
from registry.schema import Complications, Haemorrhages, Patients, Resections

NOT_RECORDED = "not_recorded"
CAUSES = (
    "embolization", "resection", "radiosurgery", "haemorrhage", "other_death", "several",
    NOT_RECORDED,
)
"""What worsening is put down to; every worsened patient stands under one of them."""

TREATMENTS = ("embolization", "resection", "radiosurgery")
BLEED = "intracranial haemorrhage"


def worsening_causes(units: Units) -> dict[str, str]:
    """Patient → the one source of lasting harm on record, or "several".

    Sources: an event with a permanent deficit or death, under its recorded cause, else under
    embolization where it is in the set of embolization complications, else under the treatment
    whose phase it is in; an operation with a permanent deficit; a bleed of the lesion outside
    any procedure with a permanent deficit, or death from the lesion (haemorrhage); death from
    another cause.
    """
    sources = pd.concat(
        [_from_events(units), _from_operations(units), _from_bleeds(units),
         _died_of(units, "other", "other_death")], ignore_index=True)
    found = sources.dropna().drop_duplicates().groupby(Patients.patient_id)["source"].agg(list)
    return {str(patient): names[0] if len(names) == 1 else "several"
            for patient, names in found.items()}


def _from_events(units: Units) -> pd.DataFrame:
    events = units.tables["complications"]
    lasting = events[Complications.deficit].eq("permanent") | events[Complications.death].fillna(
        False
    )
    rows = events[lasting.fillna(False).astype(bool)]
    counted = unit_key(rows, [*LESION, Complications.complication_no]).isin(
        set(units.events["key"])
    )
    phase = rows[Complications.phase].where(rows[Complications.phase].isin(TREATMENTS))
    # Cleared of the embolization: the phase alone must not bring it back.
    phase = phase.mask(phase.eq("embolization") & ~counted)
    source = phase.mask(counted, "embolization")
    recorded = rows[Complications.cause]
    source = source.mask(recorded.isin(TREATMENTS).fillna(False), recorded)
    source = source.mask(recorded.eq("cannot be separated").fillna(False), "several")
    own_course = recorded.eq("natural history").fillna(False)
    source = source.mask(own_course)
    source = source.mask(own_course & rows[Complications.kind].eq(BLEED), "haemorrhage")
    return _sources(rows, source)


def _from_operations(units: Units) -> pd.DataFrame:
    rows = units.tables["resections"]
    rows = rows[rows[Resections.deficit].eq("permanent")]
    return _sources(rows, "resection")


def _from_bleeds(units: Units) -> pd.DataFrame:
    """Spontaneous bleeds since the first treatment that left a deficit, and deaths by the lesion.

    A bleed that is also a complications row is told there.
    """
    start = units.patients.set_index("key")["first_treatment"]
    rows = units.tables["haemorrhages"]
    since = rows[Haemorrhages.haemorrhage_date] >= rows[Patients.patient_id].map(start)
    own = rows[Complications.cause].eq("spontaneous") & rows[Complications.complication_no].isna()
    bled = rows[
        (since & own & rows[Complications.deficit].eq("permanent")).fillna(False).astype(bool)
    ]
    return pd.concat([_sources(bled, "haemorrhage"), _died_of(units, "lesion", "haemorrhage")],
                     ignore_index=True)


def _died_of(units: Units, cause: str, source: str) -> pd.DataFrame:
    people = units.tables["patients"]
    died = people[people[Patients.death_cause].eq(cause).fillna(False).astype(bool)]
    return _sources(died, source)


def _sources(rows: pd.DataFrame, source: pd.Series | str) -> pd.DataFrame:
    """Patient and source, a line a row; text also where there are no rows to tell it from."""
    told = pd.Series(source, index=rows.index, dtype="string")
    return pd.DataFrame(
        {Patients.patient_id: rows[Patients.patient_id].astype("string"), "source": told}
    )
