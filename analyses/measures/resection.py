"""The operation after embolization: result, new deficit, blood loss, time and nights.

By extent of embolization and by the days since the last session. Who was embolized further, or
sooner, was chosen by the surgeons and neurointerventionists: differences between these groups
are confounded by indication, and the words here never say that one caused the other.
"""

from __future__ import annotations

import pandas as pd

from analyses.measures.counting import any_known, shares
from analyses.measures.harm import permanent_or_death
from analyses.measures.measuring import medians
from analyses.measures.obliteration import last_assessed, resected_lesions
from analyses.population.bands import extent_band, interval_band
from analyses.population.counted_events import LESION, unit_key
from analyses.population.unit_frames import GROUPINGS, Units
from analyses.statistics.estimate import Estimate

CONFOUNDED = (
    "How far a nidus was embolized, and how soon it was resected, was decided patient by "
    "patient: differences between these groups are confounded by indication."
)
MEASURES = {"blood_loss_ml": "mL", "operation_min": "min", "nights": "nights"}
"""Field of resections → unit. All skewed: medians with quartiles."""

BANDS = ("extent", "interval")


def resection_estimates(units: Units) -> list[Estimate]:
    """All resection.* estimates.

    `resection.permanent_deficit` and `resection.complete_by_extent` per lesion;
    `resection.blood_loss_ml`, `.operation_min` and `.nights` per operation; each overall and by
    extent and interval.
    """
    lesions = resected_with_extent(units)
    operations = operations_with_extent(units)
    found = [
        *shares(lesions, "permanent", id="resection.permanent_deficit", unit="lesion",
                by=(*GROUPINGS, *BANDS), unknown="whose deficit is not yet known"),
        *shares(lesions, "complete", id="resection.complete_by_extent", unit="lesion",
                by=BANDS, unknown="not imaged"),
    ]
    for field, measure in MEASURES.items():
        found += medians(operations, field, id=f"resection.{field}", unit="operation",
                         measure=measure, by=BANDS)
    return found


def resected_with_extent(units: Units) -> pd.DataFrame:
    """Lesions resected, with `complete`, `permanent`, `occlusion_pct`, `days` and both bands.

    The bands are `extent` and `interval`.
    `permanent` (boolean): a permanent deficit after any operation on the lesion, or a permanent
    deficit or death from an event in the phase of the resection; blank while one is not yet
    known. `days` run from the last session to the first operation.
    """
    lesions = resected_lesions(units)
    last = last_assessed(units.tables["sessions"], units.lesions)
    found = lesions.merge(last, on=LESION, how="left")
    first = units.tables["resections"].sort_values([*LESION, "resection_date", "resection_no"])
    first = first.groupby(LESION, as_index=False).head(1)
    before = days_since_session(first, units.tables["sessions"])
    found = found.merge(first[LESION].assign(days=before), on=LESION, how="left")
    return found.assign(
        permanent=_permanent(units, found),
        extent=extent_band(found["occlusion_pct"], found["days"].notna()),
        interval=interval_band(found["days"]),
    )


def operations_with_extent(units: Units) -> pd.DataFrame:
    """Operations, one a row: the resections table with `key`, `days`, `extent` and `interval`.

    The extent is that of the last assessed session on or before the day of the operation.
    """
    rows = units.tables["resections"].reset_index(drop=True)
    sessions = units.tables["sessions"]
    days = days_since_session(rows, sessions)
    return rows.assign(
        key=unit_key(rows, [*LESION, "resection_no"]), days=days,
        extent=extent_band(_occlusion_before(rows, sessions), days.notna()),
        interval=interval_band(days),
    )


def days_since_session(operations: pd.DataFrame, sessions: pd.DataFrame) -> pd.Series:
    """Days from the last session on the lesion to each operation (Int64; blank without one)."""
    pairs = _sessions_before(operations, sessions)
    last = pairs.groupby("row")["session_date"].max().reindex(operations.index)
    return (operations["resection_date"] - last).dt.days.astype("Int64")


def _sessions_before(operations: pd.DataFrame, sessions: pd.DataFrame) -> pd.DataFrame:
    """Pairs of an operation (`row`, its index) and a session on or before its day."""
    rows = operations[[*LESION, "resection_date"]].reset_index(names="row")
    pairs = rows.merge(sessions, on=LESION)
    return pairs[pairs["session_date"] <= pairs["resection_date"]]


def _occlusion_before(operations: pd.DataFrame, sessions: pd.DataFrame) -> pd.Series:
    pairs = _sessions_before(operations, sessions)
    read = pairs["occlusion_after_pct"].notna() & pairs["occlusion_status"].ne(
        "not assessed").fillna(True)
    last = pairs[read].sort_values(["row", "session_no"]).groupby("row").tail(1)
    return last.set_index("row")["occlusion_after_pct"].reindex(operations.index)


def _permanent(units: Units, lesions: pd.DataFrame) -> pd.Series:
    operated = units.tables["resections"]
    after = operated["deficit"].eq("permanent").astype("boolean")
    after = after.mask(operated["deficit"].eq("not yet known"))
    events = units.tables["complications"]
    events = events[events["phase"].eq("resection")]
    flags = pd.concat([after, permanent_or_death(events)], ignore_index=True)
    names = pd.concat([unit_key(operated, LESION), unit_key(events, LESION)], ignore_index=True)
    return any_known(lesions, "key", names.to_frame("name"), flags, "name")
