"""Queries on where a lesion lies: its eloquence, and the arteries that feed it."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import LESION, bring, sure
from registry.rules.finding import Hits, Tables, query
from registry.schema import Injections, Lesions

ELOQUENT_SITES = ("thalamus", "brainstem")
"""Sites that Spetzler and Martin 1986 name as eloquent and that are sites of this list. A part of
the others is (the internal capsule, the cerebellar peduncles, sensorimotor, language and visual
cortex), so that a site does not say."""

_LOBES = {"frontal", "temporal", "parietal", "occipital"}
_DEEP = {"basal ganglia", "thalamus", "corpus callosum", "intraventricular"}
_BEHIND = {"brainstem", "cerebellum", "intraventricular"}
REACHES: dict[str, set[str]] = {
    "ACA": {"frontal", "parietal", "occipital", "basal ganglia", "corpus callosum",
            "intraventricular"},
    "MCA": {*_LOBES, "insula", "basal ganglia", "intraventricular"},
    "PCA": {"temporal", "parietal", "occipital", "thalamus", "basal ganglia", "corpus callosum",
            *_BEHIND},
    "anterior choroidal": {"temporal", "parietal", "occipital", "insula", "brainstem", *_DEEP},
    "posterior choroidal": {"temporal", "parietal", "occipital", "brainstem", *_DEEP},
    "lenticulostriate": {"frontal", "temporal", "parietal", "insula", "basal ganglia", "thalamus",
                         "intraventricular"},
    "thalamoperforator": {"brainstem", *_DEEP},
    "SCA": _BEHIND,
    "AICA": _BEHIND,
    "PICA": _BEHIND,
    "basilar perforator": {"thalamus", *_BEHIND},
}
"""Where an artery's territory reaches, its border zones and the ventricle beside it included
(common practice, no source). Dural and other arteries may go anywhere."""


@query("eloquent site, and not eloquent")
def site_is_eloquent(tables: Tables) -> Hits:
    """A site that is eloquent by definition, and eloquence no."""
    rows = tables["lesions"]
    rows = rows[
        sure(rows[Lesions.location].isin(ELOQUENT_SITES)) & sure(~rows[Lesions.eloquent])
    ]
    return Hits(
        "lesions", rows, Lesions.eloquent,
        "location: " + rows[Lesions.location].astype("string") + ", and eloquent: no",
        "eloquent yes for the thalamus and the brainstem (Spetzler and Martin 1986)",
        "correct the eloquence or the location; the grade uses the eloquence",
    )


@query("feeder of another territory")
def feeder_of_another_territory(tables: Tables) -> Hits:
    """An artery whose territory does not reach the lesion's site.

    A collateral comes from another territory by definition, and "other" is no site.
    """
    rows = bring(tables["injections"], tables["lesions"], LESION, [Lesions.location])
    reached = pd.Series(
        [artery not in REACHES or site == "other" or site in REACHES[artery]
         for artery, site in zip(rows[Injections.feeding_artery].fillna(""),
                                 rows[Lesions.location].fillna("other"), strict=True)],
        index=rows.index, dtype=bool,
    )
    rows = rows[~reached & ~sure(rows[Injections.feeder_type] == "collateral")]
    return Hits(
        "injections", rows, Injections.feeding_artery,
        "feeding artery: " + rows[Injections.feeding_artery].astype("string")
        + ", location of the lesion: " + rows[Lesions.location].astype("string"),
        "a feeding artery whose territory reaches the lesion",
        "correct the artery or the location; where it came as a collateral, say so under its type",
    )
