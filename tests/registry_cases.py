"""A small clean service for the registry's tests, and a way to change single cells of it."""

from __future__ import annotations

from typing import Any

import pandas as pd

from registry.rules import Finding, all_rules
from registry.schema import TABLES

Tables = dict[str, pd.DataFrame]

L = {"patient_id": "N-0001", "lesion_no": 1}
S = {**L, "session_no": 1}

CLEAN: dict[str, list[dict[str, Any]]] = {
    "services": [{
        "site_id": "NORTH", "enrolment_from": "2020-01-01", "consecutive": True,
        "suite_log_procedures": 2,
    }],
    "patients": [{
        "patient_id": "N-0001", "site_id": "NORTH", "age_y": 41.0, "sex": "female",
        "presentation": "haemorrhage", "presentation_date": "2021-03-10", "mrs_before": 1,
        "research_use": "granted",
    }],
    "lesions": [{
        **L, "side": "left", "location": "frontal", "haemorrhage_before": True,
        "eloquent": False, "nidus_length_mm": 30.0, "nidus_width_mm": 20.0,
        "nidus_height_mm": 20.0, "deep_drainage": "none", "feeding_pedicles": 3,
        "sm_grade_recorded": 2,
    }],
    "sessions": [
        {**S, "session_date": "2021-03-20", "intent": "before resection", "route": "arterial",
         "operator_id": "OP01", "occlusion_before_pct": 0.0, "occlusion_after_pct": 40.0},
        {**S, "session_no": 2, "session_date": "2021-04-20", "intent": "before resection",
         "route": "arterial", "operator_id": "OP01", "occlusion_before_pct": 40.0,
         "occlusion_after_pct": 80.0},
    ],
    "injections": [
        {**S, "injection_no": 1, "feeding_artery": "MCA", "agent": "EVOH 6 %", "agent_ml": 1.0,
         "injection_min": 10.0, "pauses_s": 120.0, "longest_pause_s": 60.0, "dmso_ml": 0.25,
         "dead_space_ml": 0.23},
        {**S, "session_no": 2, "injection_no": 1, "feeding_artery": "ACA", "agent": "EVOH 8 %",
         "agent_ml": 1.5},
    ],
    "complications": [{
        **S, "complication_no": 1, "phase": "embolization", "onset_date": "2021-03-21",
        "hours_after": 12.0, "kind": "ischaemic stroke", "deficit": "transient", "death": False,
        "attribution": "probable",
    }],
    "resections": [{
        **L, "resection_no": 1, "resection_date": "2021-04-25", "urgency": "planned",
        "result": "complete", "angiography_date": "2021-04-28", "deficit": "none",
    }],
    "radiosurgeries": [],
    "follow_ups": [{
        **L, "follow_up_no": 1, "follow_up_date": "2021-10-25",
        "imaging": "catheter angiography", "occlusion": "complete", "mrs": 1,
    }],
    "haemorrhages": [{
        **L, "haemorrhage_no": 1, "haemorrhage_date": "2021-03-10", "date_known_to": "day",
        "cause": "spontaneous",
    }],
    **{name: [] for name in (
        "contacts", "event_reviews", "conference_reviews", "actions", "monitoring_plans",
        "practice_changes", "signals",
    )},
}


def frame(table: str, rows: list[dict[str, Any]]) -> pd.DataFrame:
    """A typed table from rows written as dictionaries (dates as text)."""
    return TABLES[table].typed(pd.DataFrame(rows))


def clean_tables() -> Tables:
    """The clean service: one patient, one lesion, two sessions, an operation, a visit."""
    return {table: frame(table, rows) for table, rows in CLEAN.items()}


def with_cells(tables: Tables, table: str, row: int = 0, **cells: Any) -> Tables:
    """The tables with some cells of one row changed; None blanks a cell."""
    rows = tables[table].astype("object").to_dict("records")
    rows[row] = {**rows[row], **cells}
    return {**tables, table: frame(table, rows)}


def with_row(tables: Tables, table: str, like: int | None = None, **cells: Any) -> Tables:
    """The tables with one more row, copied from row `like` where given, and changed."""
    rows = tables[table].astype("object").to_dict("records")
    base = dict(rows[like]) if like is not None else {}
    return {**tables, table: frame(table, [*rows, {**base, **cells}])}


def without_rows(tables: Tables, table: str) -> Tables:
    """The tables with one of them emptied."""
    return {**tables, table: TABLES[table].empty()}


def found(tables: Tables, rule: str) -> list[Finding]:
    """What one rule finds."""
    return [f for one in all_rules() if one.name == rule for f in one.findings(tables)]


def errors(tables: Tables) -> list[Finding]:
    """Everything that would keep a patient out."""
    return [f for one in all_rules() if one.severity == "error" for f in one.findings(tables)]
