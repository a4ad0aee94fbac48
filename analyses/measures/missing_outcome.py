"""What missing outcomes could hide: complete case, best and worst case, and weighted.

The bounds hold whatever the missing outcomes were. The weighted result holds if those lost
differ from those followed only in what the model of observation knows.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from analyses.measures.counting import share
from analyses.measures.gate import LOST
from analyses.measures.headlines import Headline, headlines
from analyses.measures.places import Place
from analyses.population.unit_frames import Units
from analyses.statistics.arrays import Floats, Labels
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.proportions.bounds import proportion_bounds
from analyses.statistics.proportions.weighted_proportion import weighted_proportion
from registry.schema import Patients

FEWEST = 5
"""Observed and missing units a term of the model of observation needs."""

TOO_FEW = f"fewer than {FEWEST} units missing, or known: no model of observation, see the bounds"
NOT_WEIGHTED = ("not weighted: events are known whether or not a patient was seen again, so that "
                "those known are no sample of all")
TERMS = ("sm_grade_value", "bled", Patients.age_y, Patients.mrs_before, "year")
"""Terms of the model of observation, in the order in which they enter as numbers allow."""

def missing_outcome_estimates(units: Units) -> list[Estimate]:
    """`missing.ID.complete`, `.bounds` and `.weighted` for every headline with missing outcomes.

    `obliteration.imaged_confirmed` is final obliteration with lesions never imaged taken as not
    known (the plan's own measure counts them as not confirmed, the worst case).
    """
    found: list[Estimate] = []
    for id, headline in questioned(units).items():
        if headline.frame["event"].isna().any():
            found += three_ways(headline, units, f"missing.{id}")
    return found


def questioned(units: Units) -> Mapping[str, Headline]:
    """The measures whose outcome can be missing, with the frames they rest on."""
    return headlines(units, Place.QUESTIONED)


def three_ways(headline: Headline, units: Units, id: str) -> list[Estimate]:
    """Complete case, bounds and weighted, of one measure; bounds alone where the gate says so."""
    frame = headline.frame
    outcome = frame["event"].astype("Float64").to_numpy(dtype=float, na_value=np.nan)
    patients = frame[Patients.patient_id].to_numpy(dtype=str)
    bounds = proportion_bounds(outcome, patients, id=f"{id}.bounds", unit=headline.unit,
                               keys=list(frame["key"]))
    if not headline.verdict:
        # Known outcomes alone, and weights learnt from them, would both point the same wrong way.
        return [replaced(bounds, value=None, flags=(headline.verdict.why, *bounds.flags))]
    complete = replaced(share(frame, "event", id=f"{id}.complete", unit=headline.unit), beside=())
    if LOST in frame and frame[LOST].any():
        # An event is known whether or not the patient was seen again: being known goes with the
        # outcome itself, which no weights can undo.
        return [replaced(complete, flags=(*complete.flags, NOT_WEIGHTED)), bounds]
    return [complete, bounds, _weighted(headline, units, outcome, patients, f"{id}.weighted")]


def observation_terms(frame: pd.DataFrame, units: Units) -> tuple[list[str], Floats]:
    """The names and values (rows, terms) of the model of observation.

    A blank covariate takes the mean of its column. Terms enter in the order of `TERMS`, one for
    every `FEWEST` units of the rarer of known and missing; constant ones are left out.
    """
    people = units.tables["patients"].set_index(Patients.patient_id)
    values = pd.DataFrame({
        "sm_grade_value": frame["sm_grade_value"], "bled": frame["ruptured"].eq("yes"),
        Patients.age_y: frame[Patients.patient_id].map(people[Patients.age_y]),
        Patients.mrs_before: frame[Patients.patient_id].map(people[Patients.mrs_before]),
        "year": pd.to_numeric(frame["period"], errors="coerce"),
    }).astype("Float64").astype(float)
    values = values.fillna(values.mean())
    missing = int(frame["event"].isna().sum())
    most = min(missing, len(frame) - missing) // FEWEST
    varying = [name for name in TERMS if values[name].nunique() > 1][:most]
    centred = values[varying] - values[varying].mean()
    return varying, centred.to_numpy(dtype=float)


def _weighted(
    headline: Headline, units: Units, outcome: Floats, patients: Labels, id: str,
) -> Estimate:
    terms, covariates = observation_terms(headline.frame, units)
    if not terms:
        return Estimate(id=id, kind="probability", value=None, unit=headline.unit,
                        flags=(TOO_FEW,))
    found = weighted_proportion(outcome, covariates, patients, id=id, unit=headline.unit,
                                keys=list(headline.frame["key"]))
    words = {"sm_grade_value": "grade", "bled": "rupture", Patients.age_y: "age",
             Patients.mrs_before: "mRS before", "year": "calendar year"}
    known = ", ".join(words[name] for name in terms)
    return replaced(found, flags=(*found.flags, f"chance of observation by {known}"))
