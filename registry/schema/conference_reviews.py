"""conference_reviews: one row a case brought to a conference, with or without an event."""

from __future__ import annotations

from registry.schema import vocabulary
from registry.schema.fields import Column, choice, date, free_text, integer, yes_no
from registry.schema.patients import study_code
from registry.schema.tables import Table


def _factor(label: str, what: str) -> Column:
    return yes_no(f"Factor: {label}", f"Whether {what} contributed.")


class ConferenceReviews(
    Table, table="conference_reviews", label="Conference reviews",
    definition="A row a case brought to a conference.", parent="patients",
    parent_key=("patient_id",),
):
    """One case at one conference."""

    patient_id = study_code()
    review_no = integer(
        "Review number", "Number of the discussion within the patient, counting from 1.", 1, 50,
        key=True,
    )
    conference_date = date("Conference", "Day of the conference.", required=True)
    lesion_no = integer("Lesion number", "The lesion of the event; blank: no event.", 1, 20)
    event_of = choice(
        "Event of", "Which table holds the event that was discussed; blank: no event.",
        vocabulary.EVENT_OF,
    )
    event_no = integer("Event number", "Its number in that table; blank: no event.", 1, 100)
    planned = free_text(
        "Planned", "What was planned, beyond what the registry says of the plan.",
    )
    happened = free_text(
        "Happened", "What happened, beyond what the registry says of the event.",
    )
    factor_equipment = _factor("equipment", "equipment")
    factor_anatomy = _factor("anatomy", "the anatomy")
    factor_technique = _factor("technique", "the technique")
    factor_communication = _factor("communication", "communication")
    factor_organisation = _factor("organisation", "the organisation of care")
    factor_patient = _factor("patient", "something of the patient's own")
    learning_points = free_text("Learning points", "What is to be learnt.")
    preventable = choice(
        "Preventable", "Whether it could have been prevented, as agreed after the discussion.",
        vocabulary.PREVENTABLE,
    )
