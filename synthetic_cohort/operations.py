"""Resections as they went: blood loss, time, deficit, death.

Known structure: log(blood loss) rises 0.22 a grade and falls 0.006 a per cent of embolization;
log(operation time) rises 0.12 a grade and falls 0.002 a per cent; the log-odds of a permanent
deficit rise 0.55 a grade. Levels: adverse outcome 5 % in grade III and 17 % above it in Morgan
2013 (J Neurosurg 118:969).
"""

from __future__ import annotations

import numpy as np

from registry.schema import Resections
from synthetic_cohort.course import NEVER
from synthetic_cohort.draws import Columns, Streams, logistic

BLOOD_LOSS_GRADE, BLOOD_LOSS_PCT = 0.22, -0.006
OPERATION_GRADE, OPERATION_PCT = 0.12, -0.002
DEFICIT_GRADE = 0.55
URGENT, URGENT_DAYS = 0.3, 7    # of the operations so soon after an event; plausible, no source


def draw_operations(
    s: Streams, patient: Columns, lesion: Columns, complication: Columns
) -> Columns:
    """One row a resection done (day reached, patient alive)."""
    row = np.flatnonzero(np.isfinite(lesion["resection_day"]))
    n = len(row)
    grade, extent = lesion["sm_grade"][row] - 2, lesion["reached_pct"][row] - 70
    out: Columns = {"lesion": row, "patient": lesion["patient"][row]}
    out["day"] = lesion["resection_day"][row]
    loss = 300 * np.exp(
        BLOOD_LOSS_GRADE * grade + BLOOD_LOSS_PCT * extent + 0.55 * s.normal("blood", n)
    )
    out[Resections.blood_loss_ml] = np.clip(np.rint(loss / 10) * 10, 30, 8000)
    time = 250 * np.exp(
        OPERATION_GRADE * grade + OPERATION_PCT * extent + 0.25 * s.normal("operation", n)
    )
    out[Resections.operation_min] = np.rint(time / 5) * 5
    out[Resections.red_cell_units] = s.poisson("red cells", np.clip((loss - 500) / 500, 0, 12), n)
    out[Resections.rupture_during] = s.chance(
        "rupture during", 0.03 + 0.01 * np.maximum(grade, 0), n
    )
    u = s.uniform("resection deficit", n)
    permanent = logistic(-3.6 + DEFICIT_GRADE * grade)
    out["permanent"] = u < permanent
    out["transient"] = ~out["permanent"] & (u < permanent + 0.08 + 0.03 * np.maximum(grade, 0))
    out["worse"] = 1 + s.code("resection worse", (0.6, 0.3, 0.1), n)
    # A patient with a second lesion still to be treated lives on: only the last treatment kills.
    final = out["day"] >= patient["last_procedure_day"][out["patient"]]
    out["fatal"] = final & s.chance("resection death", 0.006 + 0.003 * np.maximum(grade, 0), n)
    after = 1 + s.code("resection death day", (0.2, 0.2, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1), n)
    out["death_day"] = np.where(out["fatal"], out["day"] + after, NEVER)
    out["permanent"] |= out["fatal"]
    out["transient"] &= ~out["fatal"]
    out[Resections.nights] = 4 + s.poisson("resection nights", 4.0 + 6 * out["permanent"], n)
    out["urgent"] = _after_event(patient, complication, out) & s.chance("urgent", URGENT, n)
    return out


def _after_event(patient: Columns, complication: Columns, operation: Columns) -> np.ndarray:
    """Whether the patient had a complication or a bleed in the week up to each operation."""
    span = 1_000_000.0
    people = np.arange(len(patient["first_day"]))
    bled = np.where(patient["ruptured_at_presentation"], patient["presentation_day"], NEVER)
    parts = [(complication["patient"], complication["day"]), (people, bled),
             (people, patient["early_bleed_day"])]
    owner, day = (np.concatenate(part) for part in zip(*parts, strict=True))
    there = np.isfinite(day)
    key = np.sort(owner[there] * span + day[there])
    here = operation["patient"] * span + operation["day"]
    return np.searchsorted(key, here, side="right") > np.searchsorted(
        key, here - URGENT_DAYS, side="left")
