"""Reading arrays: what may go into a chart, and the sentence when something may not."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from analyses.statistics.arrays import Floats


def numbers(values: Iterable[Any] | Any, name: str) -> Floats:
    """One-dimensional finite numbers. Raises ValueError naming the first place that is not."""
    try:
        found = np.atleast_1d(np.asarray(values, dtype=float))
    except (TypeError, ValueError):
        raise ValueError(f"{name}: holds something that is not a number; give numbers (of "
                         "events 0 and 1), not words") from None
    if found.ndim != 1 or found.size == 0:
        raise ValueError(f"{name}: one row of numbers is wanted; this one is empty or nested")
    bad = np.flatnonzero(~np.isfinite(found))
    if bad.size:
        raise ValueError(
            f"{name}: entry {bad[0] + 1} of {found.size} is blank or not a number "
            f"({bad.size} such); leave those rows out and say how many"
        )
    return found


def counts(values: Iterable[Any] | Any, name: str) -> Floats:
    """Whole numbers, zero or more. Raises ValueError naming the first that is not."""
    found = numbers(values, name)
    bad = np.flatnonzero((found < 0) | (found != np.round(found)))
    if bad.size:
        raise ValueError(
            f"{name}: entry {bad[0] + 1} is {found[bad[0]]:g}; whole numbers from 0 are wanted"
        )
    return found


def risks(values: Iterable[Any] | Any, name: str = "expected") -> Floats:
    """Probabilities strictly between 0 and 1. Raises ValueError naming the first that is not."""
    found = numbers(values, name)
    bad = np.flatnonzero((found <= 0) | (found >= 1))
    if bad.size:
        raise ValueError(
            f"{name}: entry {bad[0] + 1} is {found[bad[0]]:g}; an expected risk lies strictly "
            "between 0 and 1 (a probability, not a per cent)"
        )
    return found


def events(values: Iterable[Any] | Any, name: str = "event") -> Floats:
    """Zeros and ones. Raises ValueError naming the first entry that is neither."""
    found = numbers(values, name)
    bad = np.flatnonzero((found != 0) & (found != 1))
    if bad.size:
        raise ValueError(f"{name}: entry {bad[0] + 1} is {found[bad[0]]:g}; 0 or 1 is wanted")
    return found


def same_length(**columns: Any) -> None:
    """Raise ValueError where the named columns differ in length."""
    sizes = {name: len(column) for name, column in columns.items()}
    if len(set(sizes.values())) > 1:
        said = ", ".join(f"{name} has {size}" for name, size in sizes.items())
        raise ValueError(f"these must be equally long: {said}")
