"""Behind `fit` when events are too few for a model: tests only, and no number pretended."""

from __future__ import annotations

import numpy as np

from analyses.statistics.regression.exact import fisher_exact, permutation_p
from analyses.statistics.regression.fitted import Fitted
from analyses.statistics.regression.model_rows import ModelRows


def exact(rows: ModelRows, level: float) -> Fitted:
    """P values without estimates: Fisher's exact test for one yes/no term and one row a patient,
    else a permutation of patients for each term, adjusted for the others.
    """
    del level  # no interval is given
    names = rows.columns.names
    none = np.full(len(names), np.nan)
    p, said = none.copy(), []
    simple = rows.x.shape[1] == 2 and not rows.repeated and np.isin(rows.x[:, 1], (0, 1)).all()
    for term in rows.columns.terms:
        places = rows.columns.places(term.name)
        value = fisher_exact(rows.y, rows.x[:, 1]) if simple else permutation_p(
            rows.x, rows.y, places, rows.cluster)
        p[places] = value
        said.append(_where_events_fall(rows, term.name, places))
    method = "Fisher's exact test" if simple else (
        "permutation of patients with the same number of rows (adjusted by the residuals of the "
        "model without the term)")
    return Fitted(names, none, none, none, none, p, np.full((len(names),) * 2, np.nan),
                  np.full(len(names), np.inf), "log odds ratio", method, tuple(filter(None, said)))


def _where_events_fall(rows: ModelRows, name: str, places: list[int]) -> str:
    """The counts behind a test, so that no P value stands alone."""
    column, y = rows.x[:, places[0]], rows.y
    if len(places) == 1 and np.isin(column, (0, 1)).all():
        with_it, without = column == 1, column == 0
        return (f"{name}: {int(y[with_it].sum())} events in {int(with_it.sum())} rows with it, "
                f"{int(y[without].sum())} in {int(without.sum())} without.")
    if len(places) == 1 and y.any():
        return (f"{name}: median {np.median(column[y == 1]):g} in rows with the event, "
                f"{np.median(column[y == 0]):g} in the others.")
    return ""
