"""Risk ratios by modified Poisson regression (Zou 2004, Am J Epidemiol 159:702).

A Poisson model of a yes/no outcome gives risk ratios; its variance is wrong for such an outcome
and is replaced by the sandwich, clustered on the patient (Zou and Donner 2013, Stat Methods Med
Res 22:661), with no small-sample factor. The reference is t with patients − terms degrees of
freedom. Few rows on one side are too few for it: a level of three rows, each of another patient,
was covered in 89 %, of five in 93 %, of ten in 96 % (30 % events, 100 patients, 500 sets a case);
a warning names such levels. No number is given where one patient alone determines a term (see
lone_patient.py) or where all rows of a side had the event.
"""

from __future__ import annotations

import numpy as np

from analyses.statistics.arrays import Floats
from analyses.statistics.regression.fitted import Fitted, wald
from analyses.statistics.regression.lone_patient import rests_on_one, withheld, without_numbers
from analyses.statistics.regression.model_rows import ModelRows
from analyses.statistics.regression.sandwich import cluster_parts, sandwich


def modified_poisson(rows: ModelRows, level: float) -> Fitted:
    """Log risk ratios of a yes/no outcome. Raises ValueError where a risk ratio is not finite."""
    names = rows.columns.names
    _refuse_empty_levels(rows)
    beta = _poisson(rows.x, rows.y)
    mean = np.exp(rows.x @ beta)
    parts = cluster_parts(rows.x, mean, rows.y - mean, rows.cluster)
    covariance = sandwich(parts, parts.scores)
    df = max(1, rows.clusters - len(names))
    se, low, high, p, degrees = wald(beta, covariance, level, df)
    over = int((mean > 1).sum())
    warnings = (f"{over} rows have a fitted risk above 1; prefer the odds-ratio model.",) if (
        over) else ()
    fitted = Fitted(names, beta, se, low, high, p, covariance, degrees, "log risk ratio",
                    "modified Poisson, robust variance by patient", warnings)
    certain, said = _events_in_every_row(rows)
    fitted = without_numbers(fitted, certain, said)
    return withheld(fitted, rows, rests_on_one(parts) & ~np.isin(names, certain))


def _events_in_every_row(rows: ModelRows) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Lines with a side on which every row had the event, and a sentence for each such side.

    There the model's risk is 1 and the residuals are 0: 3 of 3 events would count as known
    without error, while a share of 3/3 is compatible with 29 % (exact interval).
    """
    names: list[str] = []
    said = []
    for term in rows.columns.terms:
        places = rows.columns.places(term.name)
        levels = rows.x[:, places]
        if len(term.columns) > 1 or not np.isin(levels, (0.0, 1.0)).all():
            continue
        sides = [((levels == 0).all(axis=1), places, f"without {term.name}" if len(places) == 1
                  else f"of the reference of {term.name}")]
        sides += [(rows.x[:, place] == 1, [place], f"with {rows.columns.names[place]}")
                  for place in places]
        for side, about, words in sides:
            if side.any() and rows.y[side].all():
                names += [rows.columns.names[place] for place in about]
                said.append(f"All {int(side.sum())} rows {words} had the event, and the robust "
                            "variance of that side is 0; no number is given. Use estimator "
                            "'auto'.")
    return tuple(dict.fromkeys(names)), tuple(said)


def _poisson(x: Floats, y: Floats) -> Floats:
    from statsmodels.genmod.families import Poisson
    from statsmodels.genmod.generalized_linear_model import GLM

    return np.asarray(GLM(y, x, family=Poisson()).fit(tol=1e-13, maxiter=200).params)


def _refuse_empty_levels(rows: ModelRows) -> None:
    """Refuse where some combination of terms has no event at all, so that its ratio is 0.

    Found by linear programming: a direction that leaves every event row where it is and only
    lowers rows without the event (Correia, Guimarães and Zylkin 2019, on existence of Poisson
    estimates).
    """
    from scipy.optimize import linprog

    x = rows.x / np.sqrt((rows.x**2).mean(axis=0))
    hit, free = x[rows.y == 1], x[rows.y == 0]
    found = linprog(free.sum(axis=0), A_ub=free, b_ub=np.zeros(len(free)), A_eq=hit,
                    b_eq=np.zeros(len(hit)), bounds=(-1, 1))
    moving = [name for name, way in zip(rows.columns.names, found.x, strict=True)
              if abs(way) > 1e-6 and name != rows.columns.names[0]]
    if found.status == 0 and moving:
        raise ValueError(
            f"{rows.outcome}: no finite risk ratio for {', '.join(moving)}: one side has no "
            "event. Use estimator 'auto' (a penalised model), whose answer is finite."
        )
