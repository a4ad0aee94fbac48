"""Queries on operations."""

from __future__ import annotations

from registry.rules.finding import Hits, Tables, query
from registry.schema import Resections


@query("operation without its urgency")
def operation_without_urgency(tables: Tables) -> Hits:
    """An operation not said to be planned or an emergency."""
    rows = tables["resections"]
    rows = rows[rows[Resections.urgency].isna()]
    return Hits(
        "resections", rows, Resections.urgency, "an operation without its urgency",
        "planned or emergency for every operation", "enter it if it is in the record",
    )
