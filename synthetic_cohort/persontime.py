"""Haemorrhages and person-time, and the time to confirmed obliteration, of one simulation.

The stages and their words are those of the analyses: before treatment, under treatment (until
catheter angiography has confirmed the closure of every treated lesion), after obliteration; the
days from a treatment to day 30 after it also apart.
"""

from __future__ import annotations

import numpy as np

from registry.schema import Patients
from synthetic_cohort.draws import Columns
from synthetic_cohort.patient_kinds import PLACE
from synthetic_cohort.simulate import Simulation
from synthetic_cohort.visits import CATHETER

YEAR = 365.25
WINDOW = 30         # days after a treatment that are shown apart
SAME_BLEED = 7      # days within which bleeds are one
SPAN = 1_000_000.0  # more than any day: patient and day as one number

BEFORE, UNDER, AFTER = "before treatment", "under treatment", "after obliteration"
NEAR, LATER = ", treatment day to day 30", ", after day 30"


def treated_lesions(sim: Simulation) -> np.ndarray:
    """Lesions treated in any way."""
    lesion = sim.lesion
    return (
        (lesion["sessions_done"] > 0) | np.isfinite(lesion["resection_day"])
        | np.isfinite(lesion["radiosurgery_day"])
    )


def confirmed_days(sim: Simulation) -> np.ndarray:
    """Day a recorded catheter angiogram first shows each lesion closed (never: inf)."""
    lesion, visit = sim.lesion, sim.visit
    out = np.where(lesion["resection_complete"], lesion["angiography_day"], np.inf)
    shown = (visit["imaging_code"] == CATHETER) & (visit["occlusion_code"] == 0)
    np.minimum.at(out, visit["lesion"][shown], visit["day"][shown])
    return out


def distinct_bleeds(sim: Simulation) -> Columns:
    """Every recorded bleed from presentation on, those within 7 days of the one before as one.

    A bleed of a procedure is not swallowed by a spontaneous one before it.
    """
    patient, event, operation = sim.patient, sim.complication, sim.operation
    presenting = np.flatnonzero(patient["ruptured_at_presentation"])
    early = np.flatnonzero(np.isfinite(patient["early_bleed_day"]))
    own = event["kind_code"] == PLACE["intracranial haemorrhage"]
    fatal = operation["fatal"]
    owner = np.concatenate([presenting, early, sim.bleed["patient"], event["patient"][own],
                            operation["patient"][fatal]])
    day = np.concatenate([
        patient["presentation_day"][presenting], patient["early_bleed_day"][early],
        sim.bleed["day"], event["day"][own], operation["day"][fatal]])
    spontaneous = len(presenting) + len(early) + len(sim.bleed["patient"])
    procedural = np.arange(len(owner)) >= spontaneous
    order = np.lexsort((procedural, day, owner))
    owner, day, procedural = owner[order], day[order], procedural[order]
    same = np.r_[False, owner[1:] == owner[:-1]][: len(owner)]
    gap = np.r_[0, np.diff(day)][: len(owner)]
    jump = procedural & ~np.r_[False, procedural[:-1]][: len(owner)]
    new = ~same | (gap > SAME_BLEED) | jump
    group = np.cumsum(new) - 1
    any_procedural = np.bincount(group, weights=procedural) > 0 if len(group) else procedural
    return {"patient": owner[new], "day": day[new], "procedural": any_procedural}


def last_known(sim: Simulation, bleeds: Columns) -> np.ndarray:
    """The last contact, or a later angiogram after an operation or a later bleed; death ends it."""
    patient, lesion = sim.patient, sim.lesion
    out = patient["last_contact"].copy()
    imaged = np.isfinite(lesion["angiography_day"])
    np.maximum.at(out, lesion["patient"][imaged], lesion["angiography_day"][imaged])
    np.maximum.at(out, bleeds["patient"], bleeds["day"])
    return np.where(np.isfinite(patient["recorded_death"]), patient["recorded_death"], out)


def haemorrhage_counts(sim: Simulation) -> dict[str, tuple[float, float]]:
    """Distinct bleeds and patient-years by stage, and since the first treatment ("")."""
    patient, n = sim.patient, len(sim.patient[Patients.age_y])
    bleeds = distinct_bleeds(sim)
    end, start = last_known(sim, bleeds), patient["first_day"]
    treated = treated_lesions(sim)
    closed = np.full(n, -np.inf)
    np.maximum.at(closed, sim.lesion["patient"][treated], confirmed_days(sim)[treated])
    shut = np.clip(closed, start, end)
    years = {
        BEFORE: float((start - patient["presentation_day"]).sum()) / YEAR,
        UNDER: float((shut - start).sum()) / YEAR, AFTER: float((end - shut).sum()) / YEAR,
    }
    times = _treatment_days(sim)
    years[UNDER + NEAR] = _near_days(times, start, shut) / YEAR
    years[AFTER + NEAR] = _near_days(times, shut, end) / YEAR
    for stage in (UNDER, AFTER):
        years[stage + LATER] = years[stage] - years[stage + NEAR]
    counts = _staged(sim, bleeds, shut, times)
    out = {stage: (counts.get(stage, 0.0), value) for stage, value in years.items()}
    return out | {"": (counts.get(UNDER, 0.0) + counts.get(AFTER, 0.0),
                       years[UNDER] + years[AFTER])}


def _staged(
    sim: Simulation, bleeds: Columns, shut: np.ndarray, times: Columns
) -> dict[str, float]:
    """Number of bleeds in each stage; the presenting bleed is none."""
    patient, owner, day = sim.patient, bleeds["patient"], bleeds["day"]
    presented = patient["presentation_day"][owner]
    limit = presented + SAME_BLEED * patient["ruptured_at_presentation"][owner]
    counted = bleeds["procedural"] | (day > limit)
    since = day >= patient["first_day"][owner]
    under, after = since & (day <= shut[owner]), since & (day > shut[owner])
    key = times["patient"] * SPAN + times["day"]
    place = np.searchsorted(key, owner * SPAN + day, side="right") - 1
    found = np.maximum(place, 0)
    near = (place >= 0) & (times["patient"][found] == owner) & (
        day - times["day"][found] <= WINDOW)
    out = {BEFORE: float((counted & ~since).sum())}
    for stage, flag in ((UNDER, under), (AFTER, after)):
        out[stage] = float((counted & flag).sum())
        out[stage + NEAR] = float((counted & flag & near).sum())
        out[stage + LATER] = out[stage] - out[stage + NEAR]
    return out


def _treatment_days(sim: Simulation) -> Columns:
    """Patient and day of every treatment, in order, each day once."""
    lesion = sim.lesion
    owner, day = [sim.procedure["patient"]], [sim.procedure["day"]]
    for name in ("resection_day", "radiosurgery_day"):
        there = np.isfinite(lesion[name])
        owner.append(lesion["patient"][there])
        day.append(lesion[name][there])
    key = np.unique(np.concatenate(owner) * SPAN + np.concatenate(day))
    return {"patient": (key // SPAN).astype(np.int64), "day": key % SPAN}


def _near_days(times: Columns, low: np.ndarray, high: np.ndarray) -> float:
    """Days between `low` and `high` of their patient that lie within 30 days of a treatment."""
    following = np.full(len(times["day"]), np.inf)
    same = times["patient"][1:] == times["patient"][:-1]
    following[:-1][same] = times["day"][1:][same]
    stop = np.minimum(np.minimum(times["day"] + WINDOW, following), high[times["patient"]])
    return float(np.maximum(stop - np.maximum(times["day"], low[times["patient"]]), 0).sum())


def obliteration_times(sim: Simulation) -> tuple[np.ndarray, np.ndarray]:
    """Years from each treated lesion's first treatment, and what ended them.

    1: confirmed closed; 2: died first; 0: last known about.
    """
    lesion, patient = sim.lesion, sim.patient
    first = np.minimum(lesion["resection_day"], lesion["radiosurgery_day"])
    np.minimum.at(first, sim.session["lesion"], sim.session["day"])
    treated = treated_lesions(sim)
    owner = lesion["patient"]
    shut = confirmed_days(sim)
    died = np.isfinite(patient["recorded_death"])[owner]
    end = last_known(sim, distinct_bleeds(sim))[owner]
    seen = np.isfinite(shut)
    code = np.where(seen, 1, np.where(died, 2, 0))
    day = np.where(seen, shut, end)
    return (day - first)[treated] / YEAR, code[treated]
