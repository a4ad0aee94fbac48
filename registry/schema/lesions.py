"""lesions: one row an AVM."""

from __future__ import annotations

from registry.schema import vocabulary
from registry.schema.fields import Column, choice, integer, number, yes_no
from registry.schema.patients import study_code
from registry.schema.tables import Table


def lesion_number() -> Column:
    """The key field that every table below a lesion carries."""
    return integer(
        "Lesion number", "Number of the AVM within the patient, counting from 1.", 1, 20,
        key=True,
    )


class Lesions(
    Table, table="lesions", label="Lesions", definition="A row an AVM.", parent="patients",
    parent_key=("patient_id",),
):
    """One row an AVM."""

    patient_id = study_code()
    lesion_no = lesion_number()
    side = choice(
        "Side", "Side of the nidus.", ("left", "right", "midline"), required=True,
    )
    location = choice(
        "Location", "Main site of the nidus.", vocabulary.LOCATIONS, required=True,
    )
    haemorrhage_before = yes_no(
        "Bled before treatment", "This lesion bled before its first treatment.", required=True,
    )
    earlier_treatment = choice(
        "Earlier treatment", "Treatment of this lesion before this service saw it.",
        ("none", "embolization", "resection", "radiosurgery", "more than one"),
    )
    plan_status = choice(
        "State of the plan",
        "State of the planned treatment; blank is taken as ended, and said.",
        ("ongoing", "ended", "abandoned"),
    )
    eloquent = yes_no(
        "Eloquent", "Eloquence of the adjacent brain as in Spetzler and Martin 1986.",
        required=True,
    )
    vascular_eloquence = yes_no(
        "Vascular eloquence", "As in Lopes 2016, for the AVM embolization score.",
    )
    nidus_length_mm = number(
        "Nidus, largest diameter", "The largest of three orthogonal diameters.",
        above=0, high=150, unit="mm", required=True,
    )
    nidus_width_mm = number(
        "Nidus, second diameter", "The second of three orthogonal diameters.",
        above=0, high=150, unit="mm",
    )
    nidus_height_mm = number(
        "Nidus, third diameter", "The smallest of three orthogonal diameters.",
        above=0, high=150, unit="mm",
    )
    deep_drainage = choice(
        "Deep venous drainage", "Share of the venous drainage that goes to deep veins.",
        ("none", "part", "exclusive"), required=True,
    )
    draining_veins = integer("Draining veins", "Number of draining veins.", 1, 30)
    venous_stenosis = yes_no("Venous stenosis", "Stenosis of a draining vein.")
    venous_ectasia = yes_no("Venous ectasia", "Ectasia of a draining vein.")
    nidus_border = choice(
        "Nidus border", "Compact or diffuse nidus.", ("compact", "diffuse"),
    )
    feeding_pedicles = integer(
        "Feeding pedicles", "Arterial pedicles counted on the first angiogram.", 1, 60,
    )
    feeder_calibre = choice(
        "Feeder calibre", "Calibre of most feeding pedicles.",
        ("mostly up to 1 mm", "mostly over 1 mm"),
    )
    perforator_supply = yes_no("Perforator supply", "Supply by perforating arteries.")
    en_passage_supply = yes_no(
        "En passage supply", "Supply by vessels that go on to normal brain.",
    )
    dural_supply = yes_no("Dural supply", "Supply by dural arteries.")
    fistulous_part = yes_no(
        "Fistulous part", "Direct arteriovenous fistula in the nidus.",
    )
    aneurysm = choice(
        "Aneurysm", "Aneurysm found with the AVM.",
        ("none", "intranidal", "on a feeder", "both", "unrelated"),
    )
    sm_grade_recorded = integer(
        "Spetzler–Martin grade, as written",
        "Grade as written in the chart; compared with the grade worked out from the fields.",
        1, 6,
    )
