"""Checks of what callers hand in: real misuse is refused with a plain sentence, at once.

Nothing here guesses: a missing value is not turned into "no", a wrong length is not cut.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from analyses.statistics.arrays import Floats, Whole


def check_level(level: float) -> float:
    """The confidence level as given. Raises ValueError unless it is between 0 and 1."""
    if not 0 < level < 1:
        raise ValueError(f"The level is {level}; it has to lie between 0 and 1, as 0.95 does.")
    return float(level)


def count(number: Any, name: str) -> int:
    """A count as an int. Raises ValueError where it is missing, negative or not whole."""
    found = float("nan") if number is None else float(number)
    if not np.isfinite(found) or found < 0 or found != np.floor(found):
        raise ValueError(f"{name} is {number}; a whole number from 0 up is wanted.")
    return int(found)


def counts_of(events: Any, trials: Any) -> tuple[int, int]:
    """Events and trials as ints. Raises ValueError where there are more events than trials."""
    found, among = count(events, "The number of events"), count(trials, "The number of trials")
    if found > among:
        raise ValueError(f"There are {found} events among {among} trials; at most {among} can be.")
    return found, among


def time_at_risk(time: Any, name: str = "The person-time") -> float:
    """Person-time as a float. Raises ValueError where it is missing, infinite or negative."""
    found = float("nan") if time is None else float(time)
    if not np.isfinite(found) or found < 0:
        raise ValueError(f"{name} is {time}; a number from 0 up is wanted.")
    return found


def event_values(event: ArrayLike) -> Floats:
    """Events as 0.0 and 1.0, one a row. Raises ValueError for missing or any other value."""
    found = events_or_missing(event)
    if np.isnan(found).any():
        at = int(np.flatnonzero(np.isnan(found))[0]) + 1
        raise ValueError(
            f"Row {at} has no outcome; leave such rows out, or ask for proportion_bounds."
        )
    return found


def events_or_missing(event: ArrayLike) -> Floats:
    """Events as 0.0, 1.0 or NaN. Raises ValueError for any other value."""
    found = numbers(event, "outcome")
    wrong = np.flatnonzero(~np.isnan(found) & (found != 0) & (found != 1))
    if len(wrong):
        raise ValueError(
            f"Row {int(wrong[0]) + 1} has the outcome {found[wrong[0]]:g}; 0 or 1 is wanted."
        )
    return found


def numbers(values: ArrayLike, name: str) -> Floats:
    """One-dimensional floats, missing as NaN. Raises ValueError for text or several columns."""
    import pandas as pd

    given = np.asarray(values)
    if given.ndim == 1 and given.dtype.kind in "biuf":
        return given.astype(float)
    try:
        found = pd.array(np.ravel(np.asarray(values, dtype=object)), dtype="Float64")
    except (TypeError, ValueError):
        raise ValueError(f"A value of the {name} is not a number.") from None
    if np.ndim(values) > 1:
        raise ValueError(f"The {name} has {np.ndim(values)} dimensions; one value a row is wanted.")
    return found.to_numpy(dtype=float, na_value=np.nan)


def finite(values: ArrayLike, name: str) -> Floats:
    """As `numbers`, without missing values. Raises ValueError and names the first row at fault."""
    found = numbers(values, name)
    wrong = np.flatnonzero(~np.isfinite(found))
    if len(wrong):
        raise ValueError(f"Row {int(wrong[0]) + 1} has no {name}; leave such rows out first.")
    return found


def codes(labels: Any, name: str = "patient") -> tuple[Whole, list[Any]]:
    """Labels as codes 0, 1, … and the labels in sorted order.

    Raises ValueError where a label is missing: a row that belongs to no patient cannot be counted.
    """
    import pandas as pd

    if isinstance(labels, np.ndarray) and labels.dtype.kind in "iuU":
        names, places = np.unique(labels, return_inverse=True)
        return places.astype(np.int64), list(names)
    found, seen = pd.factorize(pd.Series(list(labels), dtype=object), sort=False)
    wrong = np.flatnonzero(found < 0)
    if len(wrong):
        raise ValueError(f"Row {int(wrong[0]) + 1} has no {name}.")
    order = sorted(range(len(seen)), key=lambda place: _sortable(seen[place]))
    rank = np.empty(len(seen), dtype=np.int64)
    rank[order] = np.arange(len(seen))
    return rank[found], [seen[place] for place in order]


def same_length(**columns: Sequence[Any] | Floats | Whole) -> None:
    """Raises ValueError where columns differ in length, naming each."""
    lengths = {name: len(column) for name, column in columns.items()}
    if len(set(lengths.values())) > 1:
        said = ", ".join(f"{name} {length}" for name, length in lengths.items())
        raise ValueError(f"The columns differ in length: {said}.")


def _sortable(label: Any) -> tuple[int, float, str]:
    """Numbers before text, each in its own order, so that mixed labels still sort."""
    if isinstance(label, (int, float, np.number)):
        return (0, float(label), "")
    return (1, 0.0, str(label))
