"""follow_ups: one row a visit or an image."""

from __future__ import annotations

import pandera.pandas as pa

from registry.schema.fields import Date, Int, Text, YesNo, choice, date, integer, yes_no
from registry.schema.lesions import lesion_no
from registry.schema.patients import patient_id


class FollowUps(pa.DataFrameModel):
    """One visit."""

    patient_id: Text = patient_id()
    lesion_no: Int = lesion_no()
    follow_up_no: Int = integer(
        "Follow-up number", "Number of the visit within the lesion, counting from 1.", 1, 100,
        key=True,
    )
    follow_up_date: Date = date("Follow-up date", "Day of the visit.", required=True)
    imaging: Text = choice(
        "Imaging", "Imaging of the lesion at this visit.",
        ("catheter angiography", "MR angiography", "CT angiography", "none"), required=True,
    )
    occlusion: Text = choice(
        "Occlusion",
        "Complete: no nidus and no early draining vein; near complete: 90 % or more.",
        ("complete", "near complete", "part", "none"),
    )
    mrs: Int = integer(
        "mRS", "Modified Rankin Scale at this visit; 6 is dead.", 0, 6, required=True,
    )
    mrs_rater: Text = choice("mRS rated by", "Who rated it.", ("operator", "independent"))
    haemorrhage_since: YesNo = yes_no(
        "Bled since last visit",
        "Bled since the visit before; each bleed is a row of haemorrhages.",
    )
    treated_again: YesNo = yes_no("Treated again", "Treated again since the visit before.")

    class Config:
        strict = True
        metadata = {
            "table": "follow_ups", "label": "Follow-ups", "definition": "A row a visit.",
            "parent": "lesions", "parent_key": ("patient_id", "lesion_no"),
        }
