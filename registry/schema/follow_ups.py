"""follow_ups: one row a visit or an image."""

from __future__ import annotations

from registry.schema.fields import choice, date, integer, yes_no
from registry.schema.lesions import lesion_number
from registry.schema.patients import study_code
from registry.schema.tables import Table


class FollowUps(
    Table, table="follow_ups", label="Follow-ups", definition="A row a visit.",
    parent="lesions", parent_key=("patient_id", "lesion_no"),
):
    """One visit."""

    patient_id = study_code()
    lesion_no = lesion_number()
    follow_up_no = integer(
        "Follow-up number", "Number of the visit within the lesion, counting from 1.", 1, 100,
        key=True,
    )
    follow_up_date = date("Follow-up date", "Day of the visit.", required=True)
    imaging = choice(
        "Imaging", "Imaging of the lesion at this visit.",
        ("catheter angiography", "MR angiography", "CT angiography", "none"), required=True,
    )
    occlusion = choice(
        "Occlusion",
        "Complete: no nidus and no early draining vein; near complete: 90 % or more.",
        ("complete", "near complete", "part", "none"),
    )
    mrs = integer(
        "mRS", "Modified Rankin Scale at this visit; 6 is dead.", 0, 6, required=True,
    )
    mrs_rater = choice("mRS rated by", "Who rated it.", ("operator", "independent"))
    haemorrhage_since = yes_no(
        "Bled since last visit",
        "Bled since the visit before; each bleed is a row of haemorrhages.",
    )
    treated_again = yes_no("Treated again", "Treated again since the visit before.")
