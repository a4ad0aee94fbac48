"""The whole simulation as arrays, before it becomes tables.

Order: patients and lesions; the planned course as though nobody died; bleeds and other deaths;
the course cut at death and at the end of the records; technique; complications; operations;
what was seen afterwards. `services` repeats the service side by side: the truth is worked out
over many services of the size asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from registry.schema import Lesions, Patients
from synthetic_cohort import (
    anatomy,
    course,
    lifetime,
    operations,
    risk,
    visits,
)
from synthetic_cohort import (
    drawn_events as events,
)
from synthetic_cohort import (
    injecting as technique,
)
from synthetic_cohort.course import LOCK, NEVER
from synthetic_cohort.draws import Columns, Streams, group_any, group_last
from synthetic_cohort.settings import CohortSettings


@dataclass
class Simulation:
    """Arrays by level; `patient`, `lesion`, `session` … columns are positions in that level."""

    patient: Columns
    lesion: Columns
    procedure: Columns
    session: Columns
    injection: Columns
    complication: Columns
    unrelated: Columns
    operation: Columns
    bleed: Columns
    visit: Columns
    intercept: float
    lock: int


def _planned(s: Streams, cfg: CohortSettings, patients: int, services: int, lock: int):
    """Patients, lesions, procedures, sessions, visits and bleeds, cut at death and at the lock."""
    total = patients * services
    lesion = anatomy.draw_lesions(s, cfg, total)
    patient = anatomy.draw_patients(s, lesion, total)
    patient["service"] = np.arange(total) // patients
    course.draw_plan(s, cfg, patient, lesion)
    procedure, session = course.draw_procedures(s, patient, lesion)
    lesion["first_day"] = patient["first_day"][lesion["patient"]]
    course.draw_extent(s, lesion, session)
    course.draw_resections(s, lesion, session)
    course.draw_radiosurgery(s, lesion)
    visit = visits.draw_visits(s, patient, lesion)
    visits.confirm(lesion, visit)
    lifetime.draw_presentation(s, cfg, patient, lesion)
    bleed = lifetime.draw_bleeds(s, cfg, patient, lesion)
    lifetime.draw_other_deaths(s, patient, bleed)
    lifetime.draw_loss(s, cfg, patient)
    procedure, session = _cut(patient, lesion, procedure, session, lock)
    return patient, lesion, procedure, session, visit, bleed


def _cut(
    patient: Columns, lesion: Columns, procedure: Columns, session: Columns, lock: int
) -> tuple[Columns, Columns]:
    """Drop what was planned for after death or after the end of the records."""
    keep = (procedure["day"] <= lock) & (
        procedure["day"] < patient["death_day"][procedure["patient"]]
    )
    place = np.cumsum(keep) - 1
    kept_session = keep[session["procedure"]]
    cut = {name: values[kept_session] for name, values in session.items()}
    cut["procedure"] = place[cut["procedure"]]
    lesion["cut"] = group_any(~kept_session, session["lesion"], len(lesion["patient"]))
    dies = patient["death_day"][lesion["patient"]]
    for name in ("resection_day", "radiosurgery_day"):
        day = lesion[name]
        gone = np.isfinite(day) & ((day > lock) | (day >= dies))
        lesion["cut"] |= gone
        lesion[name] = np.where(gone, NEVER, day)
    return {name: values[keep] for name, values in procedure.items()}, cut


def procedures_before_events(
    s: Streams, cfg: CohortSettings, patients: int, services: int
) -> tuple[Columns, Columns]:
    """Patients and procedures with every term of the complication model."""
    patient, lesion, procedure, session, _, _ = _planned(s, cfg, patients, services, LOCK)
    _technique(s, cfg, patient, lesion, procedure, session)
    return patient, procedure


PILOT_PATIENTS = 8_000
PILOT_SEED = 20_140_101


@lru_cache(maxsize=256)
def pilot_intercept(cfg: CohortSettings, patients: int) -> float:
    """The intercept for services of this size, from a pilot with a seed of its own."""
    services = max(1, PILOT_PATIENTS // patients)
    size = min(patients, PILOT_PATIENTS)
    s = Streams(PILOT_SEED)
    patient, procedure = procedures_before_events(s, cfg, size, services)
    terms = risk.marginal_terms(cfg, procedure, risk.operators_own(s, cfg, patient, procedure))
    return risk.solve_intercept(terms, cfg.complication_risk)


def _technique(
    s: Streams, cfg: CohortSettings, patient: Columns, lesion: Columns, procedure: Columns,
    session: Columns,
) -> Columns:
    injection = technique.draw_injections(s, cfg, lesion, session, procedure)
    q = len(procedure["patient"])
    grade = np.zeros(q, dtype=np.int64)
    np.maximum.at(grade, session["procedure"], lesion["sm_grade"][session["lesion"]])
    procedure["sm_grade"] = grade
    procedure["ruptured"] = group_any(
        lesion[Lesions.haemorrhage_before][session["lesion"]], session["procedure"], q
    )
    risk.assign_operators(s, cfg, patient, procedure)
    return injection


def simulate(
    s: Streams, cfg: CohortSettings, patients: int, services: int = 1, lock: int = LOCK
) -> Simulation:
    """`services` services of `patients` patients each, the records ending on day `lock`."""
    patient, lesion, procedure, session, visit, bleed = _planned(
        s, cfg, patients, services, lock
    )
    injection = _technique(s, cfg, patient, lesion, procedure, session)
    intercept = pilot_intercept(cfg, patients)
    risk.draw_complicated(s, cfg, patient, procedure, intercept)
    complication = events.draw_complications(
        s, patient, lesion, session, procedure, injection
    )
    _die(patient, complication, "treatment")
    _reached(lesion, session)
    patient["last_procedure_day"] = patient["first_day"].copy()
    np.maximum.at(patient["last_procedure_day"], procedure["patient"], procedure["day"])
    _drop_after_death(patient, lesion)
    operation = operations.draw_operations(s, patient, lesion, complication)
    _die(patient, operation, "treatment")
    _drop_after_death(patient, lesion)
    unrelated = events.draw_unrelated(s, patient, lesion, procedure, lock)
    bleed = _rows(bleed, bleed["day"] <= patient["death_day"][bleed["patient"]])
    return Simulation(
        patient, lesion, procedure, session, injection, complication, unrelated, operation,
        bleed, visit, intercept, lock,
    )


def _rows(columns: Columns, keep: np.ndarray) -> Columns:
    return {name: values[keep] for name, values in columns.items()}


def _die(patient: Columns, event: Columns, cause: str) -> None:
    """Let fatal events end lives that had not ended before."""
    day = np.full(len(patient["death_day"]), NEVER)
    np.minimum.at(day, event["patient"], event["death_day"])
    sooner = day < patient["death_day"]
    patient["death_day"] = np.where(sooner, day, patient["death_day"])
    patient[Patients.death_cause][sooner] = cause


def _reached(lesion: Columns, session: Columns) -> None:
    """Occlusion reached at the last session done (none: 0)."""
    last = group_last(session["lesion"], len(lesion["patient"]), np.arange(len(session["lesion"])))
    pct = session["after_pct"][np.maximum(last, 0)] if len(session["lesion"]) else 0.0
    lesion["reached_pct"] = np.where(last >= 0, pct, 0.0)
    lesion["sessions_done"] = np.bincount(session["lesion"], minlength=len(lesion["patient"]))


def _drop_after_death(patient: Columns, lesion: Columns) -> None:
    """Treatment planned for after a treatment death did not take place."""
    dies = patient["death_day"][lesion["patient"]]
    for name in ("resection_day", "radiosurgery_day"):
        day = lesion[name]
        lesion[name] = np.where(np.isfinite(day) & (day >= dies), NEVER, day)
