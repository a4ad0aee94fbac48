"""How well a model tells events from non-events, corrected for having seen the answers.

The c statistic, the calibration slope and the Brier score of the intercept-corrected fit, each
less the optimism found by refitting on samples of whole patients (Efron 1983; Harrell, Lee and
Mark 1996, Stat Med 15:361). Calibration by predicted risk: observed against expected events.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit

from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate, given
from analyses.statistics.regression.model_fit import ModelFit
from analyses.statistics.regression.predictions import corrected_coefficients
from analyses.statistics.regression.refits import bootstrap_patients
from analyses.statistics.table_numbers import number_at


def c_statistic(risk: Floats, y: Floats, weights: Floats | None = None) -> float:
    """Chance that a row with the event has the higher risk than one without; ties count half."""
    weights = np.ones_like(risk) if weights is None else weights
    levels, place = np.unique(risk, return_inverse=True)
    events = np.bincount(place, weights=weights * y, minlength=len(levels))
    others = np.bincount(place, weights=weights * (1 - y), minlength=len(levels))
    below = np.cumsum(others) - others / 2
    return float((events * below).sum() / (events.sum() * others.sum()))


def calibration_slope(linear: Floats, y: Floats, weights: Floats | None = None) -> Floats:
    """Slopes of the outcome on linear predictors: 1 is perfect, under 1 overfitted.

    linear: (rows,) or (fits, rows); y: (rows,); weights: as linear, 1 where None. Maximum
    likelihood, all fits at once by Newton's method; NaN where there is no finite answer.
    Returns (fits,).
    """
    line = np.atleast_2d(linear)
    own = np.ones_like(line) if weights is None else np.atleast_2d(weights)
    beta = np.tile([0.0, 1.0], (len(line), 1))
    step = np.full_like(beta, np.inf)
    for _ in range(50):
        risk = expit(beta[:, [0]] + beta[:, [1]] * line)
        step = _newton(line, own * (y - risk), own * risk * (1 - risk))
        # A long step overshoots where events are few, and is cut to 2.
        longest = np.maximum(np.abs(step).max(axis=1, keepdims=True), 1e-300)
        beta = beta + step * np.minimum(1.0, 2.0 / longest)
        if np.nanmax(np.abs(step), initial=0.0) < 1e-10:
            break
    settled = (np.abs(step).max(axis=1) < 1e-6) & (np.abs(beta[:, 1]) < 1e3)
    return np.where(settled, beta[:, 1], np.nan)


def _newton(line: Floats, left: Floats, weight: Floats) -> Floats:
    """Newton steps of intercept and slope, (fits, 2); NaN where the information is singular."""
    scores = np.stack([left.sum(axis=1), (left * line).sum(axis=1)])
    a, b, c = weight.sum(axis=1), (weight * line).sum(axis=1), (weight * line**2).sum(axis=1)
    determinant = a * c - b * b
    singular = ~(determinant > 1e-12 * a * c)
    found = np.stack([c * scores[0] - b * scores[1], a * scores[1] - b * scores[0]], axis=1)
    return np.where(singular[:, None], np.nan, found / np.where(singular, 1.0, determinant)[
        :, None])


def brier(risk: Floats, y: Floats, weights: Floats | None = None) -> float:
    """Mean squared distance of risk and outcome."""
    return float(np.average((y - risk) ** 2, weights=weights))


@dataclass(frozen=True)
class Validation:
    """Apparent and corrected performance, and a sentence.

    table: index `measure` (c statistic, calibration slope, Brier score); columns apparent,
    optimism, corrected; c: the corrected c statistic as an estimate, its interval the bootstrap
    one moved by the optimism (Noma and others 2021, Stat Med 40:5691).
    """

    table: pd.DataFrame
    c: Estimate
    sentence: str


def _measures(beta: Floats, x: Floats, y: Floats, weights: Floats) -> Floats:
    """(fits, 3): the measures of each line of `beta` (fits, columns) under its `weights`."""
    linear = beta @ x.T
    risk = expit(linear)
    return np.column_stack([
        [c_statistic(one, y, own) for one, own in zip(risk, weights, strict=True)],
        calibration_slope(linear, y, weights),
        [brier(one, y, own) for one, own in zip(risk, weights, strict=True)]])


def validate(model: ModelFit, *, times: int = 200, seed: int = 20260101) -> Validation:
    """Bootstrap-of-patients validation of a penalised model.

    times: samples drawn. Raises ValueError where the model gives no risks.
    """
    beta = corrected_coefficients(model)
    rows = model.rows
    apparent = _measures(beta[None, :], rows.x, rows.y, np.ones((1, rows.n)))[0]
    draws = bootstrap_patients(rows.x, rows.y, rows.cluster, model.fitted.coefficients,
                               times=times, seed=seed)
    betas, weights = draws.corrected[draws.usable], draws.weights[draws.usable]
    inside = _measures(betas, rows.x, rows.y, weights)
    outside = _measures(betas, rows.x, rows.y, np.ones_like(weights))
    optimism = np.nanmean(inside - outside, axis=0)
    table = pd.DataFrame(
        {"apparent": apparent, "optimism": optimism, "corrected": apparent - optimism},
        index=pd.Index(["c statistic", "calibration slope", "Brier score"], name="measure"))
    c = _c_estimate(model, table, inside[:, 0])
    return Validation(table, c, _sentence(table, c, len(inside)))


def _c_estimate(model: ModelFit, table: pd.DataFrame, drawn: Floats) -> Estimate:
    tail = (1 - model.level) / 2
    low, high = np.quantile(drawn, [tail, 1 - tail]) - number_at(
        table, "c statistic", "optimism")
    value = number_at(table, "c statistic", "corrected")
    return Estimate(id=f"model.{model.outcome}.c_statistic", kind="c statistic", value=value,
                    low=min(max(0.0, low), value), high=max(min(1.0, high), value),
                    level=model.level, unit="row", events=model.events, n=model.n,
                    clusters=model.clusters,
                    method="optimism-corrected, bootstrap of patients (Harrell; Noma)")


def _sentence(table: pd.DataFrame, c: Estimate, times: int) -> str:
    slope = number_at(table, "calibration slope", "corrected")
    value, low, high = given(c.value), given(c.low), given(c.high)
    trust = "close to chance" if value < 0.6 else "modest" if value < 0.75 else "fair"
    over = (f"; predictions for new patients would be too extreme (slope {slope:.2f}, wanted 1)"
            if slope < 0.8 else f"; calibration slope {slope:.2f} (wanted 1)")
    return (f"Corrected for optimism over {times} samples of patients, the c statistic is "
            f"{value:.2f} ({low:.2f}–{high:.2f}), {trust} discrimination{over}. The model "
            "describes these patients; it has not been validated elsewhere.")


def calibration_table(model: ModelFit, groups: int = 5) -> pd.DataFrame:
    """Observed and expected events in groups of rising predicted risk.

    Columns: rows, patients, expected, observed, mean_risk, observed_share, and low and high of
    that share, clustered on the patient (Korn and Graubard 1998).
    """
    from analyses.statistics.proportions.clustered import clustered_proportion

    rows = model.rows
    risk = model.predict()
    place = np.minimum(groups - 1, (np.argsort(np.argsort(risk, kind="stable"), kind="stable")
                                    * groups) // rows.n)
    frame = pd.DataFrame({"group": place + 1, "risk": risk, "y": rows.y, "patient": rows.cluster})
    by = frame.groupby("group")
    found = pd.DataFrame({
        "rows": by.size(), "patients": by["patient"].nunique(), "expected": by["risk"].sum(),
        "observed": by["y"].sum().astype(int), "mean_risk": by["risk"].mean(),
    })
    shares = [clustered_proportion(part["y"].astype(bool).to_numpy(), part["patient"].to_numpy())
              for _, part in by]
    return found.assign(observed_share=found["observed"] / found["rows"],
                        low=np.array([one.low for one in shares], float),
                        high=np.array([one.high for one in shares], float))
