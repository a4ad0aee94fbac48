"""signals: one row a time that a watched measure crossed its limit. Nothing here goes away.

A row is only ever added, and what was done about it filled in later.
"""

from __future__ import annotations

from registry.schema.fields import choice, date, free_text, integer, number, text
from registry.schema.monitoring_plans import code_of_plan
from registry.schema.tables import Table


class Signals(
    Table, table="signals", label="Signals",
    definition="A row a signal of a monitoring plan; it is never changed or removed, and only "
    "what was done about it is filled in later.",
    parent="monitoring_plans", parent_key=("plan_code",), only_added=True,
):
    """One crossing of a limit, as it was found."""

    plan_code = code_of_plan()
    signal_no = integer(
        "Signal number", "Number of the signal within the plan, counting from 1.", 1, 1000,
        key=True,
    )
    found_on = date("Found on", "Day it was found.", required=True)
    freeze_hash = text(
        "Freeze", "Hash of the freeze it was found in.", required=True, pattern=r"^[0-9a-f]{64}$",
        pattern_words="the hash of a freeze, 64 digits and letters a to f", example="0" * 64,
    )
    direction = choice(
        "Direction", "Whether the measure got worse or better.", ("worse", "better"),
        required=True,
    )
    crossed_on = date(
        "Crossed on", "Day of the session with which the limit was crossed.", required=True,
    )
    chart_value = number(
        "Value", "The chart's value when it crossed.", unit="chart units", required=True,
    )
    chart_limit = number(
        "Limit", "The limit that it crossed.", unit="chart units", required=True,
    )
    done = free_text("What was done", "What was done about it.", filled_later=True)
    done_on = date("Done on", "Day that was done.", filled_later=True)
