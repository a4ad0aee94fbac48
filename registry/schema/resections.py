"""resections: one row an operation on a lesion."""

from __future__ import annotations

import pandera.pandas as pa

from registry.schema import vocabulary
from registry.schema.fields import (
    Date,
    Int,
    Number,
    Text,
    YesNo,
    choice,
    date,
    integer,
    number,
    yes_no,
)
from registry.schema.lesions import lesion_no
from registry.schema.patients import patient_id


class Resections(pa.DataFrameModel):
    """One operation."""

    patient_id: Text = patient_id()
    lesion_no: Int = lesion_no()
    resection_no: Int = integer(
        "Resection number", "Number of the operation within the lesion, counting from 1.",
        1, 20, key=True,
    )
    resection_date: Date = date("Resection date", "Day of the operation.", required=True)
    urgency: Text = choice(
        "Urgency", "Planned or emergency.", ("planned", "emergency"), required=True,
    )
    result: Text = choice(
        "Result", "On angiography after the operation.",
        ("complete", "residual", "not imaged"), required=True,
    )
    angiography_date: Date = date(
        "Angiography date", "Day of the angiogram after the operation.",
    )
    blood_loss_ml: Number = number("Blood loss", "Estimated blood loss.", 0, 20000, unit="mL")
    red_cell_units: Int = integer(
        "Red cells", "Units of red cells given.", 0, 200, unit="units",
    )
    operation_min: Number = number(
        "Operation time", "Skin to skin.", 0, 2880, unit="min",
    )
    rupture_during: YesNo = yes_no("Rupture during", "The nidus ruptured during the operation.")
    deficit: Text = choice(
        "New deficit", "New neurological deficit after the operation.", vocabulary.DEFICIT,
        required=True,
    )
    nights: Int = integer(
        "Nights in hospital", "Nights in hospital after this operation.", 0, 1000,
        unit="nights",
    )

    class Config:
        strict = True
        metadata = {
            "table": "resections", "label": "Resections", "definition": "A row an operation.",
            "parent": "lesions", "parent_key": ("patient_id", "lesion_no"),
        }
