"""injections: one row an agent into one pedicle."""

from __future__ import annotations

from registry.schema import vocabulary
from registry.schema.fields import choice, integer, number, yes_no
from registry.schema.lesions import lesion_number
from registry.schema.patients import study_code
from registry.schema.tables import Table


class Injections(
    Table, table="injections", label="Injections",
    definition="A row an injection: one agent into one pedicle.", parent="sessions",
    parent_key=("patient_id", "lesion_no", "session_no"),
):
    """One agent into one pedicle."""

    patient_id = study_code()
    lesion_no = lesion_number()
    session_no = integer(
        "Session number", "The session this injection belongs to.", 1, 50, key=True,
    )
    injection_no = integer(
        "Injection number", "Number of the injection within the session, counting from 1.",
        1, 200, key=True,
    )
    access = choice(
        "Access", "Side of the nidus reached; required when the session's route is venous or "
        "both.",
        ("artery", "vein"),
    )
    pedicle_no = integer(
        "Pedicle number", "Which pedicle of the session; blank: one of its own.", 1, 60,
    )
    catheter_no = integer(
        "Catheter number", "Which catheter of the session; blank: one of its own.", 1, 60,
    )
    feeding_artery = choice(
        "Feeding artery", "Parent territory of the pedicle; expected unless access is vein.",
        vocabulary.FEEDING_ARTERIES,
    )
    feeder_type = choice(
        "Feeder type", "How the feeder reaches the nidus.",
        ("terminal", "en passage", "perforator", "collateral"),
    )
    catheter_type = choice(
        "Catheter type", "Kind of catheter.",
        ("flow-directed", "over-the-wire", "dual-lumen balloon"),
    )
    detachable_tip = yes_no("Detachable tip", "The catheter has a detachable tip.")
    dead_space_ml = number(
        "Dead space", "Dead space printed on the catheter's package.", 0.05, 1.5, unit="mL",
    )
    dmso_ml = number(
        "DMSO", "DMSO used to fill the dead space.", 0, 3, unit="mL",
    )
    agent = choice(
        "Agent", "What was injected; generic names only.", vocabulary.AGENTS, required=True,
    )
    agent_ml = number(
        "Agent volume", "Volume injected; expected for liquid agents.", 0, 15, unit="mL",
    )
    injection_min = number(
        "Injection time", "First push to last push, by the clock.", 0, 240, unit="min",
    )
    pauses_s = number("Pauses", "All pauses together.", 0, 14400, unit="s")
    longest_pause_s = number("Longest pause", "The longest pause.", 0, 14400, unit="s")
    reflux_stops = integer(
        "Stops for reflux", "Times the injection was stopped for reflux.", 0, 100,
        unit="stops",
    )
    reflux_mm = number("Longest reflux", "Longest reflux seen.", 0, 200, unit="mm")
    reflux_limit_mm = number(
        "Reflux limit", "Longest reflux agreed in advance.", 0, 200, unit="mm",
    )
    view_lost = yes_no("View lost", "The agent could not be seen.")
    resistance_felt = yes_no("Resistance felt", "Resistance was felt at the syringe.")
    delivery_halted = yes_no("Delivery halted", "The operator stopped at once.")
    cyanoacrylate_pct = number(
        "Cyanoacrylate share", "Share in the mixture, n-butyl cyanoacrylate only.", 1, 100,
        unit="%",
    )
    venous_occlusion_intended = yes_no(
        "Venous occlusion intended", "Closing the vein on purpose is not a complication.",
    )
    venous_passage = choice(
        "Venous passage", "Agent in the draining vein.", ("none", "part", "blocks outflow"),
    )
    retrieval = choice(
        "Catheter retrieval", "How the catheter came out; once a catheter.",
        ("free", "long traction", "tip detached as designed", "part retained", "vessel torn"),
    )
