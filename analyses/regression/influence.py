"""What each patient does to the answer: the model refitted without each of them in turn."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analyses.regression.predictions import require_penalised
from analyses.regression.refits import leave_one_patient_out
from analyses.regression.result import ModelFit


def patient_influence(model: ModelFit) -> pd.DataFrame:
    """Ratio of each term without each patient.

    Index: the patients as named in the cluster column (row numbers where there is none);
    columns: `rows`, `events`, then one a term with the odds ratio found without that patient.
    Raises ValueError where the model is not a penalised one.
    """
    require_penalised(model)
    rows = model.rows
    refits = leave_one_patient_out(rows.x, rows.y, rows.cluster, model.fitted.coefficients)
    ratios = np.where(refits.usable[:, None], np.exp(refits.coefficients[:, 1:]), np.nan)
    found = pd.DataFrame(ratios, columns=list(rows.columns.names[1:]), index=_patients(model))
    found.insert(0, "events", np.bincount(rows.cluster, weights=rows.y).astype(int))
    found.insert(0, "rows", np.bincount(rows.cluster))
    return found


def _patients(model: ModelFit) -> pd.Index:
    rows = model.rows
    first = np.unique(rows.cluster, return_index=True)[1]
    names = (rows.frame[rows.clustered_by].to_numpy()[first] if rows.clustered_by
             else rows.frame.index.to_numpy()[first])
    return pd.Index(names, name=rows.clustered_by or "row")


def influence_sentence(model: ModelFit, term: str) -> str:
    """How far one patient can move the ratio of `term`, without naming the patient."""
    found = patient_influence(model)[term]
    whole = float(np.exp(model.table.loc[term, "estimate"]))
    low, high = float(found.min()), float(found.max())
    low_in, high_in = np.exp(model.table.loc[term, ["low", "high"]])
    inside = low_in <= low and high <= high_in
    crosses = (low - 1) * (high - 1) < 0
    end = ("the direction of the association rests on one patient" if crosses else
           "no single patient reverses its direction")
    return (f"Leaving out one patient at a time, the odds ratio of {term} ({whole:.2f}) runs from "
            f"{low:.2f} to {high:.2f}{'' if inside else ', beyond its own interval'}; {end}.")
