"""Bands of extent and of time, as the analysis plan names them; ordered categories."""

from __future__ import annotations

import pandas as pd

EXTENTS = ("under 50 %", "50 to under 90 %", "90 % or more")
NOT_ASSESSED = "not assessed"
NOT_BEFORE = "not embolized before"

INTERVALS = ("same day", "1–7 days", "8–30 days", "over 30 days")


def extent_band(occlusion_pct: pd.Series, embolized: pd.Series) -> pd.Series:
    """Extent of embolization (0–100 %) as <50, ≥50 to <90, ≥90 % (ordered categories).

    embolized: whether there was a session before (boolean); without one "not embolized before",
    with one but no reading "not assessed".
    """
    pct = occlusion_pct.astype("Float64")
    band = pd.Series(NOT_ASSESSED, index=pct.index, dtype="object")
    band[pct.lt(50).fillna(False).to_numpy(bool)] = EXTENTS[0]
    band[(pct.ge(50) & pct.lt(90)).fillna(False).to_numpy(bool)] = EXTENTS[1]
    band[pct.ge(90).fillna(False).to_numpy(bool)] = EXTENTS[2]
    band[~embolized.to_numpy(bool)] = NOT_BEFORE
    return _ordered(band, (*EXTENTS, NOT_ASSESSED, NOT_BEFORE))


def interval_band(days: pd.Series) -> pd.Series:
    """Days from the last session to the operation as a band; blank days: not embolized before."""
    count = days.astype("Int64")
    band = pd.Series(NOT_BEFORE, index=count.index, dtype="object")
    for name, low, high in zip(INTERVALS, (0, 1, 8, 31), (0, 7, 30, 10**6), strict=True):
        band[count.between(low, high).fillna(False).to_numpy(bool)] = name
    return _ordered(band, (*INTERVALS, NOT_BEFORE))


def _ordered(values: pd.Series, order: tuple[str, ...]) -> pd.Series:
    return values.astype(pd.CategoricalDtype(list(order), ordered=True))
