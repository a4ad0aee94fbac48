"""Which case to show where none was named: the latest of the gravest."""

from __future__ import annotations

from analyses.cases.one_case import CaseError
from analyses.measures.harm import permanent_or_death
from analyses.population.unit_frames import Units
from registry.schema import Complications, Patients


def gravest_case(units: Units) -> str:
    """The study code of the patient with the gravest embolization complication, the latest first.

    A permanent deficit or death stands before anything else; where no complication is recorded,
    the patient treated last. Raises CaseError where nobody was treated.
    """
    events = units.events
    if len(events):
        grave = permanent_or_death(events).fillna(False).astype(bool)
        ordered = events.assign(grave=grave).sort_values(
            ["grave", Complications.onset_date, "key"], ascending=[False, False, True])
        return str(ordered.iloc[0][Patients.patient_id])
    if units.patients.empty:
        raise CaseError("Nobody in this freeze was treated; there is no case to show.")
    ordered = units.patients.sort_values(["last_treatment", "key"], ascending=[False, True])
    return str(ordered.iloc[0][Patients.patient_id])
