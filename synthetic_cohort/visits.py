"""Follow-up visits and what imaging shows there; the day obliteration is confirmed.

Visits of a patient follow the service's default schedule from the end of treatment: clinic at
3 months and yearly, catheter angiography at 6 months and 3 years.
"""

from __future__ import annotations

import numpy as np

from registry.schema import FollowUps, Patients
from synthetic_cohort.course import NEVER
from synthetic_cohort.draws import Columns, Streams, take

SCHEDULE = np.array([91, 183, *(round(365.25 * k) for k in range(1, 14))], dtype=float)
ANGIOGRAPHY_VISITS = (1, 4)     # 6 months, 3 years
IMAGING = ("catheter angiography", "MR angiography", "CT angiography", "none")
CATHETER, NONE = 0, 3
OCCLUSIONS = ("complete", "near complete", "part", "none")


def draw_visits(s: Streams, patient: Columns, lesion: Columns) -> Columns:
    """A row a visit and lesion (`lesion`, `day`, `imaging_code`, `occlusion_code`)."""
    n = len(patient[Patients.age_y])
    end = np.full(n, -np.inf)
    np.maximum.at(end, lesion["patient"], lesion["end_day"])
    patient["end_day"] = end
    k = len(SCHEDULE)
    jitter = np.clip(np.rint(12 * s.normal("visit day", (n, k))), -25, 25)
    day = end[:, None] + SCHEDULE + jitter
    attended = s.uniform("attended", (n, k)) < 0.98
    imaging = _imaging(s, n, k)
    row, slot = np.nonzero(attended)
    visit: Columns = {"patient": row, "day": day[row, slot], "imaging_code": imaging[row, slot]}
    visit["independent_rater"] = s.uniform("rater", (n, k))[row, slot] < 0.4
    return _by_lesion(visit, lesion, n)


def _imaging(s: Streams, n: int, k: int) -> np.ndarray:
    weights = np.tile((0.0, 0.25, 0.02, 0.73), (n * k, 1)).reshape(n, k, 4)
    weights[:, 0] = (0.03, 0.07, 0.05, 0.85)
    for slot in ANGIOGRAPHY_VISITS:
        weights[:, slot] = (0.86, 0.09, 0.02, 0.03)
    return s.code_by_row("imaging", weights.reshape(n * k, 4)).reshape(n, k)


def _by_lesion(visit: Columns, lesion: Columns, patients: int) -> Columns:
    """Repeat each visit for every lesion of its patient."""
    count = np.bincount(lesion["patient"], minlength=patients)
    first = np.cumsum(count) - count
    times = count[visit["patient"]]
    index = np.repeat(np.arange(len(times)), times)
    offset = np.arange(len(index)) - np.repeat(np.cumsum(times) - times, times)
    out = {name: values[index] for name, values in visit.items()}
    out["lesion"] = first[out["patient"]] + offset
    order = np.lexsort((out["day"], out["lesion"]))
    out = {name: values[order] for name, values in out.items()}
    out["occlusion_code"] = _state(out, lesion)
    return out


def _state(visit: Columns, lesion: Columns) -> np.ndarray:
    """What the nidus is at each visit: position in OCCLUSIONS."""
    of, day = visit["lesion"], visit["day"]
    closed = (day >= lesion["closed_day"][of]) & (day < lesion["reopened_day"][of])
    near = (lesion["final_pct"][of] >= 90) | lesion["resected"][of]
    part = lesion["final_pct"][of] > 0
    return np.where(closed, 0, np.where(near, 1, np.where(part, 2, 3)))


def confirm(lesion: Columns, visit: Columns) -> None:
    """Add to the lesions the day a catheter angiogram first confirms closure (never: inf)."""
    shown = (visit["imaging_code"] == CATHETER) & (visit["occlusion_code"] == 0)
    day = np.full(len(lesion["patient"]), NEVER)
    np.minimum.at(day, visit["lesion"][shown], visit["day"][shown])
    operated = lesion["resection_complete"] & lesion["resection_imaged"]
    lesion["confirmed_day"] = np.where(
        operated, np.minimum(day, lesion["angiography_day"]), day
    )


def visit_words(visit: Columns) -> Columns:
    """The schema's words for imaging and occlusion (blank without imaging)."""
    occlusion = take(OCCLUSIONS, visit["occlusion_code"])
    occlusion[visit["imaging_code"] == NONE] = None
    return {FollowUps.imaging: take(IMAGING, visit["imaging_code"]), FollowUps.occlusion: occlusion}
