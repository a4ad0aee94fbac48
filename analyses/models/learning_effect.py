"""Learning: does the outcome change with the operator's experience?

The effect of case_number within operators (their mean numbers are held the same, so that it is
not that of who is experienced) and beside calendar time, adjusted, with intervals clustered on
the patient. Where number and calendar time rise together, or the interval admits a halving and a
doubling of the odds alike, they cannot be told apart, and that is the answer
(`within_groups`). Risks are shown only between numbers that three operators and ten sessions
reached. Operators differ for reasons of their own; how much is told by a mixed model with a random
intercept of each operator.
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
from analyses.statistics.regression.within_groups import (
    FEWEST_GROUPS,
    FEWEST_TRIALS,
    TOGETHER,
    own_means,
    says_nothing,
    shared_range,
    within_correlation,
)
from registry.schema import Patients, Sessions

STEP = 50.0
"""Cases a step of the odds ratio is."""
ENOUGH_OPERATORS = 10
LARGEST_SPREAD = 3.0


@dataclass(frozen=True)
class LearningEffect:
    """The learning curve of a group of operators.

    model: the adjusted model with a spline (or a line, where events are few), None where
    experience and calendar time cannot be told apart; curve: columns case_number, risk, low, high,
    empty where three operators and ten sessions share no range; spread: standard deviation of
    operators on the log odds scale with its 95 % interval, None where it cannot be estimated;
    sentences: for the reader; ratio: the adjusted odds ratio per STEP cases, of the line, None
    where the two cannot be told apart by their correlation; risks: at the first and the last
    number of the curve, their difference last, or none; operators: how many there are.
    """

    model: ModelFit | None
    curve: pd.DataFrame
    spread: tuple[float, float, float] | None
    sentences: tuple[str, ...]
    ratio: Estimate | None
    risks: tuple[Estimate, ...]
    operators: int

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """The numbers of the effect: ratio, risks, and the spread of operators."""
        told = (*(() if self.ratio is None else (self.ratio,)), *self.risks)
        if self.model is None or self.spread is None or self.operators < ENOUGH_OPERATORS:
            return told
        value, low, high = self.spread
        return (*told, Estimate(
            id=f"learning.{self.model.outcome}.operators", kind="standard deviation", value=value,
            low=low, high=high, unit="operator", n=self.operators,
            method="random intercept of operators, profile likelihood"))


def learning_effect(
    data: pd.DataFrame,
    outcome: str,
    adjust: Sequence[str | Term],
    *,
    case_number: str = "case_number",
    calendar: str = "year",
    operator: str = Sessions.operator_id,
    cluster: str = Patients.patient_id,
    level: float = 0.95,
    unit: str = "session",
) -> LearningEffect:
    """Adjusted effect of case_number on a yes/no outcome of sessions.

    data: one row a session (or another `unit`), with its operator and calendar time in years;
    adjust: terms held beside it. A spline with 3 knots needs 10 events a coefficient; with fewer
    the effect is a straight line on the log odds scale, and the sentence says so. Raises
    ValueError as `fit` does, or where no risk can be given.
    """
    rows = _known(data, (outcome, case_number, calendar, operator))
    number, who = numbers(rows[case_number]), rows[operator].to_numpy(dtype=str)
    count = len(set(who))
    together = within_correlation(number, numbers(rows[calendar]), who)
    if abs(together) >= TOGETHER:
        return _not_told((_together_words(together, count),), count)
    rows = rows.assign(**{OWN_MEAN: own_means(number, who)})
    held = [calendar, *([OWN_MEAN] if np.ptp(rows[OWN_MEAN]) > 0 else []), *adjust]
    step = Term((case_number,), "linear", per=STEP)
    line = fit(rows, outcome, [step, *held], cluster=cluster, level=level)
    if line.estimator == "exact":
        raise ValueError(line.why)
    ratio = replace(line.estimate(line.rows.columns.names[1], unit),
                    id=f"learning.{outcome}.odds_ratio")
    if ratio.low is None or ratio.high is None or says_nothing(ratio.low, ratio.high):
        return _not_told((_wide_words(ratio),), count, ratio)
    model, said = line, [_ratio_words(ratio)]
    if (line.events or 0) >= 10 * line.rows.x.shape[1]:
        model = fit(rows, outcome, [Term((case_number,), "spline", 3), *held], cluster=cluster,
                    level=level)
    else:
        said.append(f"With {line.events} events the effect of experience is a straight line; a "
                    "curve would follow chance.")
    operators = model.rows.frame[operator]
    curve, risks = _shown(model, case_number, operators, unit)
    spread = operator_spread(model, operators) if count > 1 else None
    said += [_curve_words(curve, case_number), _operator_words(count, spread)]
    return LearningEffect(model, curve, spread, tuple(said), ratio, risks, count)


OWN_MEAN = "operators_mean_number"
"""Column: the mean case number of the session's operator."""


def _known(data: pd.DataFrame, columns: Sequence[str]) -> pd.DataFrame:
    """The rows in which the columns are recorded. Raises ValueError for a column not there."""
    absent = [name for name in columns if name not in data]
    if absent:
        raise ValueError(f"no column {', '.join(absent)}")
    rows = data[data[list(columns)].notna().all(axis=1)].reset_index(drop=True)
    if rows.empty:
        raise ValueError(f"no row has {', '.join(columns)} recorded")
    return rows


def _not_told(said: tuple[str, ...], count: int, ratio: Estimate | None = None) -> LearningEffect:
    empty = pd.DataFrame(columns=["case_number", "risk", "low", "high"])
    return LearningEffect(None, empty, None, said, ratio, (), count)


def _shown(
    model: ModelFit, case_number: str, operators: pd.Series, unit: str,
) -> tuple[pd.DataFrame, tuple[Estimate, ...]]:
    """The curve, and the risks at its ends with their difference; both empty without a range."""
    values = numbers(model.rows.frame[case_number])
    ends = shared_range(values, operators.to_numpy(dtype=str))
    if ends is None:
        return pd.DataFrame(columns=[case_number, "risk", "low", "high"]), ()
    places = np.unique(np.round(np.linspace(*ends, 25)))
    curve = effect_curve(model, case_number, places).rename(columns={"value": case_number})
    return curve, _ends(model, case_number, places, unit)


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


def _together_words(together: float, count: int) -> str:
    among = "the one operator" if count == 1 else f"{count} operators"
    return (f"Case number and calendar time rise together (correlation {together:.2f} within "
            f"{among}): what practice changed cannot be told apart from what the years changed, "
            "and no effect of experience is given.")


def _wide_words(ratio: Estimate) -> str:
    between = ("no interval" if ratio.low is None or ratio.high is None
               else f"{ratio.low:.2g} to {ratio.high:.2g}")
    return ("Within operators and beside calendar time the effect of experience cannot be told: "
            f"the odds ratio per {STEP:.0f} cases may lie anywhere from {between}.")


def _ratio_words(ratio: Estimate) -> str:
    return (f"Within operators and beside calendar time the odds ratio per {STEP:.0f} cases is "
            f"{ratio.value:.2f} ({ratio.low:.2f}–{ratio.high:.2f}). Harder cases come with "
            "experience, so that this is not the effect of practice alone.")


def _curve_words(curve: pd.DataFrame, case_number: str) -> str:
    if curve.empty:
        return (f"No risk is given at a case number: fewer than {FEWEST_GROUPS} operators or "
                f"{FEWEST_TRIALS} sessions reached any other than the same few.")
    first, last = curve.iloc[0], curve.iloc[-1]
    return (f"From case {first[case_number]:.0f} to case {last[case_number]:.0f}, as far as "
            f"{FEWEST_GROUPS} operators and {FEWEST_TRIALS} sessions reached, the adjusted risk "
            f"goes from {100 * first['risk']:.1f} % ({100 * first['low']:.1f}–"
            f"{100 * first['high']:.1f}) to {100 * last['risk']:.1f} % ({100 * last['low']:.1f}–"
            f"{100 * last['high']:.1f}).")


def _operator_words(count: int, spread: tuple[float, float, float] | None) -> str:
    if spread is None:
        return "One operator only: the effect is that operator's, and not for ranking."
    if count < ENOUGH_OPERATORS:
        return (f"With {count} operators the spread between them cannot be told from chance "
                "and is not for ranking.")
    return (f"Operators differ by a standard deviation of {spread[0]:.2f} in log odds "
            f"({spread[1]:.2f}–{spread[2]:.2f}); not for ranking.")
