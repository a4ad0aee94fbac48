"""A favourable outcome: obliterated for certain, and nobody lastingly harmed on the way."""

from __future__ import annotations

import pandas as pd

from analyses.measures.harm import lesion_harm
from analyses.measures.measure import Direction, Share
from analyses.measures.obliteration import final_lesions, plan_notes
from analyses.measures.places import Place
from analyses.population.unit_frames import Units, once


@once
def favourable_lesions(units: Units) -> pd.DataFrame:
    """Lesions treated whose plan is not ongoing; `favourable` (boolean).

    True: finally obliterated, confirmed, and no permanent deficit or death from any treatment of
    the lesion (a death put down to treatment without a lesion counts for every lesion of the
    patient). Blank where only a deficit not yet known stands in the way.
    """
    rows = final_lesions(units)
    confirmed = rows["confirmed"].astype("boolean")
    return rows.assign(favourable=confirmed & ~lesion_harm(units, rows))


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
