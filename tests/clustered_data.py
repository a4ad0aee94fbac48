"""Synthetic clustered yes/no data with a known marginal odds ratio.

Outcomes follow a Gaussian copula: each keeps exactly its logistic probability, so the
coefficients are population-averaged by construction, and two outcomes of one patient correlate
because their normal scores share a part. The share is chosen so that the correlation between
the binary outcomes, at the overall risk, is the one asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd
from scipy.optimize import brentq
from scipy.special import expit
from scipy.stats import multivariate_normal, norm

SESSIONS = (0.35, 0.30, 0.20, 0.10, 0.05)  # shares of patients with 1 to 5 sessions
ADJUST = (0.25, 0.30, -0.30)  # true log odds ratios of sm_grade, ruptured, case_number
EXPOSURES = ("continuous session", "continuous patient", "binary session", "binary patient")


@dataclass(frozen=True)
class Cell:
    """One cell of the simulation."""

    patients: int
    event_share: float
    odds_ratio: float
    correlation: float
    exposure: str


@cache
def latent_correlation(correlation: float, risk: float) -> float:
    """Correlation of normal scores that gives binary outcomes of this risk this correlation."""
    cut = norm.ppf(risk)

    def gap(share: float) -> float:
        both = multivariate_normal.cdf([cut, cut], cov=[[1, share], [share, 1]])
        return (both - risk**2) / (risk * (1 - risk)) - correlation

    return brentq(gap, 0.0, 0.999)


def covariates(cell: Cell, generator: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Design matrix (intercept, exposure, sm_grade, ruptured, case_number) and patient codes."""
    c = cell.patients
    sizes = generator.choice(5, size=c, p=SESSIONS) + 1
    patient = np.repeat(np.arange(c), sizes)
    grade = generator.choice(5, size=c, p=[0.12, 0.28, 0.32, 0.2, 0.08]) + 1.0
    ruptured = (generator.random(c) < 0.45).astype(float)
    experience = generator.uniform(0, 2, len(patient))
    exposure = _exposure(cell.exposure, grade, patient, generator)
    x = np.column_stack([np.ones(len(patient)), exposure, grade[patient] - 2.8,
                         ruptured[patient] - 0.45, experience - 1])
    return x, patient


def _exposure(kind: str, grade, patient, generator) -> np.ndarray:
    lean, own = 0.2 * (grade[patient] - 2.8), generator.normal(size=len(grade))[patient]
    if kind == "continuous session":
        part = generator.normal(size=len(patient))
        return (lean + np.sqrt(0.3) * own + np.sqrt(0.7) * part) / 1.03
    if kind == "continuous patient":
        return (lean + own) / 1.03
    if kind == "binary session":  # prevalence 25 %
        return (generator.random(len(patient)) < expit(-1.15 + lean)).astype(float)
    exposed = generator.random(len(grade)) < expit(-0.65 + 0.2 * (grade - 2.8))
    return exposed[patient].astype(float)


@cache
def intercept(cell: Cell) -> float:
    """The intercept that gives the cell its share of events, over many sets of covariates."""
    generator = np.random.default_rng(7)
    x = np.vstack([covariates(cell, generator)[0] for _ in range(max(1, 9000 // cell.patients))])
    slopes = x[:, 1:] @ np.array([np.log(cell.odds_ratio), *ADJUST])
    return brentq(lambda a: expit(a + slopes).mean() - cell.event_share, -15, 5)


def draw(cell: Cell, generator: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """One data set: design matrix, outcomes, patient codes."""
    x, patient = covariates(cell, generator)
    risk = expit(x @ np.array([intercept(cell), np.log(cell.odds_ratio), *ADJUST]))
    share = latent_correlation(cell.correlation, cell.event_share)
    score = (np.sqrt(share) * generator.normal(size=cell.patients)[patient]
             + np.sqrt(1 - share) * generator.normal(size=len(patient)))
    return x, (norm.cdf(score) < risk).astype(float), patient


def as_frame(x: np.ndarray, y: np.ndarray, patient: np.ndarray) -> pd.DataFrame:
    """A data set as the table a user would have."""
    names = ("exposure", "sm_grade", "ruptured", "case_number")
    frame = pd.DataFrame(x[:, 1:], columns=names)
    return frame.assign(event=y.astype(int), patient_id=[f"P-{code:03d}" for code in patient])
