"""What every estimator hands back, before it is dressed for the reader."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from analyses.statistics.arrays import Floats, Labels

SCALES = {
    "log odds ratio": "odds ratio",
    "log risk ratio": "risk ratio",
    "log hazard ratio": "hazard ratio",
    "log ratio": "ratio of geometric means",
}


@dataclass(frozen=True)
class Fitted:
    """Numbers of one fitted model, a place a column of its design matrix.

    scale: what the coefficients are (a key of SCALES); method: how the intervals were made, in
    words; df: reference degrees of freedom of each coefficient, infinite for the normal;
    gives_risks: whether they are those of a logistic model, from which risks follow;
    undetermined: names for which no number may be shown (see lone_patient.py), whose place in
    `coefficients` serves predictions.
    """

    names: tuple[str, ...]
    coefficients: Floats
    se: Floats
    low: Floats
    high: Floats
    p: Floats
    covariance: Floats
    df: Floats
    scale: str
    method: str
    warnings: tuple[str, ...] = ()
    gives_risks: bool = False
    undetermined: tuple[str, ...] = ()


def wald(
    coefficients: Floats, covariance: Floats, level: float, df: Floats | float = np.inf
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """se, low, high, p and df of coefficients by the t distribution (normal where df is inf)."""
    df = np.broadcast_to(np.asarray(df, float), coefficients.shape).copy()
    se = np.sqrt(np.diag(covariance))
    far = stats.t.ppf((1 + level) / 2, df) * se
    with np.errstate(invalid="ignore", divide="ignore"):
        p = 2 * stats.t.sf(np.abs(coefficients) / se, df)
    return se, coefficients - far, coefficients + far, p, df


def infinite_terms(x: Floats, y: Labels, names: tuple[str, ...]) -> dict[str, int]:
    """Columns whose maximum-likelihood estimate is infinite, with the direction (+1 or -1).

    Found by linear programming (Konis 2007) with the firthmodels library.
    """
    from firthmodels import detect_separation

    found = detect_separation(x, np.asarray(y, int), fit_intercept=False)
    return {
        name: int(way) for name, way in zip(names, found.directions, strict=True) if way != 0
    }
