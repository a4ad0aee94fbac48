"""actions: one row a thing that was decided. They are the service's, not a patient's.

An action may name the case, and its discussion, that it comes from; it stays when that patient
is held back or left out of a freeze (there the name of the case is blank).
"""

from __future__ import annotations

from registry.schema import vocabulary
from registry.schema.fields import choice, date, free_text, integer, text
from registry.schema.measures_named import measure_named, unit_named
from registry.schema.patients import PATIENT_ID, PATIENT_ID_WORDS
from registry.schema.tables import Table


class Actions(
    Table, table="actions", label="Actions",
    definition="A row a thing that the service decided to do.",
):
    """One decision, who sees to it, and what will show that it worked."""

    action_no = integer(
        "Action number", "Number of the action, counting from 1; never used again.", 1, 10000,
        key=True,
    )
    decided_on = date("Decided on", "Day it was decided.", required=True)
    action = free_text("Action", "What is to be done.", required=True)
    responsible = choice(
        "Responsible", "The role that sees to it, never a name.", vocabulary.ROLES,
        required=True,
    )
    due_date = date("Due", "Day by which it is to be done.")
    measure = measure_named("The measure that will show whether it worked.")
    measure_unit = unit_named()
    state = choice(
        "State", "Where it stands.", vocabulary.ACTION_STATES, required=True,
    )
    closed_date = date("Closed", "Day it was done or dropped; from then on the measure is since.")
    from_patient = text(
        "From case", "The case it comes from, if it comes from one.", pattern=PATIENT_ID,
        pattern_words=PATIENT_ID_WORDS, example="N-0012",
    )
    from_review = integer(
        "From review", "The number of that case's conference review it comes from.", 1, 50,
    )
