"""Absolute risks by marginal standardisation.

What share of these units would have the event if the variable were set to a value in all of
them, everything else as it was? The average of predicted risks over the rows (Lane and Nelder
1982, Biometrics 38:613), from the intercept-corrected fit. Intervals by the jackknife of
patients on the logit scale (t, patients − coefficients degrees of freedom), which carries the
clustering, the refitted model and the mix of patients; number needed as Altman 1998,
BMJ 317:1309.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from scipy.special import expit, logit
from scipy.stats import t as student

from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.regression.model_fit import ModelFit
from analyses.statistics.regression.predictions import corrected_coefficients, require_risks
from analyses.statistics.regression.refits import Refits, leave_one_patient_out

if TYPE_CHECKING:
    from analyses.statistics.regression.imputed_fit import ImputedFit

METHOD = "marginal standardisation of the intercept-corrected fit, jackknife of patients"


@dataclass(frozen=True)
class StandardisedRisks:
    """Risks at each setting, their difference from the first, and the number needed.

    risks: one estimate a setting; differences: each later setting minus the first;
    number_needed: a sentence for each difference.
    """

    risks: tuple[Estimate, ...]
    differences: tuple[Estimate, ...]
    number_needed: tuple[str, ...]


def _average(beta: Floats, blocks: Sequence[Floats], weights: Floats) -> Floats:
    """(fits, settings) average risks; beta (fits, columns), weights (fits, rows)."""
    total = weights.sum(axis=1)
    return np.column_stack([
        (weights * expit(beta @ block.T)).sum(axis=1) / total for block in blocks
    ])


def jackknife_refits(model: ModelFit) -> Refits:
    """Leave-one-patient-out refits of a penalised model."""
    require_risks(model)
    return leave_one_patient_out(model.rows.x, model.rows.y, model.rows.cluster,
                                 model.fitted.coefficients)


def _jackknife_error(without: Floats) -> Floats:
    count = len(without)
    away = without - without.mean(axis=0)
    found: Floats = np.sqrt((count - 1) / count * (away**2).sum(axis=0))
    return found


def standardised_risks(
    model: ModelFit, settings: Sequence[Mapping[str, Any]], *, unit: str = "row",
    refits: Refits | None = None,
) -> StandardisedRisks:
    """Standardised risks with one or more columns set to given values in every row.

    settings: mappings of column to value, the first being the comparator; unit: what a row is.
    Raises ValueError where the model gives no risks or a column is not in it.
    """
    require_risks(model)
    rows = model.rows
    known = {c for term in rows.columns.terms for c in term.columns}
    wrong = sorted({c for one in settings for c in one} - known)
    if wrong:
        raise ValueError(f"{', '.join(wrong)}: not among the model's terms")
    found = _averages(model, settings, refits or jackknife_refits(model))
    far = _far(model)
    risks = _risk_estimates(model, settings, found.risk, found.logit_error, far, unit)
    differences = _difference_estimates(model, risks, found.risk, found.gap_error, far, unit)
    return StandardisedRisks(risks, differences, tuple(map(number_needed, differences)))


def imputed_risks(
    imputed: ImputedFit, settings: Sequence[Mapping[str, Any]], *, unit: str = "row",
) -> StandardisedRisks:
    """Standardised risks pooled over completed data sets (Rubin's rules, risks as log odds).

    Arguments and errors as in `standardised_risks`.
    """
    from analyses.statistics.regression.rubin import pool

    first = imputed.models[0]
    parts = [_averages(model, settings, jackknife_refits(model)) for model in imputed.models]
    df = max(1, first.clusters - first.rows.x.shape[1])
    odds = pool(np.array([logit(p.risk) for p in parts]),
                np.array([p.logit_error**2 for p in parts]), df)
    # The comparator's difference from itself has no error; a number in its place pools to 0.
    gap_errors = np.array([np.maximum(p.gap_error, 1e-12) for p in parts])
    gaps = pool(np.array([p.risk - p.risk[0] for p in parts]), gap_errors**2, df)
    far = student.ppf((1 + first.level) / 2, np.array([odds.df, gaps.df]))
    risks = _risk_estimates(first, settings, expit(odds.estimate), odds.se, far[0], unit)
    differences = _difference_estimates(first, risks, expit(odds.estimate), gaps.se, far[1], unit)
    method = f"{METHOD}; {len(parts)} imputations, Rubin's rules"
    risks, differences = (tuple(replace(e, method=method) for e in part)
                          for part in (risks, differences))
    return StandardisedRisks(risks, differences, tuple(map(number_needed, differences)))


class _Averages(NamedTuple):
    """(settings,) standardised risks, and jackknife errors of their log odds and differences."""

    risk: Floats
    logit_error: Floats
    gap_error: Floats


def _averages(
    model: ModelFit, settings: Sequence[Mapping[str, Any]], refits: Refits
) -> _Averages:
    rows = model.rows
    blocks = [rows.columns.encode(rows.frame.assign(**one)) for one in settings]
    fitted = _average(corrected_coefficients(model)[None, :], blocks, np.ones((1, rows.n)))[0]
    without = _average(refits.corrected[refits.usable], blocks, refits.weights[refits.usable])
    return _Averages(fitted, _jackknife_error(logit(without)),
                     _jackknife_error(without - without[:, [0]]))


def _far(model: ModelFit) -> Floats:
    df = max(1, model.clusters - model.rows.x.shape[1])
    found: Floats = student.ppf((1 + model.level) / 2, df)
    return found


def _label(setting: Mapping[str, Any]) -> dict[str, str]:
    return {column: f"{value:g}" if isinstance(value, (int, float)) else str(value)
            for column, value in setting.items()}


def _counted(model: ModelFit, unit: str) -> Estimate:
    """What a risk of this model counts, without a value yet."""
    return Estimate(id=f"model.{model.outcome}.risk", kind="probability", value=None,
                    level=model.level, method=METHOD, unit=unit, events=model.events, n=model.n,
                    clusters=model.clusters)


def _risk_estimates(
    model: ModelFit, settings: Sequence[Mapping[str, Any]], fitted: Floats, error: Floats,
    far: Floats, unit: str,
) -> tuple[Estimate, ...]:
    low, high = expit(logit(fitted) - far * error), expit(logit(fitted) + far * error)
    return tuple(
        replaced(_counted(model, unit), value=float(value), low=float(lower), high=float(upper),
                 group=_label(one))
        for one, value, lower, upper in zip(settings, fitted, low, high, strict=True)
    )


def _difference_estimates(
    model: ModelFit, risks: Sequence[Estimate], fitted: Floats, error: Floats, far: Floats,
    unit: str,
) -> tuple[Estimate, ...]:
    far = np.broadcast_to(far, error.shape)
    return tuple(
        replaced(_counted(model, unit), id=f"model.{model.outcome}.risk_difference",
                 kind="difference", value=float(gap),
                 low=float(max(-1, gap - far[place] * error[place])),
                 high=float(min(1, gap + far[place] * error[place])), group=risks[place].group,
                 arms=(risks[place], risks[0]))
        for place, gap in enumerate(fitted - fitted[0]) if place
    )


def number_needed(difference: Estimate) -> str:
    """A sentence: one more (or fewer) event in how many units, or why no number is given.

    Where the interval of the difference includes none, the number would run through infinity
    and is not given alone (Altman 1998).
    """
    value, low, high = difference.value, difference.low, difference.high
    plural = f"{difference.unit}s"
    if not value or low is None or high is None:
        return "No difference, so no number needed."
    word = "more" if value > 0 else "fewer"
    if low <= 0 <= high:
        fewer = f"one fewer in {_each(low)}" if low < 0 else "none fewer"
        more = f"one more in {_each(high)}" if high > 0 else "none more"
        return (f"The data are compatible with anything from {fewer} to {more} {plural}, "
                "through no difference at all; a single number needed would mislead.")
    near, away = sorted((abs(low), abs(high)), reverse=True)
    return (f"Associated with one {word} event in every {_each(value)} {plural} "
            f"(interval {_each(near)} to {_each(away)}); an association in these data, not a "
            "promise of what changing it would do.")


def numbers_needed(difference: Estimate) -> tuple[Estimate, ...]:
    """The numbers that `number_needed` names, as estimates: of the value and of each end.

    That of the value is left out where the interval includes no difference.
    """
    low, high = difference.low or 0.0, difference.high or 0.0
    named = [("lower_end", low), ("upper_end", high)]
    if not low <= 0 <= high:
        named.insert(0, ("value", difference.value or 0.0))
    return tuple(
        replace(difference, id=f"{difference.id}.number_needed.{word}", kind="number needed",
                value=float(_units(gap)), low=None, high=None, arms=())
        for word, gap in named if gap)


def _units(difference: float) -> int:
    return int(np.ceil(round(1 / abs(difference), 9)))


def _each(difference: float) -> str:
    return f"{_units(difference):,}"


def effect_curve(
    model: ModelFit, column: str, values: Floats, *, refits: Refits | None = None
) -> pd.DataFrame:
    """Standardised risk along values of one column: columns value, risk, low, high."""
    found = standardised_risks(model, [{column: float(v)} for v in values], refits=refits).risks
    return pd.DataFrame({
        "value": np.asarray(values, float), "risk": [e.value for e in found],
        "low": [e.low for e in found], "high": [e.high for e in found],
    })
