"""radiosurgeries: one row a radiosurgical treatment of a lesion."""

from __future__ import annotations

import pandera.pandas as pa

from registry.schema.fields import Date, Int, Number, Text, date, integer, number
from registry.schema.lesions import lesion_no
from registry.schema.patients import patient_id


class Radiosurgeries(pa.DataFrameModel):
    """One radiosurgical treatment."""

    patient_id: Text = patient_id()
    lesion_no: Int = lesion_no()
    radiosurgery_no: Int = integer(
        "Radiosurgery number", "Number of the treatment within the lesion, counting from 1.",
        1, 20, key=True,
    )
    radiosurgery_date: Date = date(
        "Radiosurgery date", "Day of treatment (first fraction).", required=True,
    )
    margin_dose_gy: Number = number(
        "Margin dose", "Dose at the margin of the target.", 5, 40, unit="Gy", required=True,
    )
    target_volume_ml: Number = number("Target volume", "Volume treated.", 0, 100, unit="mL")
    fractions: Int = integer("Fractions", "Number of fractions.", 1, 10, unit="fractions")

    class Config:
        strict = True
        metadata = {
            "table": "radiosurgeries", "label": "Radiosurgeries",
            "definition": "A row a radiosurgical treatment.",
            "parent": "lesions", "parent_key": ("patient_id", "lesion_no"),
        }
