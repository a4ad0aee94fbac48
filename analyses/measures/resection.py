"""The operation after embolization: result, new deficit, blood loss, time and nights.

By extent of embolization and by the days since the last session. Who was embolized further, or
sooner, was chosen by the surgeons and neurointerventionists: differences between these groups
are confounded by indication, and the words here never say that one caused the other.
"""

from __future__ import annotations

import pandas as pd

from analyses.measures.counting import any_known
from analyses.measures.gate import Known
from analyses.measures.harm import permanent_or_death
from analyses.measures.measure import Counts, Direction, Share, Spread
from analyses.measures.obliteration import last_assessed, resected_lesions
from analyses.measures.places import Place
from analyses.population.bands import extent_band, interval_band
from analyses.population.counted_events import LESION, unit_key
from analyses.population.unit_frames import GROUPINGS, Units, once
from registry.schema import Complications, Resections, Sessions

CONFOUNDED = (
    "How far a nidus was embolized, and how soon it was resected, was decided patient by "
    "patient: differences between these groups are confounded by indication."
)
BANDS = ("extent", "interval")


@once
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
    first = units.tables["resections"].sort_values(
        [*LESION, Resections.resection_date, Resections.resection_no]
    )
    first = first.groupby(LESION, as_index=False).head(1)
    before = days_since_session(first, units.tables["sessions"])
    found = found.merge(first[LESION].assign(days=before), on=LESION, how="left")
    return found.assign(
        permanent=_permanent(units, found),
        extent=extent_band(found["occlusion_pct"], found["days"].notna()),
        interval=interval_band(found["days"]),
    )


@once
def operations_with_extent(units: Units) -> pd.DataFrame:
    """Operations, one a row: the resections table with `key`, `days`, `extent` and `interval`.

    The extent is that of the last assessed session on or before the day of the operation.
    """
    rows = units.tables["resections"].reset_index(drop=True)
    sessions = units.tables["sessions"]
    days = days_since_session(rows, sessions)
    return rows.assign(
        key=unit_key(rows, [*LESION, Resections.resection_no]), days=days,
        extent=extent_band(_occlusion_before(rows, sessions), days.notna()),
        interval=interval_band(days),
    )


def days_since_session(operations: pd.DataFrame, sessions: pd.DataFrame) -> pd.Series:
    """Days from the last session on the lesion to each operation (Int64; blank without one)."""
    pairs = _sessions_before(operations, sessions)
    last = pairs.groupby("row")[Sessions.session_date].max().reindex(operations.index)
    return (operations[Resections.resection_date] - last).dt.days.astype("Int64")


def _sessions_before(operations: pd.DataFrame, sessions: pd.DataFrame) -> pd.DataFrame:
    """Pairs of an operation (`row`, its index) and a session on or before its day."""
    rows = operations[[*LESION, Resections.resection_date]].reset_index(names="row")
    pairs = rows.merge(sessions, on=LESION)
    return pairs[pairs[Sessions.session_date] <= pairs[Resections.resection_date]]


def _occlusion_before(operations: pd.DataFrame, sessions: pd.DataFrame) -> pd.Series:
    pairs = _sessions_before(operations, sessions)
    read = pairs[Sessions.occlusion_after_pct].notna() & pairs[Sessions.occlusion_status].ne(
        "not assessed").fillna(True)
    last = pairs[read].sort_values(["row", Sessions.session_no]).groupby("row").tail(1)
    return last.set_index("row")[Sessions.occlusion_after_pct].reindex(operations.index)


def _permanent(units: Units, lesions: pd.DataFrame) -> pd.Series:
    operated = units.tables["resections"]
    after = operated[Resections.deficit].eq("permanent").astype("boolean")
    after = after.mask(operated[Resections.deficit].eq("not yet known"))
    events = _of_the_operation(units)
    flags = pd.concat([after, permanent_or_death(events)], ignore_index=True)
    names = pd.concat([unit_key(operated, LESION), unit_key(events, LESION)], ignore_index=True)
    return any_known(lesions, "key", names.to_frame("name"), flags, "name")


def _of_the_operation(units: Units) -> pd.DataFrame:
    """Complications that count as the operation's: each event counts once, under its cause.

    Put down to the resection; or in its phase, put down to nothing else, and not one of the set of
    embolization complications.
    """
    events = units.tables["complications"]
    cause = events[Complications.cause]
    told = cause.notna() & cause.ne("cannot be separated").fillna(False)
    counted = unit_key(events, [*LESION, Complications.complication_no]).isin(
        set(units.events["key"]))
    own = events[Complications.phase].eq("resection").fillna(False) & ~told & ~counted
    return events[(cause.eq("resection").fillna(False) | own).astype(bool)]


def _event(column: str) -> Counts:
    def counts(units: Units, unit: str) -> pd.DataFrame:
        rows = resected_with_extent(units)
        return rows.assign(event=rows[column])

    return counts


def _value(column: str) -> Counts:
    def values(units: Units, unit: str) -> pd.DataFrame:
        rows = operations_with_extent(units)
        return rows.assign(value=rows[column])

    return values


PER_LESION, OPERATION = ("lesion",), ("operation",)
DEFICIT = Share(
    id="resection.permanent_deficit", units=PER_LESION,
    label="New permanent deficit or death after resection",
    subject="a new permanent deficit or death after resection",
    counted="a permanent deficit after an operation on the lesion, or a permanent deficit or "
            "death from an event put down to it (in its phase, and counted under nothing else)",
    among="lesions resected whose deficit is known", direction=Direction.HARM,
    known=Known.ONLY_WITH_AN_EVENT, counts=_event("permanent"), by=(*GROUPINGS, *BANDS),
    unknown="whose deficit is not yet known",
    shown_in={Place.OPERATION_TABLE: PER_LESION, Place.OPERATION_TEXT: PER_LESION,
              Place.RESECTION_BY_EXTENT: PER_LESION},
    answers=("avm-endovascular: Other treatment",),
    uses=("resections.deficit", "complications.deficit", "complications.death",
          "complications.cause", "complications.phase"),
    checked_against="counted by hand on the small cohort")
COMPLETE_BY_EXTENT = Share(
    id="resection.complete_by_extent", units=PER_LESION, label="Complete resection",
    subject="complete resection on angiography",
    counted="last resection complete on angiography after the operation",
    among="lesions resected with angiography afterwards", direction=Direction.BENEFIT,
    counts=_event("complete"), by=BANDS, unknown="not imaged",
    shown_in={Place.RESECTION_BY_EXTENT: PER_LESION},
    uses=("resections.result", "sessions.occlusion_after_pct"),
    checked_against="counted by hand on the small cohort")
BLOOD_LOSS = Spread(
    id="resection.blood_loss_ml", units=OPERATION, label="Blood loss", subject="blood loss",
    counted="estimated blood loss", among="operations with it recorded", measure="mL",
    direction=Direction.HARM, values=_value(Resections.blood_loss_ml), by=BANDS,
    shown_in={Place.OPERATION_TABLE: OPERATION, Place.OPERATION_TEXT: OPERATION},
    uses=("resections.blood_loss_ml",), checked_against="order statistics, Conover")
DURATION = Spread(
    id="resection.operation_min", units=OPERATION, label="Operation time",
    subject="operation time", counted="skin to skin", among="operations with it recorded",
    measure="min", values=_value(Resections.operation_min), by=BANDS,
    shown_in={Place.OPERATION_TABLE: OPERATION, Place.OPERATION_TEXT: OPERATION},
    uses=("resections.operation_min",), checked_against="order statistics, Conover")
NIGHTS = Spread(
    id="resection.nights", units=OPERATION, label="Nights after the operation",
    subject="nights in hospital after the operation",
    counted="nights in hospital after the operation", among="operations with them recorded",
    measure="nights", values=_value("nights"), by=BANDS,
    shown_in={Place.OPERATION_TABLE: OPERATION}, uses=("resections.nights",),
    checked_against="order statistics, Conover")
