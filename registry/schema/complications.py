"""complications: one row an event."""

from __future__ import annotations

from registry.schema import vocabulary
from registry.schema.fields import choice, date, integer, number, yes_no
from registry.schema.lesions import lesion_number
from registry.schema.patients import study_code
from registry.schema.tables import Table


class Complications(
    Table, table="complications", label="Complications", definition="A row an event.",
    parent="lesions", parent_key=("patient_id", "lesion_no"),
):
    """One event, whatever its phase and cause."""

    patient_id = study_code()
    lesion_no = lesion_number()
    complication_no = integer(
        "Complication number", "Number of the event within the lesion, counting from 1.",
        1, 100, key=True,
    )
    session_no = integer(
        "Session number", "The session it belongs to, if known.", 1, 50,
    )
    injection_no = integer(
        "Injection number", "The injection it belongs to, if known.", 1, 200,
    )
    phase = choice(
        "Phase",
        "Embolization: from vascular access to 30 days, before any resection or radiosurgery; "
        "between treatments: later.",
        ("embolization", "between treatments", "resection", "radiosurgery", "follow-up"),
        required=True,
    )
    onset_date = date("Onset", "Day the event began.", required=True)
    hours_after = number(
        "Hours after", "Hours from the procedure named to the onset.", 0, 720, unit="h",
    )
    kind = choice(
        "Kind", "What happened.", vocabulary.COMPLICATION_KINDS, required=True,
    )
    symptomatic = yes_no("Symptomatic", "Whether the patient had symptoms from it.")
    mechanism = choice(
        "Mechanism", "The likeliest mechanism.",
        ("navigation perforation", "catheter removal", "outflow occlusion", "nidal rupture",
         "reflux", "perfusion breakthrough", "thrombus", "unknown"),
    )
    deficit = choice(
        "Deficit", "Neurological deficit from it; transient: gone within 30 days.",
        vocabulary.DEFICIT, required=True,
    )
    resolved_date = date("Resolved", "Day the deficit was gone.")
    recognised_after_min = number(
        "Recognised after", "From the event to its recognition.", 0, 43200, unit="min",
    )
    treated_after_min = number(
        "Treated after", "From the event to its treatment.", 0, 43200, unit="min",
    )
    rescue = choice(
        "Rescue", "The most that was done for it.",
        ("none", "medical", "endovascular", "open operation"),
    )
    preventable = choice(
        "Preventable", "As judged at review.", (*vocabulary.PREVENTABLE, "not reviewed"),
    )
    clavien_dindo = choice(
        "Clavien–Dindo grade", "Dindo and others 2004.", vocabulary.CLAVIEN_DINDO,
    )
    mrs_worst = integer("Worst mRS", "Worst modified Rankin Scale from it.", 0, 6)
    mrs_30d = integer("mRS at 30 days", "Modified Rankin Scale at 30 days.", 0, 6)
    mrs_90d = integer("mRS at 90 days", "Modified Rankin Scale at 90 days.", 0, 6)
    death = yes_no(
        "Death", "Death from this event; the patient's date of death is then required.",
        required=True,
    )
    attribution = choice(
        "Attribution",
        "To the embolization; an event not reviewed yet counts until it is judged unrelated.",
        ("definite", "probable", "possible", "unrelated", "not reviewed"), required=True,
    )
    cause = choice(
        "Cause", "The treatment or course the event is put down to.",
        ("embolization", "resection", "radiosurgery", "natural history", "cannot be separated"),
    )
    reviewed_by = choice(
        "Reviewed by", "Who judged the event.", ("one reader", "two readers", "committee"),
    )
