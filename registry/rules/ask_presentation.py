"""Queries on the state in which a patient presented."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import figure, sure
from registry.rules.finding import Hits, Tables, query
from registry.rules.words import column
from registry.schema import Patients

INCIDENTAL_MRS = 2
"""Slight disability: the most that goes unnoticed, or has another reason (common practice, no
source)."""
AWAKE_GCS = 14
"""A score below is more than confusion (common practice, no source)."""
COMA_GCS = 8
"""Coma (Teasdale and Jennett 1974; the cut of 8 is common practice)."""
CONSCIOUS = ("headache",)
"""Presentations that leave consciousness alone."""
NO_COMA = ("focal deficit", "other")
"""Presentations that are no reason for coma; a bleed and a seizure are."""


@query("incidental, and not well")
def incidental_and_disabled(tables: Tables) -> Hits:
    """An incidental finding in a patient with an mRS over 2."""
    rows = tables["patients"]
    rows = rows[
        sure(rows[Patients.presentation] == "incidental")
        & sure(rows[Patients.mrs_before] > INCIDENTAL_MRS)
    ]
    return Hits(
        "patients", rows, Patients.mrs_before,
        "presentation: incidental, mRS " + figure(rows[Patients.mrs_before])
        + " before treatment",
        f"an mRS of {INCIDENTAL_MRS} at most where the lesion was found by chance",
        "correct the presentation or the mRS; a disability of another illness may stay",
    )


@query("incidental, and not awake")
def incidental_and_drowsy(tables: Tables) -> Hits:
    """An incidental finding in a patient with a coma score under 14."""
    rows = tables["patients"]
    rows = rows[
        sure(rows[Patients.presentation] == "incidental") & sure(rows[Patients.gcs] < AWAKE_GCS)
    ]
    return Hits(
        "patients", rows, Patients.gcs,
        "presentation: incidental, coma score " + figure(rows[Patients.gcs]),
        f"a coma score of {AWAKE_GCS} or 15 where the lesion was found by chance",
        "correct the presentation or the score",
    )


@query("coma score does not fit the presentation")
def coma_of_no_reason(tables: Tables) -> Hits:
    """A lowered consciousness of which the presentation is no reason."""
    rows = tables["patients"]
    low = sure(rows[Patients.presentation].isin(CONSCIOUS)) & sure(rows[Patients.gcs] < AWAKE_GCS)
    coma = sure(rows[Patients.presentation].isin(NO_COMA)) & sure(rows[Patients.gcs] <= COMA_GCS)
    rows = rows[low | coma]
    found: pd.Series = (
        "presentation: " + rows[Patients.presentation].astype("string") + ", coma score "
        + figure(rows[Patients.gcs])
    )
    return Hits(
        "patients", rows, Patients.gcs, found,
        "a coma score that the presentation explains: a bleed and a seizure lower it, a headache "
        "does not",
        f"correct the score, or {column('patients', Patients.presentation)} (a bleed?)",
    )
