"""sessions: one row an embolization procedure on a lesion."""

from __future__ import annotations

from registry.schema.fields import choice, date, integer, number, text, yes_no
from registry.schema.lesions import lesion_number
from registry.schema.patients import study_code
from registry.schema.tables import Table


class Sessions(
    Table, table="sessions", label="Sessions",
    definition="A row an embolization session on a lesion; a session starts at vascular access "
    "with intent to embolize, even if nothing is injected.",
    parent="lesions", parent_key=("patient_id", "lesion_no"),
):
    """One embolization procedure, from vascular access with intent to embolize."""

    patient_id = study_code()
    lesion_no = lesion_number()
    session_no = integer(
        "Session number", "Number of the session within the lesion, counting from 1.", 1, 50,
        key=True,
    )
    procedure_no = integer(
        "Procedure number",
        "Unique in the patient; two lesions embolized in one procedure share it; blank: a "
        "procedure of its own.",
        1, 100,
    )
    session_date = date("Session date", "Day of vascular access.", required=True)
    intent = choice(
        "Intent", "What this embolization was for.",
        ("before resection", "before radiosurgery", "curative", "weak point only", "palliative"),
        required=True,
    )
    sessions_planned = integer(
        "Sessions planned", "Number in the plan at the first session.", 1, 20, unit="sessions",
    )
    route = choice(
        "Route", "Route to the nidus.", ("arterial", "venous", "both"), required=True,
    )
    operator_id = text(
        "Operator code", "Code of the first operator, never a name.", pattern=r"^OP\d{2,4}$",
        pattern_words="OP and two to four digits, such as OP01; never a name", example="OP01",
    )
    trainee_operating = yes_no(
        "Trainee operating", "A trainee did the main part under supervision.",
    )
    anaesthesia = choice(
        "Anaesthesia", "Kind of anaesthesia.", ("general", "sedation"),
    )
    agent_mixing_min = number(
        "Agent mixing time", "Time on the shaker before the first injection.", 0, 240,
        unit="min",
    )
    occlusion_status = choice(
        "Occlusion assessed",
        "Not assessed: for instance rupture, or the session was aborted.",
        ("assessed", "not assessed"),
    )
    occlusion_before_pct = number(
        "Occlusion before", "Share of the original nidus no longer filling before the session.",
        0, 100, unit="%",
    )
    occlusion_after_pct = number(
        "Occlusion after",
        "Share of the original nidus no longer filling after the session; required unless not "
        "assessed.",
        0, 100, unit="%",
    )
    occlusion_read_by = choice(
        "Occlusion read by", "Who read the occlusion.",
        ("operator", "independent reader", "two readers"),
    )
    flow_control = choice(
        "Flow control", "Means of slowing the flow.",
        ("none", "balloon", "induced hypotension", "brief cardiac standstill"),
    )
    proximal_plug = yes_no(
        "Proximal plug", "A plug made on purpose before the main injection.",
    )
    occlusion_planned_pct = number(
        "Occlusion planned", "Occlusion agreed as the aim before the session.", 0, 100,
        unit="%",
    )
    procedure_min = number(
        "Procedure time", "From vascular access to closure.", 0, 1440, unit="min",
    )
    fluoroscopy_min = number("Fluoroscopy time", "As displayed.", 0, 1440, unit="min")
    air_kerma_mgy = number(
        "Air kerma", "Cumulative air kerma at the reference point.", 0, 50000, unit="mGy",
    )
    dose_area_product_gycm2 = number(
        "Dose–area product", "Cumulative, both planes.", 0, 10000, unit="Gy·cm²",
    )
    contrast_ml = number("Contrast", "Contrast medium given.", 0, 2000, unit="mL")
    systolic_target_mmhg = integer(
        "Systolic target", "Upper systolic target in the first 24 h.", 60, 200, unit="mmHg",
    )
    nights = integer(
        "Nights in hospital", "Nights in hospital after this session.", 0, 1000, unit="nights",
    )
