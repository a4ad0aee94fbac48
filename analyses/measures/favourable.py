"""A favourable outcome: obliterated for certain, and nobody lastingly harmed on the way."""

from __future__ import annotations

import pandas as pd

from analyses.measures.counting import any_known
from analyses.measures.harm import treatment_harm
from analyses.measures.measure import Direction, Share
from analyses.measures.obliteration import final_lesions, plan_notes
from analyses.measures.places import Place
from analyses.population.counted_events import LESION, unit_key
from analyses.population.unit_frames import Units, once
from registry.schema import Lesions, Patients


@once
def favourable_lesions(units: Units) -> pd.DataFrame:
    """Lesions treated whose plan is not ongoing; `favourable` (boolean).

    True: finally obliterated, confirmed, and no permanent deficit or death from any treatment of
    the lesion (a death put down to treatment without a lesion counts for every lesion of the
    patient). Blank where only a deficit not yet known stands in the way.
    """
    rows = final_lesions(units)
    harm = treatment_harm(units)
    own = harm[harm[Lesions.lesion_no].notna()]
    own = own.assign(name=unit_key(own, LESION))
    harmed = any_known(rows, "key", own, own["harmed"], "name")
    nowhere = harm[harm[Lesions.lesion_no].isna()]
    died = any_known(rows, Patients.patient_id, nowhere, nowhere["harmed"], Patients.patient_id)
    confirmed = rows["confirmed"].astype("boolean")
    return rows.assign(favourable=confirmed & ~(pd.Series(harmed) | died))


def _counts(units: Units, unit: str) -> pd.DataFrame:
    rows = favourable_lesions(units)
    return rows.assign(event=rows["favourable"])


def _notes(units: Units, unit: str) -> list[str]:
    return plan_notes(units)


FAVOURABLE = Share(
    id="outcome.favourable", units=("lesion",),
    label="Favourable outcome", subject="a favourable outcome",
    counted="final obliteration confirmed, and no permanent deficit or death from any treatment "
            "of the lesion",
    among="lesions treated whose plan is not ongoing (obliterated with a deficit not yet known: "
          "left out)",
    direction=Direction.BENEFIT, counts=_counts, notes=_notes,
    unknown="obliterated, with a deficit not yet known,",
    shown_in={Place.CLOSURE_TABLE: ("lesion",), Place.CLOSURE_BY_GROUP: ("lesion",),
              Place.DEFINITIONS: ("lesion",)},
    uses=("follow_ups.occlusion", "follow_ups.imaging", "resections.result", "resections.deficit",
          "complications.deficit", "complications.death", "patients.death_cause",
          "lesions.plan_status"),
    checked_against="counted by hand on the small cohort")
