"""Learning: does the outcome change with the operator's experience?

The effect of case_number as a restricted cubic spline, adjusted, with intervals clustered on
the patient. Operators differ for reasons of their own; how much is told by a mixed model with a
random intercept of each operator.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import logsumexp
from scipy.stats import chi2

from analyses.statistics.arrays import Floats, Whole
from analyses.statistics.estimate import Estimate
from analyses.statistics.regression.fitting import fit
from analyses.statistics.regression.model_fit import ModelFit
from analyses.statistics.regression.predictions import corrected_coefficients
from analyses.statistics.regression.sandwich import sum_by_cluster
from analyses.statistics.regression.standardisation import effect_curve, standardised_risks
from analyses.statistics.regression.terms import Term, numbers
from registry.schema import Patients, Sessions

STEP = 50.0
"""Cases a step of the odds ratio is."""
ENOUGH_OPERATORS = 10
LARGEST_SPREAD = 3.0


@dataclass(frozen=True)
class LearningEffect:
    """The learning curve of a group of operators.

    model: the adjusted model with a spline (or a line, where events are few); curve: columns
    case_number, risk, low, high; spread: standard deviation of operators on the log odds scale
    with its 95 % interval, None where it cannot be estimated; sentences: for the reader; ratio:
    the adjusted odds ratio per STEP cases, of the line; risks: at the first and the last number
    of the curve, their difference last; operators: how many there are.
    """

    model: ModelFit
    curve: pd.DataFrame
    spread: tuple[float, float, float] | None
    sentences: tuple[str, ...]
    ratio: Estimate
    risks: tuple[Estimate, ...]
    operators: int

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """The numbers of the effect: ratio, risks, and the spread of operators."""
        if self.spread is None or self.operators < ENOUGH_OPERATORS:
            return (self.ratio, *self.risks)
        value, low, high = self.spread
        return (self.ratio, *self.risks, Estimate(
            id=f"learning.{self.model.outcome}.operators", kind="standard deviation", value=value,
            low=low, high=high, unit="operator", n=self.operators,
            method="random intercept of operators, profile likelihood"))


def learning_effect(
    data: pd.DataFrame,
    outcome: str,
    adjust: Sequence[str | Term],
    *,
    case_number: str = "case_number",
    operator: str = Sessions.operator_id,
    cluster: str = Patients.patient_id,
    level: float = 0.95,
    unit: str = "session",
) -> LearningEffect:
    """Adjusted effect of case_number on a yes/no outcome of sessions.

    data: one row a session (or another `unit`); adjust: terms held beside it. A spline with 3
    knots needs 10 events a coefficient; with fewer the effect is a straight line on the log
    odds scale, and the sentence says so. Raises ValueError as `fit` does, or where no risk can
    be given.
    """
    step = Term((case_number,), "linear", per=STEP)
    line = fit(data, outcome, [step, *adjust], cluster=cluster, level=level)
    if line.estimator == "exact":
        raise ValueError(line.why)
    smooth = Term((case_number,), "spline", 3)
    model, said = line, []
    enough = (line.events or 0) >= 10 * (line.rows.x.shape[1])
    if enough:
        model = fit(data, outcome, [smooth, *adjust], cluster=cluster, level=level)
    else:
        said.append(f"With {line.events} events the effect of experience is a straight line; a "
                    "curve would follow chance.")
    values = numbers(model.rows.frame[case_number])
    places = np.unique(np.round(np.quantile(values, np.linspace(0.02, 0.98, 25))))
    curve = effect_curve(model, case_number, places).rename(columns={"value": case_number})
    operators = model.rows.frame[operator]
    spread = operator_spread(model, operators) if operators.nunique() > 1 else None
    return LearningEffect(
        model, curve, spread,
        (*said, *_sentences(curve, case_number, operators, spread)),
        replace(line.estimate(line.rows.columns.names[1], unit),
                id=f"learning.{outcome}.odds_ratio"),
        _ends(model, case_number, places, unit), operators.nunique())


def _ends(model: ModelFit, case_number: str, places: Floats, unit: str) -> tuple[Estimate, ...]:
    """Risks at the first and the last number, and their difference."""
    found = standardised_risks(
        model, [{case_number: float(places[0])}, {case_number: float(places[-1])}], unit=unit)
    risks = tuple(replace(e, id=f"learning.{model.outcome}.risk") for e in found.risks)
    gap = found.differences[0]
    return (*risks, replace(gap, id=f"learning.{model.outcome}.risk_difference",
                            arms=(risks[1], risks[0])))


def operator_spread(model: ModelFit, operators: pd.Series) -> tuple[float, float, float]:
    """Standard deviation of operators' log odds, adjusted, with a 95 % profile interval.

    A logistic model with a normal random intercept of each operator, the model's corrected
    linear predictor as its offset; maximum likelihood by Gauss–Hermite quadrature (Breslow and
    Clayton 1993, J Am Stat Assoc 88:9, for the model). The interval is cut at 3.
    """
    codes = pd.factorize(operators)[0]
    offset = model.rows.x @ corrected_coefficients(model)
    grid = np.linspace(0.0, LARGEST_SPREAD, 61)
    profile = np.array([_best_marginal(offset, model.rows.y, codes, sd) for sd in grid])
    inside = grid[2 * (profile.max() - profile) <= chi2.ppf(0.95, 1)]
    return float(grid[profile.argmax()]), float(inside[0]), float(inside[-1])


def _best_marginal(offset: Floats, y: Floats, codes: Whole, sd: float) -> float:
    """Marginal log-likelihood at `sd`, maximised over a common shift of the intercept."""
    from scipy.optimize import minimize_scalar

    found = minimize_scalar(lambda shift: -_marginal(offset + shift, y, codes, sd),
                            bounds=(-3.0, 3.0), method="bounded", options={"xatol": 1e-6})
    return float(-found.fun)


def _marginal(offset: Floats, y: Floats, codes: Whole, sd: float) -> float:
    nodes, weights = np.polynomial.hermite_e.hermegauss(31)
    eta = offset[:, None] + sd * nodes[None, :]
    rows = y[:, None] * eta - np.logaddexp(0, eta)
    operators = sum_by_cluster(rows, codes, int(codes.max()) + 1)
    return float(logsumexp(operators + np.log(weights / weights.sum()), axis=1).sum())


def _sentences(
    curve: pd.DataFrame, case_number: str, operators: pd.Series,
    spread: tuple[float, float, float] | None,
) -> list[str]:
    first, last = curve.iloc[0], curve.iloc[-1]
    said = [
        f"From case {first[case_number]:.0f} to case {last[case_number]:.0f} the adjusted risk "
        f"goes from {100 * first['risk']:.1f} % ({100 * first['low']:.1f}–"
        f"{100 * first['high']:.1f}) to {100 * last['risk']:.1f} % ({100 * last['low']:.1f}–"
        f"{100 * last['high']:.1f}). Harder cases come with experience, so that this is not the "
        "effect of practice alone."]
    count = operators.nunique()
    if spread is None:
        said.append("One operator only: experience and calendar time cannot be told apart.")
    elif count < ENOUGH_OPERATORS:
        said.append(f"With {count} operators the spread between them cannot be told from chance "
                    "and is not for ranking.")
    else:
        said.append(f"Operators differ by a standard deviation of {spread[0]:.2f} in log odds "
                    f"({spread[1]:.2f}–{spread[2]:.2f}); not for ranking.")
    return said
