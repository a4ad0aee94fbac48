"""The expected risk of each session, from the service's own earlier sessions or a declared score.

Sources: Firth's penalised likelihood, Heinze and Schemper 2002, Stat Med 21:2409; intercept
corrected so that expected and observed events agree in the baseline (FLIC), Puhr and others
2017, Stat Med 36:2302.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from analyses.statistics.control_charts.chart_arrays import Floats, events, risks, same_length
from analyses.statistics.control_charts.observed_expected import (
    calibration,
    observed_expected_ratio,
)
from analyses.statistics.estimate import Estimate
from registry.problems.sentence_error import SentenceError

if TYPE_CHECKING:
    import pandas as pd

EVENTS_A_TERM = 5
TERM_WORDS = {"sm_grade": "Spetzler–Martin grade", "ruptured": "rupture"}


@dataclass(frozen=True)
class ExpectedRisk:
    """Expected risks, where they come from, and how well they fit the baseline.

    risk: one a session, baseline and monitored ones alike; source: the model in words; terms:
    those used; coefficients: log odds ratios, the intercept first (corrected), empty for a
    declared score; ratio: observed/expected in the baseline; calibration: the same in groups of
    rising risk; notes: what a reader must know.
    """

    risk: Floats
    source: str
    terms: tuple[str, ...]
    coefficients: tuple[float, ...]
    ratio: Estimate
    calibration: tuple[Estimate, ...]
    notes: tuple[str, ...] = ()


class NoRiskModel(SentenceError, ValueError):
    """These sessions cannot give expected risks; the message says why, in words."""


def expected_risk(
    sessions: pd.DataFrame,
    *,
    outcome: str,
    terms: Sequence[str],
    baseline: Iterable[Any],
    cluster: str = "patient_id",
) -> ExpectedRisk:
    """Fit the baseline sessions and give every session its expected risk.

    sessions: one row a session; outcome: its yes-or-no column; terms: numeric or yes-or-no
    columns; baseline: True for the sessions to fit; cluster: the patient's column. Terms beyond
    one for each 5 baseline events are left out, last first, and a note says so. A blank term is
    read as the baseline's median, and a note says how often. Raises NoRiskModel where the
    baseline has no event, or nothing but events.
    """
    fitted = np.asarray(list(baseline), dtype=bool)
    same_length(sessions=sessions, baseline=fitted)
    y = events(sessions[outcome].astype(float))
    found = int(y[fitted].sum())
    if found == 0 or found == int(fitted.sum()):
        raise NoRiskModel(
            f"{found} events in {int(fitted.sum())} baseline sessions: a risk model needs sessions "
            "with and without the event. Take a longer baseline or a published score."
        )
    used, notes = _affordable(sessions, terms, fitted, found)
    x, more = _columns(sessions, used, fitted)
    coefficients = _firth_flic(x[fitted], y[fitted])
    risk = 1 / (1 + np.exp(-(x @ coefficients)))
    adjusted = (f"adjusted for {', '.join(map(_words, used))}" if used
                else "the same for every session")
    source = (f"the service's own {int(fitted.sum())} baseline sessions with {found} events, "
              f"{adjusted}; Firth's logistic regression, intercept corrected")
    return _described(risk, y, fitted, sessions[cluster].to_numpy(), source, tuple(used),
                      tuple(coefficients.tolist()), (*notes, *more))


def declared_risk(
    risk: Iterable[Any], event: Iterable[Any], cluster: Sequence[Any], *, source: str,
    baseline: Iterable[Any],
) -> ExpectedRisk:
    """Expected risks from a published score or another declared source, checked on the baseline.

    risk: strictly between 0 and 1, one a session; source: who published the score. They are used
    as they stand: the baseline's ratio says how far they fit this service. Raises ValueError.
    """
    p, y = risks(list(risk), "risk"), events(list(event))
    fitted = np.asarray(list(baseline), dtype=bool)
    same_length(risk=p, event=y, cluster=list(cluster), baseline=fitted)
    return _described(p, y, fitted, np.asarray(list(cluster), dtype=object), source, (), (), ())


def _described(
    risk: Floats, y: Floats, fitted: np.ndarray, patient: np.ndarray, source: str,
    terms: tuple[str, ...], coefficients: tuple[float, ...], notes: tuple[str, ...],
) -> ExpectedRisk:
    ratio = observed_expected_ratio(y[fitted], risk[fitted], patient[fitted],
                                    id="monitoring.baseline_observed_expected")
    groups = calibration(y[fitted], risk[fitted], patient[fitted])
    return ExpectedRisk(risk, source, terms, coefficients, ratio, tuple(groups), notes)


def _words(term: str) -> str:
    """A term as a reader knows it."""
    return TERM_WORDS.get(term, term)


def _affordable(
    sessions: pd.DataFrame, terms: Sequence[str], fitted: np.ndarray, found: int
) -> tuple[list[str], list[str]]:
    """The terms that vary in the baseline and that its events can carry."""
    varying = [t for t in terms if sessions.loc[fitted, t].dropna().nunique() > 1]
    constant = [t for t in terms if t not in varying]
    fewer = min(found, int(fitted.sum()) - found)
    used = varying[: fewer // EVENTS_A_TERM]
    notes = []
    if constant:
        notes.append(f"{', '.join(constant)}: the same in all baseline sessions, so not used.")
    if len(used) < len(varying):
        notes.append(f"{', '.join(varying[len(used):])}: not used, {found} baseline events carry "
                     f"{len(used)} of {len(varying)} terms (one for each {EVENTS_A_TERM} events).")
    return used, notes


def _columns(
    sessions: pd.DataFrame, terms: Sequence[str], fitted: np.ndarray
) -> tuple[Floats, list[str]]:
    """The design matrix with its intercept; blanks filled with the baseline's median, and told."""
    columns, notes = [np.ones(len(sessions))], []
    for term in terms:
        column = sessions[term].astype("Float64").to_numpy(dtype=float, na_value=np.nan)
        blank = np.isnan(column)
        if blank.any():
            middle = float(np.nanmedian(column[fitted]))
            column = np.where(blank, middle, column)
            notes.append(f"{term} is blank in {int(blank.sum())} of {len(sessions)} sessions; "
                         f"the baseline's median ({middle:g}) stands in for it.")
        columns.append(column)
    return np.column_stack(columns), notes


def _firth_flic(x: Floats, y: Floats) -> Floats:
    """Firth's coefficients with the intercept moved until expected events equal observed ones."""
    from analyses.statistics.regression.corrected_intercept import corrected_intercept
    from analyses.statistics.regression.firth import penalised_logistic

    coefficients = penalised_logistic(x, y).coefficients.copy()
    coefficients[0] = float(corrected_intercept(x[:, 1:] @ coefficients[1:], y)[0])
    return coefficients
