"""The expected risk of each trial, from the service's own earlier trials or a declared score.

Sources: Firth's penalised likelihood, Heinze and Schemper 2002, Stat Med 21:2409; intercept
corrected so that expected and observed events agree in the baseline (FLIC), Puhr and others
2017, Stat Med 36:2302.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from analyses.statistics.arrays import Floats, Labels, Mask
from analyses.statistics.control_charts.chart_arrays import events, risks, same_length
from analyses.statistics.control_charts.observed_expected import (
    calibration,
    observed_expected_ratio,
)
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural
from registry.problems.sentence_error import SentenceError

if TYPE_CHECKING:
    import pandas as pd

EVENTS_A_TERM = 5


@dataclass(frozen=True)
class ExpectedRisk:
    """Expected risks, where they come from, and how well they fit the baseline.

    risk: one a trial, baseline and monitored ones alike; source: the model in words; terms:
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
    """These trials cannot give expected risks; the message says why, in words."""


def expected_risk(
    trials: pd.DataFrame,
    *,
    outcome: str,
    terms: Sequence[str],
    baseline: Iterable[Any],
    cluster: str,
    words: Mapping[str, str] = MappingProxyType({}),
    unit: str = "trial",
) -> ExpectedRisk:
    """Fit the baseline trials and give every trial its expected risk.

    trials: one row a trial; outcome: its yes-or-no column; terms: numeric or yes-or-no
    columns; baseline: True for the trials to fit; cluster: the patient's column; words:
    column → how a reader knows it; unit: what a trial is called. Terms beyond
    one for each 5 baseline events are left out, last first, and a note says so. A blank term is
    read as the baseline's median, and a note says how often. Raises NoRiskModel where the
    baseline has no event, or nothing but events.
    """
    fitted = np.asarray(list(baseline), dtype=bool)
    same_length(trials=trials, baseline=fitted)
    y = events(trials[outcome].astype(float))
    found, many = int(y[fitted].sum()), plural(unit)
    if found == 0 or found == int(fitted.sum()):
        raise NoRiskModel(
            f"{found} events in {int(fitted.sum())} baseline {many}: a risk model needs {many} "
            "with and without the event. Take a longer baseline or a published score."
        )
    used, notes = _affordable(trials, terms, fitted, found, many)
    x, more = _columns(trials, used, fitted, many)
    coefficients = _firth_flic(x[fitted], y[fitted])
    risk = 1 / (1 + np.exp(-(x @ coefficients)))
    adjusted = (f"adjusted for {', '.join(words.get(t, t) for t in used)}" if used
                else f"the same for every {unit}")
    source = (f"the service's own {int(fitted.sum())} baseline {many} with {found} events, "
              f"{adjusted}; Firth's logistic regression, intercept corrected")
    return _described(risk, y, fitted, trials[cluster].to_numpy(), source, tuple(used),
                      tuple(coefficients.tolist()), (*notes, *more), unit)


def declared_risk(
    risk: Iterable[Any], event: Iterable[Any], cluster: Sequence[Any], *, source: str,
    baseline: Iterable[Any], unit: str = "trial",
) -> ExpectedRisk:
    """Expected risks from a published score or another declared source, checked on the baseline.

    risk: strictly between 0 and 1, one a trial; source: who published the score. They are used
    as they stand: the baseline's ratio says how far they fit this service. Raises ValueError.
    """
    p, y = risks(list(risk), "risk"), events(list(event))
    fitted = np.asarray(list(baseline), dtype=bool)
    same_length(risk=p, event=y, cluster=list(cluster), baseline=fitted)
    return _described(p, y, fitted, np.asarray(list(cluster), dtype=object), source, (), (), (),
                      unit)


def _described(
    risk: Floats, y: Floats, fitted: Mask, patient: Labels, source: str,
    terms: tuple[str, ...], coefficients: tuple[float, ...], notes: tuple[str, ...],
    unit: str,
) -> ExpectedRisk:
    ratio = observed_expected_ratio(y[fitted], risk[fitted], patient[fitted],
                                    unit=unit,
                                    id="monitoring.baseline_observed_expected")
    groups = calibration(y[fitted], risk[fitted], patient[fitted], unit=unit)
    return ExpectedRisk(risk, source, terms, coefficients, ratio, tuple(groups), notes)


def _affordable(
    trials: pd.DataFrame, terms: Sequence[str], fitted: Mask, found: int, many: str,
) -> tuple[list[str], list[str]]:
    """The terms that vary in the baseline and that its events can carry."""
    varying = [t for t in terms if trials.loc[fitted, t].dropna().nunique() > 1]
    constant = [t for t in terms if t not in varying]
    fewer = min(found, int(fitted.sum()) - found)
    used = varying[: fewer // EVENTS_A_TERM]
    notes = []
    if constant:
        notes.append(f"{', '.join(constant)}: the same in all baseline {many}, so not used.")
    if len(used) < len(varying):
        notes.append(f"{', '.join(varying[len(used):])}: not used, {found} baseline events carry "
                     f"{len(used)} of {len(varying)} terms (one for each {EVENTS_A_TERM} events).")
    return used, notes


def _columns(
    trials: pd.DataFrame, terms: Sequence[str], fitted: Mask, many: str,
) -> tuple[Floats, list[str]]:
    """The design matrix with its intercept; blanks filled with the baseline's median, and told."""
    columns: list[Floats] = [np.ones(len(trials))]
    notes = []
    for term in terms:
        column = trials[term].astype("Float64").to_numpy(dtype=float, na_value=np.nan)
        blank = np.isnan(column)
        if blank.any():
            middle = float(np.nanmedian(column[fitted]))
            column = np.where(blank, middle, column)
            notes.append(f"{term} is blank in {int(blank.sum())} of {len(trials)} {many}; "
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
