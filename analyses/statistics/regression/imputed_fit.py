"""A model fitted to completed data sets and pooled, with the complete rows beside it.

With a third of the exposure missing, depending on outcome and grade, the pooled interval of the
clustered default covered 95.0 to 96.5 % in three cells of 120 patients, 400 sets each, its median
bias at most 0.06 in log odds (tests/analyses/regression/test_imputed_coverage.py).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate
from analyses.statistics.regression.fitted import SCALES
from analyses.statistics.regression.fitting import fit, fit_again
from analyses.statistics.regression.imputation import Imputation, impute
from analyses.statistics.regression.model_fit import ModelFit
from analyses.statistics.regression.rubin import Pooled, pool
from analyses.statistics.regression.terms import Term, as_term


@dataclass(frozen=True)
class ImputedFit:
    """Pooled model and the complete-row model beside it.

    table: index `term`; columns estimate, se, low, high, p (Wald, Rubin's rules, Barnard–Rubin
    degrees of freedom), df, missing_information, and complete_estimate, complete_low,
    complete_high from the complete rows. models: the model of each completed set.
    """

    table: pd.DataFrame
    complete: ModelFit | None
    warnings: tuple[str, ...]
    n: int
    events: int | None
    clusters: int
    level: float
    scale: str
    estimator: str
    outcome: str
    imputation: Imputation = field(repr=False)
    models: tuple[ModelFit, ...] = field(repr=False)

    def estimates(self, unit: str = "row") -> tuple[Estimate, ...]:
        """Pooled ratios of every line but the intercept."""
        return tuple(self._estimate(str(term), line, unit)
                     for term, line in self.table.iterrows() if term != "intercept")

    def _estimate(self, term: str, line: pd.Series, unit: str) -> Estimate:
        given = bool(np.isfinite(line["se"]))  # not where a set's model gives no number for it
        value, low, high = np.exp(line[["estimate", "low", "high"]].to_numpy(float))
        return Estimate(
            id=f"model.{self.outcome}.{term}", kind=SCALES[self.scale],
            value=float(value) if given else None, low=float(low), high=float(high),
            level=self.level, unit=unit, events=self.events, n=self.n, clusters=self.clusters,
            method=f"{self.estimator}, {len(self.imputation.frames)} imputations, Rubin's rules, "
                   "Barnard–Rubin degrees of freedom", group={"term": term})


def fit_imputed(
    data: pd.DataFrame, outcome: str, terms: Sequence[str | Term | Mapping[str, Any]], *,
    cluster: str | None = None, estimator: str = "auto", level: float = 0.95, times: int = 20,
    seed: int = 20260101,
) -> ImputedFit:
    """Impute gaps of the terms, fit each completed set, pool. Arguments as in `fit`.

    times: completed sets. Raises ValueError where the estimator gives no estimates to pool
    (too few events), or as `fit` does.
    """
    asked = [as_term(term) for term in terms]
    columns = list(dict.fromkeys(c for term in asked for c in term.columns))
    imputation = impute(data, columns, outcome, cluster=cluster, times=times, seed=seed)
    return fit_completed(imputation, data, outcome, asked, cluster=cluster, estimator=estimator,
                         level=level)


def fit_completed(
    imputation: Imputation, data: pd.DataFrame, outcome: str, terms: Sequence[Term], *,
    cluster: str | None = None, estimator: str = "auto", level: float = 0.95,
) -> ImputedFit:
    """Fit `terms` to sets already completed, and pool; `data` is what they were made from.

    Any model whose terms were among the imputed columns may be fitted to them. Raises ValueError
    as `fit_imputed`.
    """
    fixed = _fixed_knots(list(terms), data)
    models = [_one(imputation.frames[0], outcome, fixed, cluster, estimator, level)]
    models += [fit_again(frame, outcome, fixed, cluster=cluster, estimator=estimator, level=level)
               for frame in imputation.frames[1:]]
    first = models[0]
    pooled = _pooled(models)
    complete = _complete(data, outcome, list(terms), cluster, estimator, level)
    table = _table(first, pooled, complete, level)
    return ImputedFit(table, complete, _warnings(imputation, pooled, first), first.n, first.events,
                      first.clusters, level, first.fitted.scale, first.estimator, outcome,
                      imputation, tuple(models))


def _one(
    frame: pd.DataFrame, outcome: str, terms: Sequence[Term], cluster: str | None, estimator: str,
    level: float,
) -> ModelFit:
    """The first completed set's model. The others have the same outcomes, so that it tells
    whether there will be estimates to pool, before twenty tests are worked out for nothing."""
    model = fit(frame, outcome, terms, cluster=cluster, estimator=estimator, level=level)
    if model.estimator == "exact":
        raise ValueError(model.why)
    return model


def _fixed_knots(terms: list[Term], data: pd.DataFrame) -> list[Term]:
    """Splines keep the knots of the recorded values, so that all completed sets share a basis."""
    from dataclasses import replace

    from analyses.statistics.regression.splines import default_knots
    from analyses.statistics.regression.terms import numbers

    return [replace(t, knots=default_knots(numbers(data[t.columns[0]].dropna()), t.knots))
            if t.form == "spline" and isinstance(t.knots, int) else t for t in terms]


def _pooled(models: list[ModelFit]) -> Pooled:
    # Profile intervals cannot be pooled; the variance behind the interval can, and for the
    # clustered fit that is the one that carries the clustering.
    estimates = np.array([model.fitted.coefficients for model in models])
    variances = np.array([np.diag(model.fitted.covariance) for model in models])
    return pool(estimates, variances, _complete_df(models))


def _complete_df(models: list[ModelFit]) -> Floats:
    """Degrees of freedom had nothing been missing: those of the interval, a coefficient each.

    Where few patients carry the information on a term the clustered fit has few, and pooling
    must not give them back.
    """
    plain = max(1, models[0].clusters - len(models[0].fitted.names))
    own = np.array([np.broadcast_to(model.fitted.df, len(model.fitted.names)) for model in models])
    own = np.where(np.isfinite(own), own, plain)
    found: Floats = np.minimum(own.mean(axis=0), plain)
    return found


def _complete(
    data: pd.DataFrame, outcome: str, terms: Sequence[Term], cluster: str | None, estimator: str,
    level: float,
) -> ModelFit | None:
    try:
        return fit(data, outcome, terms, cluster=cluster, estimator=estimator, level=level)
    except ValueError:
        return None


def _table(
    first: ModelFit, pooled: Pooled, complete: ModelFit | None, level: float
) -> pd.DataFrame:
    low, high = pooled.interval(level)
    table = pd.DataFrame({
        "estimate": pooled.estimate, "se": pooled.se, "low": low, "high": high, "p": pooled.p,
        "df": pooled.df, "missing_information": pooled.missing_information,
    }, index=first.table.index)
    for column in ("estimate", "low", "high"):
        table[f"complete_{column}"] = np.nan if complete is None else (
            complete.table[column].reindex(table.index))
    return table


def _warnings(imputation: Imputation, pooled: Pooled, first: ModelFit) -> tuple[str, ...]:
    counts = imputation.gaps.sum()
    told = ", ".join(f"{name} {count}" for name, count in counts[counts > 0].items())
    most = float(np.nan_to_num(pooled.missing_information).max())
    found = [f"Imputed values: {told or 'none'}; {len(imputation.frames)} completed data sets. "
             "This assumes that what is missing depends only on what was recorded."]
    if imputation.without_outcome:
        found.append(f"{imputation.without_outcome} rows are left out because the outcome was not "
                     "recorded; outcomes are not imputed.")
    if most > 0.5:
        found.append(f"Up to {100 * most:.0f} % of the information on a term is missing; "
                     "its answer is mostly the imputation model's.")
    without = [name for name, se in zip(first.fitted.names, pooled.se, strict=True)
               if np.isnan(se) and name not in first.fitted.undetermined]
    if without:
        found.append(f"{', '.join(without)}: no pooled number is given, as one patient alone "
                     "determines it in some of the completed data sets.")
    return (*found, *first.warnings)
