"""haemorrhages: one row an intracranial bleed from a lesion."""

from __future__ import annotations

from registry.schema.fields import choice, date, integer, yes_no
from registry.schema.lesions import lesion_number
from registry.schema.patients import study_code
from registry.schema.tables import Table


class Haemorrhages(
    Table, table="haemorrhages", label="Haemorrhages",
    definition="A row an intracranial bleed from the lesion, before, during and after treatment.",
    parent="lesions", parent_key=("patient_id", "lesion_no"),
):
    """One bleed, before, during or after treatment."""

    patient_id = study_code()
    lesion_no = lesion_number()
    haemorrhage_no = integer(
        "Haemorrhage number", "Number of the bleed within the lesion, counting from 1.", 1, 100,
        key=True,
    )
    haemorrhage_date = date("Haemorrhage date", "Day of the bleed.", required=True)
    date_known_to = choice(
        "Date known to", "How precise the date is.",
        ("day", "month", "year", "interval between visits"), required=True,
    )
    cause = choice(
        "Cause", "Spontaneous, or from a procedure.", ("spontaneous", "a procedure"),
        required=True,
    )
    symptomatic = yes_no("Symptomatic", "Whether the patient had symptoms from it.")
    complication_no = integer(
        "Complication number",
        "The complications row that is the same bleed, if it was one: it is then counted once.",
        1, 100,
    )
    deficit = choice(
        "Deficit", "Neurological deficit from it.", ("none", "transient", "permanent"),
    )
