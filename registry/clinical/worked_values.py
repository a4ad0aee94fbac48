"""The worked-out values, each declared once: its words, and the fields that it is made from.

The grades are worked out by `registry.clinical.grading.add_grades`, how a session was done by
`registry.clinical.technique`; a test takes every field away in turn and sees which values change.
"""

from __future__ import annotations

from dataclasses import dataclass

from registry.schema import (
    Injections,
    Lesions,
    Patients,
    Radiosurgeries,
    Resections,
    Sessions,
    Table,
)

Fields = tuple[str, ...]
"""Fields, each as "table.field"."""


@dataclass(frozen=True)
class WorkedValue:
    """A value that is never typed: its column, its words, its unit, and what it is made from."""

    name: str
    label: str
    definition: str
    uses: Fields
    unit: str = ""


def _of(table: type[Table], *names: str) -> Fields:
    return tuple(f"{table.spec.name}.{name}" for name in names)


DIAMETERS = _of(
    Lesions, Lesions.nidus_length_mm, Lesions.nidus_width_mm, Lesions.nidus_height_mm)
AGE = (
    *_of(Patients, Patients.age_y, Patients.presentation_date),
    *_of(Sessions, Sessions.session_date),
    *_of(Radiosurgeries, Radiosurgeries.radiosurgery_date),
    *_of(Resections, Resections.resection_date),
)
SPETZLER_MARTIN = _of(
    Lesions, Lesions.nidus_length_mm, Lesions.eloquent, Lesions.deep_drainage)
LAWTON_YOUNG = (*AGE, *_of(Lesions, Lesions.haemorrhage_before, Lesions.nidus_border))
RADIOSURGERY = _of(
    Radiosurgeries, Radiosurgeries.radiosurgery_date, Radiosurgeries.target_volume_ml)
BLED = _of(Lesions, Lesions.haemorrhage_before)

GRADES = (
    WorkedValue("nidus_volume_ml", "Nidus volume", "Ellipsoid of the three diameters.",
                DIAMETERS, "mL"),
    WorkedValue("age_at_treatment", "Age at treatment",
                "Age at the lesion's first treatment, capped at 90.", AGE, "years"),
    WorkedValue("sm_grade", "Spetzler–Martin grade", "Spetzler and Martin 1986.",
                SPETZLER_MARTIN),
    WorkedValue("ponce_class", "Three-tier class", "Spetzler and Ponce 2011.", SPETZLER_MARTIN),
    WorkedValue("lawton_young", "Supplementary grade", "Lawton and others 2010.", LAWTON_YOUNG),
    WorkedValue("lawton_young_sum", "Supplemented grade",
                "Spetzler–Martin and supplementary grade together.",
                (*SPETZLER_MARTIN, *LAWTON_YOUNG)),
    # Blank until its points are read in the paper (`UNCONFIRMED_SCORES`): made from nothing yet.
    WorkedValue("buffalo_score", "Score of endovascular risk", "Dumont and others 2015.", ()),
    WorkedValue("avmes", "Score of curative embolization", "Lopes and others 2016.",
                _of(Lesions, Lesions.feeding_pedicles, Lesions.draining_veins,
                    Lesions.nidus_length_mm, Lesions.vascular_eloquence)),
    WorkedValue("embolization_risk", "Score of embolization risk", "Starke and others 2009.",
                (*SPETZLER_MARTIN, *_of(Sessions, Sessions.sessions_planned))),
    WorkedValue("rbas", "Modified radiosurgery-based score", "Of the age before it is capped.",
                (*DIAMETERS, *AGE, *_of(Lesions, Lesions.location),
                 *_of(Radiosurgeries, Radiosurgeries.target_volume_ml))),
    WorkedValue("vras", "Radiosurgery scale", "Starke and others 2013.",
                (*DIAMETERS, *_of(Lesions, Lesions.eloquent), *BLED, *RADIOSURGERY)),
    WorkedValue("radiosurgery_basis", "Basis of the radiosurgery scores",
                "Which volume and age they rest on.",
                _of(Radiosurgeries, Radiosurgeries.radiosurgery_date)),
)
"""A row a lesion, in the order of `GRADE_COLUMNS`."""

PUSH = _of(Injections, Injections.injection_min, Injections.pauses_s)
AGENT = _of(Injections, Injections.agent)
VOLUME = (*AGENT, *_of(Injections, Injections.agent_ml))

TECHNIQUE = (
    WorkedValue("pedicles_treated", "Pedicles treated", "Distinct arterial pedicles.",
                _of(Injections, Injections.access, Injections.pedicle_no), "pedicles"),
    WorkedValue("agent_group", "Agent group", "The liquids used in the session.", AGENT),
    WorkedValue("agent_ml", "Agent volume", "All liquids of the session.", VOLUME, "mL"),
    WorkedValue("agent_per_nidus", "Agent per mL of nidus", "Agent volume over nidus volume.",
                (*VOLUME, *DIAMETERS)),
    WorkedValue("push_min", "Push time", "Injection time less the pauses.", (*AGENT, *PUSH),
                "min"),
    WorkedValue("rate_ml_min", "Mean rate", "All the volume over all the push time.",
                (*VOLUME, *PUSH), "mL/min"),
    WorkedValue("fastest_rate_ml_min", "Fastest rate", "Of the session's injections.",
                (*VOLUME, *PUSH), "mL/min"),
    WorkedValue("longest_pause_s", "Longest pause", "Of the session's injections.",
                (*AGENT, *_of(Injections, Injections.longest_pause_s, Injections.pauses_s)), "s"),
    WorkedValue("reflux_past_limit", "Reflux past the agreed limit", "In any injection.",
                (*AGENT, *_of(Injections, Injections.reflux_mm, Injections.reflux_limit_mm))),
    WorkedValue("venous_passage", "Agent in the draining vein", "The worst of the session.",
                (*AGENT, *_of(Injections, Injections.venous_passage))),
)
"""A row a session, as `session_technique` works it out."""

CASE_NUMBER = WorkedValue(
    "case_number", "Case number",
    "Procedures the operator had done before this one, of all patients of the registry.",
    _of(Sessions, Sessions.operator_id, Sessions.session_date, Sessions.procedure_no),
    "procedures")
"""A row a session."""


def worked_values() -> tuple[WorkedValue, ...]:
    """All of them."""
    return (*GRADES, *TECHNIQUE, CASE_NUMBER)
