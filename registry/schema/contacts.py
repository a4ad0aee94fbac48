"""contacts: one row a try to reach a patient."""

from __future__ import annotations

from registry.schema.fields import choice, date, integer
from registry.schema.patients import study_code
from registry.schema.tables import Table

OF_THE_LIVING = ("seen", "declined")
"""Results of a try that only a living patient gives."""


class Contacts(
    Table, table="contacts", label="Contacts", definition="A row a try to reach a patient.",
    parent="patients", parent_key=("patient_id",), offered=True,
):
    """One try, and what came of it."""

    patient_id = study_code()
    try_no = integer(
        "Try number", "Number of the try within the patient, counting from 1.", 1, 200,
        key=True,
    )
    contact_date = date("Date of contact", "Day of the try.", required=True)
    how = choice(
        "How", "How the patient was sought.",
        ("telephone", "letter", "e-mail", "visit", "through another doctor",
         "register of deaths", "other"),
    )
    result = choice(
        "Result",
        "What came of it; no answer: to be tried again; lost: given up after the service's own "
        "rule.",
        ("seen", "no answer", "declined", "moved", "dead", "lost"), required=True,
    )
