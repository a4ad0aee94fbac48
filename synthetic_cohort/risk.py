"""The complication model: who has an embolization complication at which procedure.

Marginal log-odds of at least one complication (attribution not unrelated, within 30 days), a
procedure:

    η = b + ln(odds_pedicle)·(pedicles − 2) + ln(odds_rate)·(mean rate − 0.16)/0.1
          + ln(odds_reflux)·reflux past the limit + ln(odds_venous)·venous passage
          + ln(odds_grade)·(grade − 3) + ln(odds_ruptured)·ruptured
          + ln(odds_first_case)·exp(−case_number/learning_cases)
          + ln(change_odds)·(service's procedure number ≥ change_at) + operator's own

Given the patient's liability u, logit P = η/φ + u (see `bridge`). The intercept b is found so
that the mean risk of a service of this size, before any change, is `complication_risk`.
"""

from __future__ import annotations

import numpy as np

from registry.schema import Patients, Sessions
from synthetic_cohort.bridge import bridge_parameter, bridge_quantile
from synthetic_cohort.draws import Array, Columns, Streams, logistic
from synthetic_cohort.settings import CohortSettings

OPERATOR_FROM = (0, 0, 730, 1825)       # day an operator joins; later ones with the last


def assign_operators(
    s: Streams, cfg: CohortSettings, patient: Columns, procedure: Columns
) -> None:
    """Operator (position), case number and number in the service of every procedure."""
    q = len(procedure["patient"])
    joined = np.array([OPERATOR_FROM[min(i, 3)] for i in range(cfg.operators)], dtype=float)
    there = (procedure["day"][:, None] >= joined).astype(float)
    there[:, 0] = 1.0
    usual = s.code_by_row("usual operator", np.where(
        patient["first_day"][:, None] >= joined, 1.0, 0.0) + (joined == 0) * 1e-12)
    other = s.code_by_row("other operator", there)
    same = s.chance("same operator", 0.8, q)
    procedure["operator"] = np.where(same, usual[procedure["patient"]], other)
    service = patient["service"][procedure["patient"]]
    order = np.lexsort(
        (procedure[Sessions.procedure_no], procedure["patient"], procedure["day"], service)
    )
    procedure["service_number"] = _rank(service, order)
    group = service * cfg.operators + procedure["operator"]
    by_operator = order[np.argsort(group[order], kind="stable")]
    procedure["case_number"] = _rank(group, by_operator) - 1


def _rank(group: np.ndarray, order: np.ndarray) -> np.ndarray:
    """1, 2, … in each group along `order`, which keeps each group together."""
    out = np.empty(len(order), dtype=np.int64)
    if len(order):
        sorted_group = group[order]
        starts = np.flatnonzero(np.r_[True, sorted_group[1:] != sorted_group[:-1]])
        sizes = np.diff(np.r_[starts, len(order)])
        out[order] = np.arange(len(order)) - np.repeat(starts, sizes) + 1
    return out


def marginal_terms(cfg: CohortSettings, procedure: Columns, operator_own: Array) -> Array:
    """η without its intercept and without the change."""
    log = np.log
    return (
        log(cfg.odds_pedicle) * (procedure["pedicles"] - 2)
        + log(cfg.odds_rate) * (procedure["mean_rate"] - 0.16) / 0.1
        + log(cfg.odds_reflux) * procedure["reflux_past"]
        + log(cfg.odds_venous) * procedure["venous"]
        + log(cfg.odds_grade) * (procedure["sm_grade"] - 3)
        + log(cfg.odds_ruptured) * procedure["ruptured"]
        + log(cfg.odds_first_case) * np.exp(-procedure["case_number"] / cfg.learning_cases)
        + operator_own
    )


def operators_own(s: Streams, cfg: CohortSettings, patient: Columns, procedure: Columns) -> Array:
    """The operators' own log-odds (zero unless the settings spread them)."""
    services = int(patient["service"].max()) + 1
    own = cfg.operator_spread * s.normal("operator own", services * cfg.operators)
    service = patient["service"][procedure["patient"]]
    return own[service * cfg.operators + procedure["operator"]]


def change_term(cfg: CohortSettings, procedure: Columns) -> Array:
    """ln(change_odds) from the procedure of the change on."""
    if cfg.change_at is None:
        return np.zeros(len(procedure["patient"]))
    return np.log(cfg.change_odds) * (procedure["service_number"] >= cfg.change_at)


def draw_complicated(
    s: Streams, cfg: CohortSettings, patient: Columns, procedure: Columns, intercept: float
) -> None:
    """Add to the procedures `risk` (marginal) and `complicated`."""
    phi = bridge_parameter(cfg.icc, cfg.complication_risk)
    liability = bridge_quantile(s.uniform("liability", len(patient[Patients.age_y])), phi)
    linear = (
        intercept + marginal_terms(cfg, procedure, operators_own(s, cfg, patient, procedure))
        + change_term(cfg, procedure)
    )
    procedure["risk"] = logistic(linear)
    own = logistic(linear / phi + liability[procedure["patient"]])
    procedure["complicated"] = s.chance("complicated", own, len(own))


def solve_intercept(terms: Array, risk: float) -> float:
    """The intercept at which the mean of expit(intercept + terms) is `risk` (6 digits)."""
    low, high = -25.0, 25.0
    for _ in range(80):
        middle = (low + high) / 2
        if logistic(middle + terms).mean() > risk:
            high = middle
        else:
            low = middle
    return round((low + high) / 2, 6)


