"""patients: one row a patient."""

from __future__ import annotations

from registry.schema import vocabulary
from registry.schema.fields import Column, choice, date, integer, number, text, yes_no
from registry.schema.tables import Table

PATIENT_ID = r"^[A-Z]{1,4}-\d{3,6}$"
PATIENT_ID_WORDS = (
    "a study code of one to four capital letters, a hyphen and three to six digits, such as "
    "N-0012; never a hospital number or a name"
)


def study_code() -> Column:
    """The key field that every table of patients carries."""
    return text(
        "Study code",
        "The service's own study code of the patient; never a hospital number or a name.",
        key=True, pattern=PATIENT_ID, pattern_words=PATIENT_ID_WORDS, example="N-0012",
    )


class Patients(Table, table="patients", label="Patients", definition="A row a patient."):
    """One row a patient."""

    patient_id = study_code()
    site_id = text(
        "Site", "Code of the site that treated the patient.", required=True,
        pattern=r"^[A-Z]{2,6}$", pattern_words="two to six capital letters, such as NORTH",
        example="NORTH",
    )
    age_y = number(
        "Age at presentation",
        "Age at first medical attention for a brain AVM; leaves the registry capped at 90.",
        0, 110, unit="years", required=True,
    )
    sex = choice(
        "Sex", "As recorded in the chart.", ("female", "male", "intersex", "not stated"),
        required=True,
    )
    presentation = choice(
        "Presentation", "What brought the AVM to attention.",
        ("haemorrhage", "seizure", "headache", "focal deficit", "incidental", "other"),
        required=True,
    )
    presentation_date = date(
        "Date of presentation",
        "First medical attention for any brain AVM, here or elsewhere.", required=True,
    )
    presentation_date_known_to = choice(
        "Presentation date known to",
        "How precise that date is; dates are compared at this precision.",
        ("day", "month", "year"),
    )
    mrs_before = integer(
        "mRS before treatment", "Modified Rankin Scale before the first treatment.", 0, 5,
        required=True,
    )
    gcs = integer("GCS", "Glasgow Coma Scale at presentation.", 3, 15)
    hht = yes_no("HHT", "Hereditary haemorrhagic telangiectasia.")
    death_date = date("Date of death", "Blank: not known to have died.")
    death_cause = choice(
        "Cause of death", "Where a date of death is given.",
        ("lesion", "treatment", "other", "unknown"),
    )
    research_use = choice(
        "Research use",
        "Whether the patient's data may be used for research; only granted and waived enter a "
        "freeze made for research.",
        vocabulary.RESEARCH_USE, required=True,
    )
