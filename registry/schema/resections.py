"""resections: one row an operation on a lesion."""

from __future__ import annotations

from registry.schema import vocabulary
from registry.schema.fields import choice, date, integer, number, yes_no
from registry.schema.lesions import lesion_number
from registry.schema.patients import study_code
from registry.schema.tables import Table


class Resections(
    Table, table="resections", label="Resections", definition="A row an operation.",
    parent="lesions", parent_key=("patient_id", "lesion_no"),
):
    """One operation."""

    patient_id = study_code()
    lesion_no = lesion_number()
    resection_no = integer(
        "Resection number", "Number of the operation within the lesion, counting from 1.",
        1, 20, key=True,
    )
    resection_date = date("Resection date", "Day of the operation.", required=True)
    urgency = choice(
        "Urgency", "Planned or emergency; expected of every operation.",
        ("planned", "emergency"),
    )
    result = choice(
        "Result", "On angiography after the operation.",
        ("complete", "residual", "not imaged"), required=True,
    )
    angiography_date = date(
        "Angiography date", "Day of the angiogram after the operation.",
    )
    blood_loss_ml = number("Blood loss", "Estimated blood loss.", 0, 20000, unit="mL")
    red_cell_units = integer(
        "Red cells", "Units of red cells given.", 0, 200, unit="units",
    )
    operation_min = number(
        "Operation time", "Skin to skin.", 0, 2880, unit="min",
    )
    rupture_during = yes_no("Rupture during", "The nidus ruptured during the operation.")
    deficit = choice(
        "New deficit", "New neurological deficit after the operation.", vocabulary.DEFICIT,
        required=True,
    )
    nights = integer(
        "Nights in hospital", "Nights in hospital after this operation.", 0, 1000,
        unit="nights",
    )
