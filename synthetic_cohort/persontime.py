"""Haemorrhages and person-time, and the time to confirmed obliteration, of one simulation."""

from __future__ import annotations

import numpy as np

from synthetic_cohort.draws import Columns
from synthetic_cohort.kinds import PLACE
from synthetic_cohort.simulate import Simulation
from synthetic_cohort.visits import CATHETER

YEAR = 365.25
WINDOW = 30         # days after a treatment that are shown apart
SAME_BLEED = 7      # days within which bleeds are one


def confirmed_days(sim: Simulation) -> np.ndarray:
    """Day a recorded catheter angiogram first shows each lesion closed (never: inf)."""
    lesion, visit = sim.lesion, sim.visit
    out = np.where(lesion["resection_complete"], lesion["angiography_day"], np.inf)
    shown = (visit["imaging_code"] == CATHETER) & (visit["occlusion_code"] == 0)
    shown &= visit["day"] >= lesion["end_day"][visit["lesion"]]
    np.minimum.at(out, visit["lesion"][shown], visit["day"][shown])
    return out


def haemorrhage_counts(sim: Simulation) -> dict[str, tuple[float, float]]:
    """Distinct bleeds and patient-years: `under` treatment until all lesions are confirmed
    closed, `after` that, and of `under` the part within 30 days of a treatment (`window`) and
    outside it (`outside`).
    """
    patient, n = sim.patient, len(sim.patient["age_y"])
    closed = np.full(n, -np.inf)
    treated = np.isfinite(sim.lesion["end_day"])
    np.maximum.at(closed, sim.lesion["patient"][treated], confirmed_days(sim)[treated])
    end = patient["last_contact"]
    start = patient["first_day"]
    stop = np.clip(closed, start, end)
    owner, day = _distinct(sim)
    inside = (day >= start[owner]) & (day <= end[owner])
    under = inside & (day <= stop[owner])
    near, near_days = _window(sim, owner, day, start, stop)
    years = (stop - start).sum() / YEAR
    window_years = near_days / YEAR
    in_window = float((under & near).sum())
    total = float(under.sum())
    return {
        "under": (total, years),
        "after": (float((inside & ~under).sum()), (end - stop).sum() / YEAR),
        "window": (in_window, window_years),
        "outside": (total - in_window, years - window_years),
    }


def _distinct(sim: Simulation) -> tuple[np.ndarray, np.ndarray]:
    """Owner and day of every bleed from first treatment on; bleeds within 7 days are one."""
    event, operation = sim.complication, sim.operation
    own = event["kind_code"] == PLACE["intracranial haemorrhage"]
    # A death of an operation is written down as an intracranial haemorrhage of that phase.
    operated = operation["fatal"]
    owner = np.concatenate([
        sim.bleed["patient"], event["patient"][own], operation["patient"][operated]])
    day = np.concatenate([sim.bleed["day"], event["day"][own], operation["day"][operated]])
    order = np.lexsort((day, owner))
    owner, day = owner[order], day[order]
    again = np.r_[False, (owner[1:] == owner[:-1]) & (day[1:] - day[:-1] <= SAME_BLEED)][: len(day)]
    return owner[~again], day[~again]


def treatment_days(sim: Simulation) -> Columns:
    """Patient and day of every treatment, in order."""
    lesion = sim.lesion
    owner, day = [sim.procedure["patient"]], [sim.procedure["day"]]
    for name in ("resection_day", "radiosurgery_day"):
        there = np.isfinite(lesion[name])
        owner.append(lesion["patient"][there])
        day.append(lesion[name][there])
    joined, days = np.concatenate(owner), np.concatenate(day)
    order = np.lexsort((days, joined))
    return {"patient": joined[order], "day": days[order]}


def _window(
    sim: Simulation, owner: np.ndarray, day: np.ndarray, start: np.ndarray, stop: np.ndarray
) -> tuple[np.ndarray, float]:
    """Which bleeds lie within 30 days of a treatment, and the days of follow-up that do."""
    times = treatment_days(sim)
    span = 1_000_000.0
    key = times["patient"] * span + times["day"]
    before = np.searchsorted(key, owner * span + day, side="right") - 1
    place = np.maximum(before, 0)
    near = (before >= 0) & (times["patient"][place] == owner) & (
        day - times["day"][place] <= WINDOW)
    following = np.full(len(key), np.inf)
    same = times["patient"][1:] == times["patient"][:-1]
    following[:-1][same] = times["day"][1:][same]
    limit = np.minimum(np.minimum(times["day"] + WINDOW, following), stop[times["patient"]])
    return near, float(np.maximum(limit - np.maximum(times["day"], start[times["patient"]]),
                                  0).sum())


def obliteration_times(sim: Simulation) -> tuple[np.ndarray, np.ndarray]:
    """Days from a treated lesion's first treatment, and what ended them.

    1: confirmed closed; 2: died first; 0: last contact.
    """
    lesion, patient = sim.lesion, sim.patient
    rows = len(lesion["patient"])
    first = np.minimum(lesion["resection_day"], lesion["radiosurgery_day"])
    np.minimum.at(first, sim.session["lesion"], sim.session["day"])
    treated = np.isfinite(first)
    owner = lesion["patient"]
    shut = confirmed_days(sim)
    died = patient["recorded_death"][owner]
    end = np.maximum(patient["last_contact"][owner], np.where(np.isfinite(shut), shut, 0))
    day = np.minimum(np.minimum(shut, died), end)
    code = np.where(shut <= day, 1, np.where(died <= day, 2, 0))
    return (day - first)[treated], code[treated] if rows else code
