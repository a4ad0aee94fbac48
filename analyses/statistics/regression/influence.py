"""What each patient does to the answer: the model refitted without each of them in turn."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from analyses.statistics.arrays import Floats
from analyses.statistics.regression.fitted import SCALES
from analyses.statistics.regression.log_linear import log_outcome
from analyses.statistics.regression.model_fit import ModelFit
from analyses.statistics.regression.predictions import require_risks
from analyses.statistics.regression.refits import leave_one_patient_out
from analyses.statistics.regression.validation_linear import weighted_lines
from analyses.statistics.table_numbers import number_at


def patient_influence(model: ModelFit) -> pd.DataFrame:
    """Ratio of each term without each patient.

    Index: the patients as named in the cluster column (row numbers where there is none);
    columns: `rows`, `events` (yes/no outcomes), then one a term with the ratio found without
    that patient. Raises ValueError where the model is neither a penalised nor a log-linear one.
    """
    rows = model.rows
    ratios = np.exp(_without_each(model)[:, 1:])
    found = pd.DataFrame(ratios, columns=list(rows.columns.names[1:]), index=_patients(model))
    if model.events is not None:
        found.insert(0, "events", np.bincount(rows.cluster, weights=rows.y).astype(int))
    found.insert(0, "rows", np.bincount(rows.cluster))
    return found


def _without_each(model: ModelFit) -> Floats:
    """(patients, columns) coefficients, NaN where the others leave no answer."""
    rows = model.rows
    if model.estimator == "log-linear":
        others = np.arange(rows.clusters)[:, None] != rows.cluster[None, :]
        return weighted_lines(rows.x, log_outcome(rows)[0], others.astype(float))
    require_risks(model)
    refits = leave_one_patient_out(rows.x, rows.y, rows.cluster, model.fitted.coefficients)
    return np.where(refits.usable[:, None], refits.coefficients, np.nan)


def _patients(model: ModelFit) -> pd.Index[Any]:
    rows = model.rows
    first = np.unique(rows.cluster, return_index=True)[1]
    names = rows.frame[rows.clustered_by] if rows.clustered_by else rows.frame.index.to_series()
    found: pd.Index[Any] = pd.Index(names.to_numpy()[first], name=rows.clustered_by or "row")
    return found


def influence_sentence(model: ModelFit, term: str) -> str:
    """How far one patient can move the ratio of `term`, without naming the patient."""
    found = patient_influence(model)[term]
    whole = float(np.exp(number_at(model.table, term, "estimate")))
    low, high = float(found.min()), float(found.max())
    low_in, high_in = (float(np.exp(number_at(model.table, term, end))) for end in ("low", "high"))
    inside = low_in <= low and high <= high_in
    open_question = low_in <= 1 <= high_in
    end = ("no single patient reverses its direction" if not turns(low, high) else
           "one patient decides its direction, which its interval leaves open" if open_question else
           "the direction of the association rests on one patient")
    return (f"Leaving out one patient at a time, the {SCALES[model.fitted.scale]} of {term} "
            f"({whole:.2f}) runs from {low:.2f} to {high:.2f}"
            f"{'' if inside else ', beyond its own interval'}; {end}.")


def turns(low: float, high: float) -> bool:
    """Whether ratios from `low` to `high` lie on both sides of no association."""
    return (low - 1) * (high - 1) < 0
