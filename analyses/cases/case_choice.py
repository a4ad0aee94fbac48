"""Which case to show where none was named: the latest of the gravest, whatever the phase."""

from __future__ import annotations

from analyses.cases.case_events import case_events
from analyses.cases.one_case import CaseError
from analyses.population.unit_frames import Units
from registry.schema import Complications, Patients


def gravest_case(units: Units) -> str:
    """The study code of the patient with the gravest event of any phase, the latest first.

    A death stands before a permanent deficit, and that before anything else; where no event is
    recorded, the patient treated last. Raises CaseError where nobody was treated.
    """
    events = case_events(units)
    if len(events):
        ordered = events.sort_values(["severity", Complications.onset_date, "number"],
                                     ascending=[False, False, True])
        return str(ordered.iloc[0][Patients.patient_id])
    if units.patients.empty:
        raise CaseError("Nobody in this freeze was treated; there is no case to show.")
    ordered = units.patients.sort_values(["last_treatment", "key"], ascending=[False, True])
    return str(ordered.iloc[0][Patients.patient_id])
