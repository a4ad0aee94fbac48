"""Which estimator fits the data: rules, and the sentence that tells the reader."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analyses.statistics.regression.model_checks import FEWEST_EVENTS, is_binary, rarer_outcome
from analyses.statistics.regression.model_rows import ModelRows

BINARY = ("firth", "logistic", "gee", "penalised-gee", "poisson", "exact")
ESTIMATORS = ("auto", *BINARY, "ordinal", "log-linear", "cox")
HIGHEST_CODE = 6
"""Whole numbers up to here may be codes or grades (0 to 6, as of the modified Rankin Scale)."""


@dataclass(frozen=True)
class Choice:
    """An estimator and the sentence that says why."""

    estimator: str
    why: str


def _patients(rows: ModelRows) -> str:
    return f"{rows.n} rows from {rows.clusters} patients"


def _automatic_binary(rows: ModelRows) -> Choice:
    fewer = rarer_outcome(rows.y)
    if fewer < FEWEST_EVENTS:
        return Choice("exact", (
            f"With {int(rows.y.sum())} events among {rows.n} rows the data cannot answer this "
            f"with a regression model (at least {FEWEST_EVENTS} events and as many non-events "
            "are needed for an interval that can be trusted); the counts are given instead, and "
            "a test only where no other term is held the same."))
    if rows.repeated:
        return Choice("penalised-gee", (
            f"{_patients(rows)}: rows of one patient are alike, so the interval is clustered on "
            f"the patient, and Firth's penalty keeps the estimate finite and less biased with "
            f"{fewer} {'events' if rows.y.mean() <= 0.5 else 'non-events'}."))
    return Choice("firth", (
        f"One row a patient and {fewer} {'events' if rows.y.mean() <= 0.5 else 'non-events'}: "
        "Firth's penalised likelihood, which stays finite under separation and is less biased, "
        "with profile intervals."))


def automatic(rows: ModelRows) -> Choice:
    """The estimator for these rows, by outcome, rows a patient and number of events."""
    if is_binary(rows.y):
        return _automatic_binary(rows)
    levels = len(set(rows.y))
    if isinstance(rows.frame[rows.outcome].dtype, pd.CategoricalDtype):
        return Choice("ordinal", (
            f"The outcome has {levels} ordered levels: proportional odds"
            + (f", clustered on the patient ({_patients(rows)})." if rows.repeated else ".")))
    return Choice("log-linear", (
        "The outcome is a positive measurement: a linear model of its logarithm, clustered on "
        f"the patient ({_patients(rows)}), whose coefficients are ratios."))


def choose(rows: ModelRows, asked: str) -> Choice:
    """The estimator asked for, or the automatic one.

    Raises ValueError for an unknown name, or one that does not fit the outcome.
    """
    if asked not in ESTIMATORS:
        raise ValueError(f"estimator {asked!r} is not known; wanted one of {', '.join(ESTIMATORS)}")
    if asked == "auto":
        _refuse_codes(rows)
        return automatic(rows)
    if asked in BINARY and not is_binary(rows.y):
        seen = ", ".join(f"{value:g}" for value in sorted(set(rows.y))[:6])
        raise ValueError(f"outcome {rows.outcome!r}: estimator {asked!r} needs yes/no or 0/1; "
                         f"found {seen}")
    return Choice(asked, f"{asked} was asked for ({_patients(rows)}).")


def _refuse_codes(rows: ModelRows) -> None:
    """Raise ValueError where a few whole numbers may be grades in order or codes of events."""
    ordered = isinstance(rows.frame[rows.outcome].dtype, pd.CategoricalDtype)
    whole = bool(np.isin(rows.y, range(HIGHEST_CODE + 1)).all())
    if ordered or not whole or is_binary(rows.y):
        return
    seen = ", ".join(f"{value:g}" for value in sorted(set(rows.y)))
    raise ValueError(
        f"outcome {rows.outcome!r} holds {seen}: grades in order, or codes of events? Say "
        "estimator='ordinal' (or give an ordered categorical) for grades; of event codes make a "
        "yes/no of the event that is meant, or use cumulative_incidence")
