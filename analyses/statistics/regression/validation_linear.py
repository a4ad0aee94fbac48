"""How much of a measurement a log-linear model explains, corrected for having seen the answers.

The share of the variation of the logarithm that is explained (R squared) and the calibration
slope, each less the optimism found by refitting on samples of whole patients (Harrell, Lee and
Mark 1996, Stat Med 15:361).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate
from analyses.statistics.regression.log_linear import log_outcome
from analyses.statistics.regression.model_fit import ModelFit
from analyses.statistics.regression.refits import patient_draws
from analyses.statistics.regression.validation import Validation
from analyses.statistics.table_numbers import number_at

MEASURES = ("explained variation", "calibration slope")


def weighted_lines(x: Floats, y: Floats, weights: Floats) -> Floats:
    """Least squares under each line of `weights` (fits, rows): (fits, columns).

    NaN where a sample leaves no answer.
    """
    found = np.full((len(weights), x.shape[1]), np.nan)
    for place, own in enumerate(weights):
        gram = (x * own[:, None]).T @ x
        if np.linalg.matrix_rank(gram) == len(gram):
            found[place] = np.linalg.solve(gram, (x * own[:, None]).T @ y)
    return found


def explained(line: Floats, y: Floats, weights: Floats) -> float:
    """1 − residual over total sum of squares; below 0 where the mean would do better."""
    total = (weights * (y - np.average(y, weights=weights)) ** 2).sum()
    return float(1 - (weights * (y - line) ** 2).sum() / total)


def slope(line: Floats, y: Floats, weights: Floats) -> float:
    """Slope of the outcome on the prediction."""
    centred = line - np.average(line, weights=weights)
    spread = (weights * centred**2).sum()
    return float((weights * centred * y).sum() / spread) if spread > 0 else float("nan")


def validate_log_linear(
    model: ModelFit, *, times: int = 200, seed: int = 20260101
) -> Validation:
    """Bootstrap-of-patients validation of a log-linear model.

    times: samples drawn. In the result `c` is the share of variation explained, 0 to 1. Raises
    ValueError where the model is not log-linear.
    """
    if model.estimator != "log-linear":
        raise ValueError(f"the {model.estimator} model of {model.outcome} is not log-linear")
    x, y, rows = model.rows.x, log_outcome(model.rows)[0], model.rows
    ones = np.ones(rows.n)
    apparent = _measures(x @ model.fitted.coefficients, y, ones)
    draws = patient_draws(rows.cluster, times, seed)
    lines = weighted_lines(x, y, draws)
    usable = np.flatnonzero(np.isfinite(lines).all(axis=1))
    inside = np.array([_measures(x @ lines[i], y, draws[i]) for i in usable])
    outside = np.array([_measures(x @ lines[i], y, ones) for i in usable])
    optimism = np.nanmean(inside - outside, axis=0)
    table = pd.DataFrame(
        {"apparent": apparent, "optimism": optimism, "corrected": apparent - optimism},
        index=pd.Index(MEASURES, name="measure"))
    share = _share(model, table, inside[:, 0])
    return Validation(table, share, _sentence(share, table, len(usable)))


def _measures(line: Floats, y: Floats, weights: Floats) -> Floats:
    return np.array([explained(line, y, weights), slope(line, y, weights)])


def _share(model: ModelFit, table: pd.DataFrame, drawn: Floats) -> Estimate:
    tail = (1 - model.level) / 2
    value = number_at(table, MEASURES[0], "corrected")
    low, high = np.quantile(drawn, [tail, 1 - tail]) - number_at(
        table, MEASURES[0], "optimism")
    return Estimate(id=f"model.{model.outcome}.explained", kind=MEASURES[0], value=value,
                    low=min(float(low), value), high=max(min(1.0, float(high)), value),
                    level=model.level, unit="row", n=model.n, clusters=model.clusters,
                    method="optimism-corrected R squared of the logarithm, bootstrap of patients")


def _sentence(share: Estimate, table: pd.DataFrame, times: int) -> str:
    found = max(0.0, share.value or 0.0)
    return (f"Corrected for optimism over {times} samples of patients, the model explains "
            f"{100 * found:.0f} % of the variation of the logarithm; calibration slope "
            f"{number_at(table, MEASURES[1], 'corrected'):.2f} (wanted 1).")
