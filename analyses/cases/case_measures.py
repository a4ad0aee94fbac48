"""Which measures of the service an event counts in: its own kind first, then how grave it was."""

from __future__ import annotations

import pandas as pd

from analyses.cases.one_case import OneCase
from analyses.measures.harm import (
    ANY,
    COMBINED,
    HAEMORRHAGIC,
    HAEMORRHAGIC_EVENT,
    ISCHAEMIC,
    NEW_DEFICIT,
    PERMANENT_DEFICIT,
    RETAINED_CATHETER,
    SYMPTOMATIC,
    ischaemic,
    symptomatic,
)
from analyses.measures.resection import DEFICIT
from registry.schema import Complications

LASTING, TRANSIENT = 3, 2
"""Severities of `case_events`: a permanent deficit, or death; a transient one."""

MeasureInUnit = tuple[str, str]
"""The id of a measure, and the unit of analysis it is given in."""


def measures_of_event(case: OneCase) -> tuple[MeasureInUnit, ...]:
    """The measures that the event to be discussed counts in, the nearest to its kind first.

    An event of the embolization counts per session (a retained catheter per catheter); one of
    an operation per lesion resected; lasting harm of another phase per patient treated.
    """
    event = case.index_event
    if event is None:
        return ((ANY.id, "session"),)
    lasting = ((COMBINED.id, "patient"),) if event["severity"] >= LASTING else ()
    if not bool(event["counted"]):
        operated = event[Complications.phase] == "resection"
        return (*(((DEFICIT.id, "lesion"),) if operated else ()), *lasting)
    grave = {LASTING: PERMANENT_DEFICIT, TRANSIENT: NEW_DEFICIT}.get(
        min(LASTING, int(event["severity"])))
    return (_of_its_kind(event), *(((grave.id, "session"),) if grave else ()))


def _of_its_kind(event: pd.Series) -> MeasureInUnit:
    """The narrowest measure of embolization complications that the event is one of."""
    one = event.to_frame().T.convert_dtypes()
    kind = event[Complications.kind]
    if kind in HAEMORRHAGIC:
        return HAEMORRHAGIC_EVENT.id, "session"
    if kind == "retained catheter":
        return RETAINED_CATHETER.id, "catheter"
    if ischaemic(one).fillna(False).astype(bool).iloc[0]:
        return ISCHAEMIC.id, "session"
    said = symptomatic(one).fillna(False).astype(bool).iloc[0]
    return (SYMPTOMATIC.id if said else ANY.id), "session"


def charted_measure(case: OneCase) -> str:
    """The id of the measure per session whose chart the case belongs to."""
    id, unit = next(iter(measures_of_event(case)), (ANY.id, "session"))
    return id if unit == "session" else ANY.id
