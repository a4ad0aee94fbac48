"""No number for a coefficient that rests on one patient alone.

Where the coefficient could not be estimated without one patient (a factor level that nobody else
has, the only patient of the reference level), the model follows that patient exactly. The
residuals that the sandwich variance is made of are then 0, and the interval shows only the
uncertainty of the other side: it is falsely narrow, the more so the more other patients there
are. Simulated for the log-linear model with 200 patients, a level held by one of them was covered
in 78 to 89 % (one row or two; correlation 0.05 or 0.5; 2,000 sets), with 60 patients in 95 to
99 %, but only because there was one degree of freedom. A patient whose share was below 0.99 (an
outlier of a continuous variable, with shares of 0.06 to 0.98) left the coverage of CR2 with
Satterthwaite degrees of freedom at 93 to 100 % (600 sets a case), so that nothing else is
withheld. See tests/analyses/regression/test_lone_patient.py.

Where the variance does not rest on residuals alone (the penalised models, ordinary logistic
regression) the number stays: by the default penalised GEE such a term, of one to five rows, was
covered in 93 to 100 % (400 sets a case), the intervals so wide that they say how little is known.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analyses.statistics.arrays import Mask
from analyses.statistics.regression.design_matrix import INTERCEPT
from analyses.statistics.regression.fitted import Fitted
from analyses.statistics.regression.model_rows import ModelRows
from analyses.statistics.regression.sandwich import ClusterParts, cluster_parts, largest_share

SOLE_SHARE = 0.99


def rests_on_one(parts: ClusterParts) -> Mask:
    """Which coefficients one patient alone determines: (terms,)."""
    return largest_share(parts) >= SOLE_SHARE


def unweighted_parts(rows: ModelRows) -> ClusterParts:
    """The sums with weight 1 a row, for models whose information has another form.

    Whether a coefficient exists without a patient depends on that patient's rows, not on their
    weights.
    """
    return cluster_parts(rows.x, np.ones(rows.n), np.zeros(rows.n), rows.cluster)


def withheld(fitted: Fitted, rows: ModelRows, alone: Mask) -> Fitted:
    """The fit without numbers for the coefficients marked in `alone`, and a sentence for each.

    alone: (columns of the design,). The estimates stay in `coefficients`, which predictions
    need; their uncertainty does not.
    """
    names = tuple(n for n, one in zip(rows.columns.names, alone, strict=True)
                  if one and n in fitted.names)
    said = tuple(_sentence(rows, name) for name in names if name != INTERCEPT)
    return without_numbers(fitted, names, said)


def without_numbers(fitted: Fitted, names: tuple[str, ...], said: tuple[str, ...]) -> Fitted:
    """The fit without numbers for `names`, the sentences `said` before its other warnings."""
    if not names:
        return fitted
    places = [fitted.names.index(name) for name in names]
    changed = {}
    for what in ("se", "low", "high", "p", "covariance"):
        values = getattr(fitted, what).copy()
        values[places] = np.nan
        if values.ndim == 2:
            values[:, places] = np.nan
        changed[what] = values
    told = dict.fromkeys((*fitted.undetermined, *names))
    return replace(fitted, **changed, undetermined=tuple(told), warnings=(*said, *fitted.warnings))


def _sentence(rows: ModelRows, name: str) -> str:
    """Who holds the term, and why there is no number for it."""
    column = rows.x[:, rows.columns.names.index(name)]
    one, many = ("patient", "patients") if rows.clustered_by else ("row", "rows")
    end = "no number is given, as an interval would be falsely narrow."
    holders = len(np.unique(rows.cluster[column != 0]))
    others = len(np.unique(rows.cluster[column == 0]))
    if not np.isin(column, (0.0, 1.0)).all():
        return f"{name}: one {one} alone determines its coefficient; {end}"
    if holders == 1:
        return f"{name}: only 1 {one} has it{_counted(rows, column == 1)}; {end}"
    if others == 1:
        return f"{name}: only 1 {one} is without it{_counted(rows, column == 0)}; {end}"
    return (f"{name}: {holders} {many} have it, but one {one} alone determines what it is "
            f"compared with; {end}")


def _counted(rows: ModelRows, side: Mask) -> str:
    """How many rows that patient gives, where a row is not a patient."""
    count = int(side.sum())
    return f" (in {count} row{'s' if count > 1 else ''})" if rows.clustered_by else ""
