"""The default for several rows a patient: Firth-type penalised GEE with independence.

The penalised estimating equations (Mondol and Rahman 2019, Stat Med 38:2544; Geroldinger and
others 2022, BMC Med Res Methodol 22:168) reduce, under an independent working correlation, to
Firth's equations, so that estimates are always finite. What the patient changes is the
uncertainty.

The interval was chosen by simulation among some twenty (tests/analyses/regression/simulation.py;
its table is tests/reference/regression_simulation.txt). The Mancl–DeRouen variance alone is too
small and too variable when few patients had the event, above all where no event fell on one side
of a variable; the variance from the penalised information alone ignores the patient. The larger
of the two, with t and the Satterthwaite degrees of freedom of Bell and McCaffrey 2002 (few where
few patients carry the information on a term), covered 93.5 to 97.9 % in the 96 cells, 95.9 % on
average, counting sets with 8 or more events (2,000 drawn a cell), and was 8 % wider than a profile
interval that ignores the patient, which covered as little as 86.1 %. With patients − terms
degrees of freedom it is 2 % narrower and nearer to the limit in the hardest cells; penalised
profile intervals widened by the design effect were no narrower, and covered less for a yes/no
variable of the patient.

An exchangeable working correlation does not earn its place (tests/reference/
regression_working_correlation.txt; the same cells, 500 sets drawn each, the same variance). With
the correlation pooled over pairs its intervals were 3 % narrower on average, at most 8 % (yes/no
variable of the row, correlation 0.3), but covered 89.8 to 97.6 % (default in the same sets:
92.4 to 98.4 %), in 3 cells under the limit of 94 % less 3 standard errors where the default was in
none; as its authors work it out, 88.8 to 97.8 %, in 4 cells. Up to 3.6 % (4.2 %) of a cell's sets
had no answer within bounds, the root mean squared error was the same on average (2 % more at
correlation 0.05, 2 % less at 0.3), and often the estimated correlation was one that outcomes of
such risks cannot have.

That full leverage adjustment can overcorrect is the subject of Afiaz and Rahman 2026, arXiv
2604.18863; leverages are bounded here at 0.75 (Fay and Graubard 2001).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import stats

from analyses.statistics.arrays import Floats, Labels
from analyses.statistics.regression.firth import PenalisedFit, penalised_logistic
from analyses.statistics.regression.fitted import Fitted
from analyses.statistics.regression.model_rows import ModelRows
from analyses.statistics.regression.sandwich import (
    ClusterParts,
    adjusted_scores,
    cluster_parts,
    model_variance,
    sandwich,
    satterthwaite_df,
)

METHOD = ("Firth-type penalised GEE, independence; the larger of the Mancl–DeRouen and the "
          "model-based variance, t with Satterthwaite (Bell–McCaffrey) degrees of freedom")


def clustered_parts(fit: PenalisedFit, cluster: Labels) -> ClusterParts:
    """Sums over patients of a penalised fit."""
    return cluster_parts(fit.columns, fit.risk * (1 - fit.risk), fit.y - fit.risk, cluster)


def clustered_covariance(parts: ClusterParts) -> Floats:
    """Covariance of the coefficients, (terms, terms).

    The Mancl–DeRouen matrix, its rows and columns stretched so that no variance is below the
    model-based one.
    """
    robust = sandwich(parts, adjusted_scores(parts, 1.0))
    floor = np.diag(model_variance(parts))
    stretch = np.sqrt(np.maximum(1.0, floor / np.maximum(np.diag(robust), 1e-300)))
    # A coefficient on which the sandwich says nothing at all keeps its model-based variance.
    stretched: Floats = robust * np.outer(stretch, stretch)
    np.fill_diagonal(stretched, np.maximum(np.diag(robust), floor))
    return stretched


def reference_df(parts: ClusterParts) -> Floats:
    """Degrees of freedom of each coefficient's t distribution, at least 1: (terms,)."""
    return np.maximum(1.0, satterthwaite_df(parts))


def interval_of(
    fit: PenalisedFit, parts: ClusterParts, level: float, places: Sequence[int]
) -> tuple[Floats, Floats, Floats]:
    """Lower bounds, upper bounds and P values of the coefficients in `places`."""
    places = list(places)
    value, df = fit.coefficients[places], reference_df(parts)[places]
    error = np.sqrt(np.diag(clustered_covariance(parts)))[places]
    far = stats.t.ppf((1 + level) / 2, df) * error
    return value - far, value + far, 2 * stats.t.sf(np.abs(value) / error, df)


def penalised_gee(rows: ModelRows, level: float) -> Fitted:
    """Log odds ratios, population-averaged, with intervals clustered on the patient."""
    fit = penalised_logistic(rows.x, rows.y)
    parts = clustered_parts(fit, rows.cluster)
    low, high, p = interval_of(fit, parts, level, range(rows.x.shape[1]))
    covariance = clustered_covariance(parts)
    warnings = () if fit.converged else ("The fit did not converge; do not use its numbers.",)
    return Fitted(rows.columns.names, fit.coefficients, np.sqrt(np.diag(covariance)), low, high,
                  p, covariance, reference_df(parts), "log odds ratio", METHOD, warnings, True)
