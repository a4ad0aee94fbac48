"""Three tidy patients, as the tests of the intake know them before they spoil them."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pandas as pd

from registry.schema import TABLES

TODAY = dt.date(2026, 1, 1)


def _table(name: str, *rows: dict[str, Any]) -> pd.DataFrame:
    return TABLES[name].typed(pd.DataFrame(list(rows), dtype=object))


def tidy_tables() -> dict[str, pd.DataFrame]:
    """Patients N-0001 to N-0003, each with a lesion and a session; no rule objects to them."""
    codes = ("N-0001", "N-0002", "N-0003")
    day = dt.date
    return {
        "services": _table("services", dict(
            site_id="NORTH", enrolment_from=day(2019, 1, 1), consecutive=True)),
        "patients": _table("patients", *(dict(
            patient_id=code, site_id="NORTH", age_y=30.5 + i, sex="female",
            presentation="seizure", presentation_date=day(2020, 1, 10 + i), mrs_before=1,
            gcs=15, hht=False, research_use="granted") for i, code in enumerate(codes))),
        "lesions": _table("lesions", *(dict(
            patient_id=code, lesion_no=1, side="left", location="frontal",
            haemorrhage_before=False, eloquent=True, nidus_length_mm=25.0, deep_drainage="none")
            for code in codes)),
        "sessions": _table("sessions", *(dict(
            patient_id=code, lesion_no=1, session_no=1, session_date=day(2020, 3, 9),
            intent="before resection", route="arterial", operator_id="OP01",
            occlusion_status="assessed", occlusion_after_pct=80.0, procedure_min=95.0)
            for code in codes)),
        "injections": _table("injections", *(dict(
            patient_id=code, lesion_no=1, session_no=1, injection_no=1, feeding_artery="MCA",
            agent="EVOH 6 %", agent_ml=1.5, injection_min=14.0, pauses_s=120.0,
            longest_pause_s=60.0, dmso_ml=0.25, dead_space_ml=0.23) for code in codes)),
        "follow_ups": _table("follow_ups", *(dict(
            patient_id=code, lesion_no=1, follow_up_no=1, follow_up_date=day(2020, 9, 1),
            imaging="catheter angiography", occlusion="part", mrs=1) for code in codes)),
    }
