"""radiosurgeries: one row a radiosurgical treatment of a lesion."""

from __future__ import annotations

from registry.schema.fields import date, integer, number
from registry.schema.lesions import lesion_number
from registry.schema.patients import study_code
from registry.schema.tables import Table


class Radiosurgeries(
    Table, table="radiosurgeries", label="Radiosurgeries",
    definition="A row a radiosurgical treatment.", parent="lesions",
    parent_key=("patient_id", "lesion_no"),
):
    """One radiosurgical treatment."""

    patient_id = study_code()
    lesion_no = lesion_number()
    radiosurgery_no = integer(
        "Radiosurgery number", "Number of the treatment within the lesion, counting from 1.",
        1, 20, key=True,
    )
    radiosurgery_date = date(
        "Radiosurgery date", "Day of treatment (first fraction).", required=True,
    )
    margin_dose_gy = number(
        "Margin dose", "Dose at the margin of the target.", 5, 40, unit="Gy", required=True,
    )
    target_volume_ml = number("Target volume", "Volume treated.", 0, 100, unit="mL")
    fractions = integer("Fractions", "Number of fractions.", 1, 10, unit="fractions")
