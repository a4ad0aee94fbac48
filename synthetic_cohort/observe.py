"""What of the simulated lives was seen and written down by the end of the records."""

from __future__ import annotations

import numpy as np

from registry.schema import FollowUps, Patients
from synthetic_cohort.course import NEVER
from synthetic_cohort.draws import Columns, Streams
from synthetic_cohort.simulate import Simulation


def observe(s: Streams, sim: Simulation) -> None:
    """Cut every table of the simulation to what was recorded; add mRS and last contact."""
    _deaths(sim.patient, sim.lock)
    _events(sim)
    sim.visit = _visits(sim)
    sim.patient["last_visit"] = _last_visit(sim)
    sim.bleed = _bleeds(sim)
    _function(s, sim)
    sim.patient["last_contact"] = _last_contact(sim)
    alive = ~sim.patient["death_known"][sim.lesion["patient"]]
    sim.lesion["ongoing"] = sim.lesion["cut"] & alive


def _rows(columns: Columns, keep: np.ndarray) -> Columns:
    return {name: values[keep] for name, values in columns.items()}


def _deaths(patient: Columns, lock: int) -> None:
    """A death is known when it came before loss (a treatment death always) and the lock."""
    day = patient["death_day"]
    known = (day <= lock) & (
        (patient[Patients.death_cause] == "treatment") | (day <= patient["lost_day"])
    )
    patient["death_known"] = known
    patient["recorded_death"] = np.where(known, day, NEVER)


def _events(sim: Simulation) -> None:
    patient, lock = sim.patient, sim.lock
    for name in ("complication", "operation"):
        table = getattr(sim, name)
        dies = patient["death_day"][table["patient"]]
        treatment = patient[Patients.death_cause][table["patient"]] == "treatment"
        fatal = table["fatal"] & treatment & (table["death_day"] == dies) & (dies <= lock)
        table["not_yet_known"] = (table["permanent"] | table["transient"]) & (
            table["day"] + 30 > lock
        ) & ~fatal
        table["fatal"] = fatal
    event = sim.complication
    gone = np.where(event["not_yet_known"], NEVER, event["resolved_day"])
    # Of those who died sooner of something else, the deficit was gone by then.
    dies = patient["death_day"][event["patient"]]
    event["resolved_day"] = np.where(np.isfinite(gone), np.minimum(gone, dies), NEVER)
    sim.complication = _rows(event, (event["day"] <= lock) & (event["day"] <= dies))
    row = sim.lesion["angiography_day"]
    owner = sim.lesion["patient"]
    gone = (row > lock) | (row >= patient["death_day"][owner]) | ~np.isfinite(
        sim.lesion["resection_day"])
    sim.lesion["angiography_day"] = np.where(gone, NEVER, row)


def _visits(sim: Simulation) -> Columns:
    patient, visit = sim.patient, sim.visit
    day, owner = visit["day"], visit["patient"]
    keep = (day <= sim.lock) & (day <= patient["lost_day"][owner])
    keep &= day < patient["death_day"][owner]
    # Visits belong to a course that was carried out to its end.
    keep &= patient["end_day"][owner] <= sim.lock
    return _rows(visit, keep)


def _last_visit(sim: Simulation) -> np.ndarray:
    out = np.full(len(sim.patient[Patients.age_y]), -np.inf)
    np.maximum.at(out, sim.visit["patient"], sim.visit["day"])
    return out


def last_treatment_days(sim: Simulation) -> np.ndarray:
    """Last recorded treatment day of each patient."""
    out = sim.patient["first_day"].copy()
    np.maximum.at(out, sim.session["patient"], sim.session["day"])
    for name in ("resection_day", "radiosurgery_day"):
        day = sim.lesion[name]
        there = np.isfinite(day)
        np.maximum.at(out, sim.lesion["patient"][there], day[there])
    return out


def _bleeds(sim: Simulation) -> Columns:
    """A bleed is known up to the last treatment or visit, and where the patient died of it."""
    bleed, patient = sim.bleed, sim.patient
    seen = np.maximum(last_treatment_days(sim), patient["last_visit"])
    owner = bleed["patient"]
    died = (
        bleed["fatal"] & (bleed["death_day"] == patient["death_day"][owner])
        & patient["death_known"][owner]
    )
    keep = (bleed["day"] <= sim.lock) & ((bleed["day"] <= seen[owner]) | died)
    bleed["fatal"] = died
    return _rows(bleed, keep)


def _function(s: Streams, sim: Simulation) -> None:
    """mRS at each visit: before treatment, plus permanent deficits so far, less recovery."""
    patient, visit = sim.patient, sim.visit
    n = len(patient[Patients.age_y])
    owner, day, worse = [], [], []
    for table in (sim.complication, sim.operation, sim.bleed):
        hit = table["permanent"]
        owner.append(table["patient"][hit])
        day.append(table["day"][hit])
        worse.append(table["worse"][hit])
    owner, day, worse = map(np.concatenate, (owner, day, worse))
    # Order by patient and day in one number, so that a running sum answers every visit at once.
    span = 1_000_000.0
    key = owner * span + day
    order = np.argsort(key, kind="stable")
    running = np.r_[0, np.cumsum(worse[order])]
    key = key[order]
    upto = running[np.searchsorted(key, visit["patient"] * span + visit["day"], side="right")]
    base = running[np.searchsorted(key, np.arange(n) * span - 10_000, side="left")]
    recovers = (patient[Patients.mrs_before] >= 1) & s.chance(
        "recovers", np.where(patient["ruptured"], 0.55, 0.20), n
    )
    patient["recovery"] = recovers.astype(np.int64)
    after = visit["day"] - patient["end_day"][visit["patient"]] > 60
    mrs = (
        patient[Patients.mrs_before][visit["patient"]] + upto - base[visit["patient"]]
        - patient["recovery"][visit["patient"]] * after
    )
    visit[FollowUps.mrs] = np.clip(mrs, 0, 5)


def _last_contact(sim: Simulation) -> np.ndarray:
    """Day of the last record of each patient: treatment, event, recovery, visit or death.

    An angiogram or a bleed is no contact: `analyses` counts neither.
    """
    out = np.maximum(last_treatment_days(sim), sim.patient["last_visit"])
    for table in (sim.complication, sim.unrelated, sim.operation):
        np.maximum.at(out, table["patient"], table["day"])
    gone = sim.complication["resolved_day"]
    there = np.isfinite(gone)
    np.maximum.at(out, sim.complication["patient"][there], gone[there])
    return np.where(
        np.isfinite(sim.patient["recorded_death"]), sim.patient["recorded_death"], out
    )
