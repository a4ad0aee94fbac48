"""Which complications count: the one set of embolization complications that all use.

An embolization complication is a complications row with attribution not unrelated and onset
from vascular access to 30 days after a session, whatever its phase, whose cause (where recorded)
is not another treatment or the natural history alone: each event counts once, under its cause, and
one that cannot be separated counts here. A row without a session
(or naming one that is not there) belongs to the latest session on or before its onset.
"""

from __future__ import annotations

import pandas as pd

from registry.schema import Complications, Lesions, Patients, Sessions

WINDOW_DAYS = 30
ANOTHER_CAUSE = ("resection", "radiosurgery", "natural history")
"""Causes under which an event is counted elsewhere, and not as one of embolization."""

LESION = [Patients.patient_id, Lesions.lesion_no]
SESSION = [*LESION, Sessions.session_no]


def latest_session(rows: pd.DataFrame, sessions: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """For each row, the latest session on or before its onset among those sharing `by`.

    `rows` has the columns of `by`, `onset_date` and a unique index; returns columns
    `found_lesion`, `found_session` and `found_date` on that index, blank where none is found.
    """
    columns = list(dict.fromkeys([*by, *SESSION, Sessions.session_date]))
    pairs = (
        rows[[*by, Complications.onset_date]]
        .reset_index(names="row")
        .merge(sessions[columns], on=by)
    )
    pairs = pairs[pairs[Sessions.session_date] <= pairs[Complications.onset_date]]
    last = pairs.sort_values(["row", Sessions.session_date, Lesions.lesion_no, Sessions.session_no],
                             kind="stable").groupby("row").tail(1).set_index("row")
    return pd.DataFrame({
        "found_lesion": last[Lesions.lesion_no].reindex(rows.index),
        "found_session": last[Sessions.session_no].reindex(rows.index),
        "found_date": last[Sessions.session_date].reindex(rows.index),
    })


def placed(complications: pd.DataFrame, sessions: pd.DataFrame) -> pd.DataFrame:
    """Complications with the session each belongs to.

    Adds `at_lesion`, `at_session`, `at_date` (the session it is placed in, blank where there is
    no session on or before its onset), `placed_by_date` (boolean: it named none, or one that is
    not there) and `days_after` (days from the latest session of the patient on or before the
    onset).
    """
    rows = complications.reset_index(drop=True)
    named = rows[SESSION].merge(sessions[[*SESSION, Sessions.session_date]], on=SESSION, how="left")
    own = latest_session(rows, sessions, LESION)
    any_ = latest_session(rows, sessions, [Patients.patient_id])
    by_date = named[Sessions.session_date].isna()
    # The event's own lesion comes first, unless its last session is too long ago to explain it.
    own = own.where((rows[Complications.onset_date] - own["found_date"]).dt.days.le(WINDOW_DAYS))
    lesion = own["found_lesion"].fillna(any_["found_lesion"])
    session = own["found_session"].fillna(any_["found_session"])
    day = own["found_date"].fillna(any_["found_date"])
    return rows.assign(
        at_lesion=rows[Lesions.lesion_no].where(~by_date, lesion).astype("Int64"),
        at_session=rows[Sessions.session_no].where(~by_date, session).astype("Int64"),
        at_date=named[Sessions.session_date].where(~by_date, day),
        placed_by_date=by_date,
        days_after=(rows[Complications.onset_date] - any_["found_date"]).dt.days.astype("Int64"),
    )


def embolization_complications(
    complications: pd.DataFrame, sessions: pd.DataFrame
) -> pd.DataFrame:
    """The set of embolization complications, one row an event, with where each is placed.

    Columns of the complications table, those of `placed`, and `key` (patient/lesion/number).
    """
    rows = placed(complications, sessions)
    related = rows[Complications.attribution].ne("unrelated").fillna(False)
    in_window = rows["days_after"].le(WINDOW_DAYS).fillna(False)
    elsewhere = rows[Complications.cause].isin(ANOTHER_CAUSE).fillna(False)
    counted = related & in_window & ~elsewhere & rows["at_session"].notna()
    kept = rows[counted.astype(bool)].reset_index(drop=True)
    return kept.assign(key=unit_key(kept, [*LESION, Complications.complication_no]))


def unit_key(frame: pd.DataFrame, columns: list[str]) -> pd.Series:
    """The key of each row as text, its parts parted by strokes: `N-0012/1/2`."""
    key = frame[columns[0]].astype("string")
    for column in columns[1:]:
        key = key + "/" + frame[column].astype("string")
    return key.astype("string")
