"""A favourable outcome: obliterated for certain, and nobody lastingly harmed on the way."""

from __future__ import annotations

import pandas as pd

from analyses.measures.counting import any_known, shares
from analyses.measures.harm import treatment_harm
from analyses.measures.obliteration import final_lesions, plan_notes
from analyses.population.counted_events import LESION, unit_key
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate


def favourable_estimates(units: Units) -> list[Estimate]:
    """outcome.favourable per lesion, overall and by every grouping."""
    return shares(favourable_lesions(units), "favourable", id="outcome.favourable",
                  unit="lesion", notes=plan_notes(units),
                  unknown="obliterated, with a deficit not yet known,")


def favourable_lesions(units: Units) -> pd.DataFrame:
    """Lesions treated whose plan is not ongoing; `favourable` (boolean).

    True: finally obliterated, confirmed, and no permanent deficit or death from any treatment of
    the lesion (a death put down to treatment without a lesion counts for every lesion of the
    patient). Blank where only a deficit not yet known stands in the way.
    """
    rows = final_lesions(units)
    harm = treatment_harm(units)
    own = harm[harm["lesion_no"].notna()]
    own = own.assign(name=unit_key(own, LESION))
    harmed = any_known(rows, "key", own, own["harmed"], "name")
    nowhere = harm[harm["lesion_no"].isna()]
    died = any_known(rows, "patient_id", nowhere, nowhere["harmed"], "patient_id")
    confirmed = rows["confirmed"].astype("boolean")
    return rows.assign(favourable=confirmed & ~(pd.Series(harmed) | died))
