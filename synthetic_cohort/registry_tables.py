"""From arrays to the registry's typed tables."""

from __future__ import annotations

import numpy as np
import pandas as pd

from registry.schema import TABLES, Lesions, Patients, Services
from synthetic_cohort.course import LOCK
from synthetic_cohort.draws import Streams, take
from synthetic_cohort.settings import CohortSettings
from synthetic_cohort.simulate import Simulation
from synthetic_cohort.typed_columns import frame, to_dates


def all_tables(s: Streams, cfg: CohortSettings, sim: Simulation) -> dict[str, pd.DataFrame]:
    """Every table, complete (values go missing afterwards), each sorted by its key.

    What a service remembers of its own (reviews, decisions, plans, contacts) is not simulated:
    those tables are empty.
    """
    from synthetic_cohort import tables_after, tables_treatment

    codes = patient_codes(cfg, len(sim.patient[Patients.age_y]))
    simulated = {
        "services": _services(cfg, sim),
        "patients": _patients(s, cfg, sim, codes),
        "lesions": _lesions(s, cfg, sim, codes),
        "sessions": tables_treatment.sessions(s, sim, codes),
        "injections": tables_treatment.injections(sim, codes),
        "complications": tables_after.complications(s, sim, codes),
        "resections": tables_treatment.resections(sim, codes),
        "radiosurgeries": tables_treatment.radiosurgeries(s, sim, codes),
        "follow_ups": tables_after.follow_ups(sim, codes),
        "haemorrhages": tables_after.haemorrhages(s, cfg, sim, codes),
    }
    return {name: simulated.get(name, spec.empty()) for name, spec in TABLES.items()}


def patient_codes(cfg: CohortSettings, patients: int) -> np.ndarray:
    """Study codes, as many digits as the size needs (at least four)."""
    width = max(4, len(str(patients)))
    return np.array([f"{cfg.code_prefix}-{i:0{width}d}" for i in range(1, patients + 1)],
                    dtype=object)


def _services(cfg: CohortSettings, sim: Simulation) -> pd.DataFrame:
    return frame("services", {
        Patients.site_id: np.array([cfg.site_id], dtype=object),
        Services.enrolment_from: to_dates(np.array([0.0])),
        Services.enrolment_to: to_dates(np.array([float(LOCK)])),
        Services.consecutive: np.array([True]),
        Services.suite_log_procedures: np.array([len(sim.procedure["patient"])]),
    }, 1)


def _patients(
    s: Streams, cfg: CohortSettings, sim: Simulation, codes: np.ndarray
) -> pd.DataFrame:
    patient = dict(sim.patient)
    n = len(codes)
    part = cfg.part_dates
    known_to = s.code("date precision", (1 - part * 7 / 3, 2 * part, part / 3), n)
    shown = to_dates(patient["presentation_day"])
    month = shown.astype("datetime64[M]").astype("datetime64[ns]")
    year = shown.astype("datetime64[Y]").astype("datetime64[ns]")
    patient[Patients.presentation_date] = np.where(known_to == 1, month,
                                            np.where(known_to == 2, year, shown))
    patient[Patients.presentation_date_known_to] = take(("day", "month", "year"), known_to)
    patient[Patients.patient_id] = codes
    patient[Patients.site_id] = np.full(n, cfg.site_id, dtype=object)
    patient[Patients.death_date] = to_dates(patient["recorded_death"])
    patient[Patients.death_cause] = np.where(
        patient["death_known"], patient[Patients.death_cause], None
    )
    return frame("patients", patient, n)


def _lesions(
    s: Streams, cfg: CohortSettings, sim: Simulation, codes: np.ndarray
) -> pd.DataFrame:
    lesion = dict(sim.lesion)
    n = len(lesion["patient"])
    lesion[Patients.patient_id] = codes[lesion["patient"]]
    ended = s.pick("plan", ("ended", "abandoned"), (0.97, 0.03), n)
    ended[s.chance("plan blank", 0.05, n) & (ended == "ended")] = None
    lesion[Lesions.plan_status] = np.where(
        lesion["ongoing"], "ongoing", np.where(lesion["cut"], "abandoned", ended)
    ).astype(object)
    off = s.code("grade off", (0.5, 0.5), n) * 2 - 1
    wrong = s.chance("grade wrong", cfg.chart_grade_errors, n)
    lesion[Lesions.sm_grade_recorded] = np.clip(lesion["sm_grade"] + wrong * off, 1, 5)
    return frame("lesions", lesion, n)
