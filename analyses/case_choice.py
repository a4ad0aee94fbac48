"""Which case to show where none was named: the latest of the gravest."""

from __future__ import annotations

from analyses.complications import permanent_or_death
from analyses.one_case import CaseError
from analyses.populations.units import Units


def gravest_case(units: Units) -> str:
    """The study code of the patient with the gravest embolization complication, the latest first.

    A permanent deficit or death before anything else. Raises CaseError where no embolization
    complication is recorded.
    """
    events = units.events
    if events.empty:
        raise CaseError("No embolization complication is recorded; name the case to show.")
    grave = permanent_or_death(events).fillna(False).astype(bool)
    ordered = events.assign(grave=grave).sort_values(
        ["grave", "onset_date", "key"], ascending=[False, False, True])
    return str(ordered.iloc[0]["patient_id"])
