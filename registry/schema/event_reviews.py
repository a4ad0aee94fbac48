"""event_reviews: one row a reader's view of one event.

An event of any phase is named by the table that holds it and its number there: a complication, a
haemorrhage, or a resection (for the deficit of the operation itself).
"""

from __future__ import annotations

from registry.schema import vocabulary
from registry.schema.fields import Column, choice, date, free_text, integer, text, yes_no
from registry.schema.lesions import lesion_number
from registry.schema.patients import study_code
from registry.schema.tables import Table


def _cause(label: str, what: str) -> Column:
    return choice(
        label, f"How far the event is put down to {what}.", vocabulary.HOW_CERTAIN,
    )


class EventReviews(
    Table, table="event_reviews", label="Event reviews",
    definition="A row a reader's view of an event of any phase.", parent="lesions",
    parent_key=("patient_id", "lesion_no"),
):
    """What one reader holds of one event."""

    patient_id = study_code()
    lesion_no = lesion_number()
    event_of = choice(
        "Event of",
        "Which table holds the event: a complication, a haemorrhage, or a resection (the "
        "deficit of the operation itself).",
        vocabulary.EVENT_OF, key=True,
    )
    event_no = integer(
        "Event number", "Its number in that table, within the lesion.", 1, 100, key=True,
    )
    reader = text(
        "Reader", "Code of the reader, never a name.", key=True, pattern=r"^RD\d{2,4}$",
        pattern_words="RD and two to four digits, such as RD01; never a name", example="RD01",
    )
    reviewed_on = date("Reviewed on", "Day of the review.")
    blinded = yes_no(
        "Blinded",
        "Whether the reader knew neither the other reader's view nor who had treated; only "
        "such views enter the agreement between readers.",
    )
    cause_embolization = _cause("Cause: embolization", "the embolization")
    cause_resection = _cause("Cause: resection", "the resection")
    cause_radiosurgery = _cause("Cause: radiosurgery", "radiosurgery")
    cause_natural_history = _cause("Cause: natural history", "the lesion's own course")
    preventable = choice(
        "Preventable", "Whether it could have been prevented.", vocabulary.PREVENTABLE,
    )
    severity = choice(
        "Severity", "Clavien–Dindo grade as the reader sees it (Dindo 2004).",
        vocabulary.CLAVIEN_DINDO,
    )
    reasons = free_text("Reasons", "The reader's reasons.")
