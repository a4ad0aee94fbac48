"""practice_changes: one row a change in practice that a monitoring plan knows of."""

from __future__ import annotations

from registry.schema.fields import date, free_text, integer
from registry.schema.monitoring_plans import code_of_plan
from registry.schema.tables import Table


class PracticeChanges(
    Table, table="practice_changes", label="Practice changes",
    definition="A row a change in practice, marked in the charts of its plan; only ever added.",
    parent="monitoring_plans", parent_key=("plan_code",), only_added=True,
):
    """One change in what the service does."""

    plan_code = code_of_plan()
    change_no = integer(
        "Change number", "Number of the change within the plan, counting from 1.", 1, 50,
        key=True,
    )
    changed_on = date("Changed on", "First day of the new practice.", required=True)
    change = free_text("Change", "What was changed.", required=True)
