"""haemorrhages: one row an intracranial bleed from a lesion."""

from __future__ import annotations

import pandera.pandas as pa

from registry.schema.fields import Date, Int, Text, YesNo, choice, date, integer, yes_no
from registry.schema.lesions import lesion_no
from registry.schema.patients import patient_id


class Haemorrhages(pa.DataFrameModel):
    """One bleed, before, during or after treatment."""

    patient_id: Text = patient_id()
    lesion_no: Int = lesion_no()
    haemorrhage_no: Int = integer(
        "Haemorrhage number", "Number of the bleed within the lesion, counting from 1.", 1, 100,
        key=True,
    )
    haemorrhage_date: Date = date("Haemorrhage date", "Day of the bleed.", required=True)
    date_known_to: Text = choice(
        "Date known to", "How precise the date is.",
        ("day", "month", "year", "interval between visits"), required=True,
    )
    cause: Text = choice(
        "Cause", "Spontaneous, or from a procedure.", ("spontaneous", "a procedure"),
        required=True,
    )
    symptomatic: YesNo = yes_no("Symptomatic", "Whether the patient had symptoms from it.")
    complication_no: Int = integer(
        "Complication number",
        "The complications row that is the same bleed, if it was one: it is then counted once.",
        1, 100,
    )
    deficit: Text = choice(
        "Deficit", "Neurological deficit from it.", ("none", "transient", "permanent"),
    )

    class Config:
        strict = True
        metadata = {
            "table": "haemorrhages", "label": "Haemorrhages",
            "definition": "A row an intracranial bleed from the lesion, before, during and "
            "after treatment.",
            "parent": "lesions", "parent_key": ("patient_id", "lesion_no"),
        }
