"""Behind `fit` when events are too few for a model: tests only, and no number pretended."""

from __future__ import annotations

import numpy as np

from analyses.statistics.regression.exact import fisher_exact, permutation_p
from analyses.statistics.regression.fitted import Fitted
from analyses.statistics.regression.model_rows import ModelRows


def exact(rows: ModelRows, level: float) -> Fitted:
    """P values without estimates, of a model of one term: Fisher's exact test for a yes/no term
    and one row a patient, else exchange of whole patients.

    None where other terms are held the same: exchanging the residuals of the model without the
    term (Freedman and Lane 1983) rejected 12 % of true nulls with two events and three covariates.
    """
    del level  # no interval is given
    names = rows.columns.names
    none = np.full(len(names), np.nan)
    p, terms = none.copy(), rows.columns.terms
    said = [_where_events_fall(rows, term.name, rows.columns.places(term.name)) for term in terms]
    if len(terms) > 1:
        said.append(NO_TEST)
        method = "none: too few events for a test that holds other terms the same"
    else:
        p[rows.columns.places(terms[0].name)], method = _of_one_term(rows, terms[0].name)
    return Fitted(names, none, none, none, none, p, np.full((len(names),) * 2, np.nan),
                  np.full(len(names), np.inf), "log odds ratio", method, tuple(filter(None, said)))


NO_TEST = ("No P value is given: with so few events a test that holds other terms the same does "
           "not keep its level. Leave the other terms out, or let the counts speak.")


def _of_one_term(rows: ModelRows, name: str) -> tuple[float, str]:
    """P of the only term, and the test's name."""
    simple = rows.x.shape[1] == 2 and not rows.repeated and np.isin(rows.x[:, 1], (0, 1)).all()
    if simple:
        return fisher_exact(rows.y, rows.x[:, 1]), "Fisher's exact test"
    return (permutation_p(rows.x, rows.y, rows.columns.places(name), rows.cluster),
            "exchange of whole patients with the same number of rows")


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
