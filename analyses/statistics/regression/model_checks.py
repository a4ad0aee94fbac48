"""What a reader must know before believing a model, each as a sentence.

Separation, events per parameter, collinearity, missing rows, single patients. Rules of thumb:
ten events a parameter, Peduzzi and others 1996, J Clin Epidemiol 49:1373 (a guide, not a law:
van Smeden and others 2016, BMC Med Res Methodol 16:163); variance inflation above 5, common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pandas as pd

from analyses.statistics.arrays import Floats
from analyses.statistics.regression.fitted import infinite_terms
from analyses.statistics.regression.model_rows import ModelRows

FEWEST_EVENTS = 8
COMFORTABLE_EVENTS_PER_PARAMETER = 10
HIGH_INFLATION = 5.0
FEW_PATIENTS = 5


def rarer_outcome(y: Floats) -> int:
    """The smaller of the numbers of events and of non-events: what a model can live on."""
    return int(min((y == 1).sum(), (y == 0).sum()))


def is_binary(y: Floats) -> bool:
    """Whether an outcome holds only 0 and 1."""
    return bool(np.isin(y, (0.0, 1.0)).all())


def variance_inflation(x: Floats, names: tuple[str, ...]) -> pd.Series:
    """Variance inflation factor of each column but the intercept (1: unrelated to the others)."""
    inner = x[:, 1:]
    if inner.shape[1] < 2:
        return pd.Series(np.ones(inner.shape[1]), index=list(names[1:]), name="vif")
    spread = inner.std(axis=0)
    if (spread == 0).any():
        constant = [name for name, s in zip(names[1:], spread, strict=True) if s == 0]
        raise ValueError(f"{', '.join(constant)}: the same in every row; leave it out")
    correlation = np.corrcoef(inner, rowvar=False)
    return pd.Series(np.diag(np.linalg.pinv(correlation)), index=list(names[1:]), name="vif")


def rank_problem(x: Floats, names: tuple[str, ...]) -> str | None:
    """Words for columns that are constant or a combination of others; None where there are none."""
    scale = np.sqrt((x**2).mean(axis=0))
    if (scale == 0).any() or (x[:, 1:].std(axis=0) == 0).any():
        flat = [n for n, s in zip(names[1:], x[:, 1:].std(axis=0), strict=True) if s == 0]
        return f"{', '.join(flat)}: the same in every row, so nothing can be compared; leave it out"
    scaled = x / scale
    if np.linalg.matrix_rank(scaled) == x.shape[1]:
        return None
    for place in range(1, x.shape[1]):
        if np.linalg.matrix_rank(scaled[:, : place + 1]) < place + 1:
            return f"{names[place]}: worked out from the terms before it; leave one of them out"
    return None


def events_sentence(rows: ModelRows) -> str:
    """How many events stand behind how many coefficients."""
    fewer, terms = rarer_outcome(rows.y), rows.x.shape[1] - 1
    which = "events" if (rows.y == 1).sum() <= (rows.y == 0).sum() else "rows without the event"
    each = f" ({fewer / terms:.1f} each)" if terms > 1 else ""
    return f"{fewer} {which} for {terms} coefficient{'s' if terms > 1 else ''}{each}"


def events_warning(rows: ModelRows) -> str | None:
    """A sentence where events are fewer than ten a coefficient, with the size that would fit."""
    fewer, terms = rarer_outcome(rows.y), rows.x.shape[1] - 1
    if fewer >= COMFORTABLE_EVENTS_PER_PARAMETER * terms:
        return None
    if fewer < FEWEST_EVENTS:
        return (f"Too few events: {events_sentence(rows)}. No interval of a model can be trusted "
                f"under {FEWEST_EVENTS}; estimator 'auto' gives an exact or permutation test.")
    room = max(1, fewer // COMFORTABLE_EVENTS_PER_PARAMETER)
    smaller = "one term" if room == 1 else f"{room} terms"
    return (f"Few events: {events_sentence(rows)}; expect wide intervals. "
            f"A model of {smaller} is what these events carry comfortably.")


def separation_warning(rows: ModelRows) -> str | None:
    """A sentence where ordinary logistic regression would have no finite answer."""
    infinite = infinite_terms(rows.x, rows.y, rows.columns.names)
    if not infinite:
        return None
    named = [name for name in infinite if name != rows.columns.names[0]] or list(infinite)
    return (f"Separation: {', '.join(named)} tells events and non-events apart without fail in "
            "these data, so that ordinary logistic regression has no finite answer; the penalty "
            "keeps it finite, and the interval is the message.")


def collinearity_warning(rows: ModelRows) -> str | None:
    """A sentence where terms repeat each other; curves of one spline are not counted."""
    single = [place for term in rows.columns.terms if len(term.columns) == 1
              for place in rows.columns.places(term.name)[:1]]
    keep = [0, *single]
    names = tuple(rows.columns.names[place] for place in keep)
    inflation = variance_inflation(rows.x[:, keep], names)
    high = inflation[inflation > HIGH_INFLATION]
    if high.empty:
        return None
    told = ", ".join(f"{name} (VIF {value:.1f})" for name, value in high.items())
    return f"Collinearity: {told}; these terms largely repeat each other and share their effect."


def missing_warning(rows: ModelRows) -> str | None:
    """A sentence on the rows left out for a gap, and which columns had them."""
    if not rows.left_out:
        return None
    told = ", ".join(f"{name} {count}" for name, count in rows.missing.items() if name)
    return (f"{rows.left_out} of {rows.n_given} rows are left out because a value was not "
            f"recorded ({told}).")


def lone_patient_warning(rows: ModelRows, told_already: Collection[str] = ()) -> str | None:
    """A sentence where few patients supply what is known of a yes/no term or a level.

    told_already: names of columns that have a sentence of their own.
    """
    told = []
    for name, column in zip(rows.columns.names[1:], rows.x[:, 1:].T, strict=True):
        if name in told_already or not np.isin(column, (0.0, 1.0)).all():
            continue
        told += _few_holders(rows, name, column if column.mean() <= 0.5 else 1 - column)
    for term in rows.columns.terms:
        places = rows.columns.places(term.name)
        levels = rows.x[:, places]
        named = [rows.columns.names[place] for place in places]
        if len(places) > 1 and len(term.columns) == 1 and np.isin(levels, (0.0, 1.0)).all() and (
                not set(named) & set(told_already)):
            told += _few_holders(rows, f"reference of {term.name}", 1 - levels.max(axis=1))
    if not told:
        return None
    return f"Very few patients on one side of: {', '.join(told)}; the answer rests on them."


def _few_holders(rows: ModelRows, name: str, side: Floats) -> list[str]:
    holders = len(np.unique(rows.cluster[side == 1]))
    return [f"{name} ({holders})"] if holders < FEW_PATIENTS else []


def binary_warnings(rows: ModelRows, told_already: Collection[str] = ()) -> tuple[str, ...]:
    """All sentences for a model of a yes/no outcome, the gravest first."""
    found = (events_warning(rows), separation_warning(rows),
             lone_patient_warning(rows, told_already), collinearity_warning(rows),
             missing_warning(rows))
    return tuple(sentence for sentence in found if sentence)


def other_warnings(rows: ModelRows, told_already: Collection[str] = ()) -> tuple[str, ...]:
    """Sentences for a model of another outcome."""
    found = (lone_patient_warning(rows, told_already), collinearity_warning(rows),
             missing_warning(rows))
    return tuple(sentence for sentence in found if sentence)
