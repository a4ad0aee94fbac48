"""Which rows held back tell of a death or a complication: while they wait, harm is counted low."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from registry.schema import FollowUps, Patients


def rows_with_harm(held: pd.DataFrame) -> pd.Series:
    """Whether each row held (`Registry.held`) records a death or a complication (bool)."""
    return pd.Series(
        [_tells_harm(t, v) for t, v in zip(held["table"], held["values"], strict=True)],
        index=held.index, dtype=bool,
    )


def _tells_harm(table: str, values: Mapping[str, str]) -> bool:
    """Whether a held row, as raw text, records a death or a complication."""
    def said(name: str) -> bool:
        return bool(values.get(name, "").strip())

    if table == "patients":
        return said(Patients.death_date) or said(Patients.death_cause)
    if table == "follow_ups":
        return values.get(FollowUps.mrs, "").strip() in {"6", "6.0"}
    return table == "complications"
