"""Learning: does the outcome change with the operator's experience?

The effect of case_number as a restricted cubic spline, adjusted, with intervals clustered on
the patient. Operators differ for reasons of their own; how much is told by a mixed model with a
random intercept of each operator (statsmodels).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analyses.regression.fitting import fit
from analyses.regression.penalised_core import Array
from analyses.regression.result import ModelFit
from analyses.regression.standardisation import effect_curve
from analyses.regression.terms import Term, numbers

ENOUGH_OPERATORS = 10


@dataclass(frozen=True)
class LearningEffect:
    """The learning curve of a group of operators.

    model: the adjusted model with a spline (or a line, where events are few); curve: columns
    case_number, risk, low, high; spread: standard deviation of operators on the log odds scale
    with its 95 % interval, None where it cannot be estimated; sentences: for the reader.
    """

    model: ModelFit
    curve: pd.DataFrame
    spread: tuple[float, float, float] | None
    sentences: tuple[str, ...]


def learning_effect(
    data: pd.DataFrame, outcome: str, adjust: Sequence[str | Term], *,
    case_number: str = "case_number", operator: str = "operator_id", cluster: str = "patient_id",
    level: float = 0.95,
) -> LearningEffect:
    """Adjusted effect of case_number on a yes/no outcome of sessions.

    data: one row a session; adjust: terms held beside it. A spline with 3 knots needs 10 events
    a coefficient; with fewer the effect is a straight line on the log odds scale, and the
    sentence says so. Raises ValueError as `fit` does, or where no risk can be given.
    """
    line = fit(data, outcome, [case_number, *adjust], cluster=cluster, level=level)
    smooth = Term((case_number,), "spline", 3)
    model, said = line, []
    enough = (line.events or 0) >= 10 * (line.rows.x.shape[1])
    if enough:
        model = fit(data, outcome, [smooth, *adjust], cluster=cluster, level=level)
    else:
        said.append(f"With {line.events} events the effect of experience is a straight line; a "
                    "curve would follow chance.")
    if line.estimator == "exact":
        raise ValueError(line.why)
    values = numbers(model.rows.frame[case_number])
    places = np.unique(np.round(np.quantile(values, np.linspace(0.02, 0.98, 25))))
    curve = effect_curve(model, case_number, places).rename(columns={"value": case_number})
    operators = model.rows.frame[operator]
    spread = operator_spread(model, operators) if operators.nunique() > 1 else None
    return LearningEffect(model, curve, spread, (*said, *_sentences(curve, case_number, operators,
                                                                    spread)))


def operator_spread(model: ModelFit, operators: pd.Series) -> tuple[float, float, float]:
    """Standard deviation of operators' log odds, with a 95 % interval.

    A Bayesian logistic mixed model with random intercepts of operators and of patients, at its
    posterior mode (statsmodels BinomialBayesMixedGLM); the prior of each log standard deviation
    is standard normal, that of the coefficients normal with standard deviation 2.
    """
    from scipy import sparse
    from statsmodels.genmod.bayes_mixed_glm import BinomialBayesMixedGLM

    rows = model.rows
    blocks = [_indicators(pd.factorize(operators)[0])]
    if rows.repeated:
        blocks.append(_indicators(rows.cluster))
    kinds = np.concatenate([np.full(b.shape[1], i) for i, b in enumerate(blocks)])
    x = rows.x.copy()
    x[:, 1:] = (x[:, 1:] - x[:, 1:].mean(axis=0)) / x[:, 1:].std(axis=0)
    mixed = BinomialBayesMixedGLM(rows.y, x, sparse.csr_matrix(np.hstack(blocks)), kinds,
                                  vcp_p=1.0, fe_p=2.0)
    found = mixed.fit_map()
    centre, error = float(found.vcp_mean[0]), float(found.vcp_sd[0])
    return tuple(float(np.exp(centre + step * error)) for step in (0.0, -1.96, 1.96))


def _indicators(codes: Array) -> Array:
    return np.eye(int(codes.max()) + 1)[codes]


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
