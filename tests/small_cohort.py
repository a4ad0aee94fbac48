"""Ten patients made by hand, with every awkward case, so that numbers can be counted by eye.

Invented data. What each patient is there for stands beside the rows.
"""

from __future__ import annotations

from typing import Any

import pandas as pd
from registry_cases import frame

from registry.schema import TABLES

ARTERIAL = {"intent": "before resection", "route": "arterial", "operator_id": "OP01"}


def _patient(number: int, **cells: Any) -> dict[str, Any]:
    return {
        "patient_id": f"A-{number:04d}", "site_id": "NORTH", "age_y": 30.0 + number,
        "sex": "female", "presentation": "incidental", "presentation_date": "2020-01-01",
        "mrs_before": 1, "research_use": "granted", **cells,
    }


def _lesion(number: int, lesion: int = 1, **cells: Any) -> dict[str, Any]:
    """20 mm across, not eloquent, no deep drainage: Spetzler–Martin grade I."""
    return {
        "patient_id": f"A-{number:04d}", "lesion_no": lesion, "side": "left",
        "location": "frontal", "haemorrhage_before": False, "eloquent": False,
        "nidus_length_mm": 20.0, "nidus_width_mm": 20.0, "nidus_height_mm": 10.0,
        "deep_drainage": "none", "plan_status": "ended", **cells,
    }


def _at(number: int, lesion: int = 1, **cells: Any) -> dict[str, Any]:
    return {"patient_id": f"A-{number:04d}", "lesion_no": lesion, **cells}


def _session(number: int, session: int, day: str, after: float | None, lesion: int = 1,
             **cells: Any) -> dict[str, Any]:
    return _at(number, lesion, session_no=session, session_date=day, **ARTERIAL | {
        "occlusion_after_pct": after} | cells)


def _injection(number: int, session: int, injection: int, lesion: int = 1,
               **cells: Any) -> dict[str, Any]:
    return _at(number, lesion, session_no=session, injection_no=injection,
               **{"feeding_artery": "MCA", "agent": "EVOH 6 %", "agent_ml": 1.0, **cells})


def _event(number: int, event: int, day: str, lesion: int = 1, **cells: Any) -> dict[str, Any]:
    return _at(number, lesion, complication_no=event, onset_date=day, **{
        "phase": "embolization", "kind": "ischaemic stroke", "deficit": "none", "death": False,
        "attribution": "probable", "symptomatic": True, **cells})


def _visit(number: int, visit: int, day: str, imaging: str, occlusion: str | None, mrs: int,
           lesion: int = 1) -> dict[str, Any]:
    return _at(number, lesion, follow_up_no=visit, follow_up_date=day, imaging=imaging,
               occlusion=occlusion, mrs=mrs)


CATHETER, MR, CT = "catheter angiography", "MR angiography", "CT angiography"

ROWS: dict[str, list[dict[str, Any]]] = {
    "services": [{"site_id": "NORTH", "enrolment_from": "2020-01-01", "consecutive": True}],
    "patients": [
        _patient(1, presentation="haemorrhage"),
        _patient(2),
        _patient(3, presentation="seizure"),
        _patient(4, death_date="2020-06-25", death_cause="treatment"),
        _patient(5, sex="male"),
        _patient(6, presentation="haemorrhage"),
        _patient(7, sex="male"),
        _patient(8),
        _patient(9, mrs_before=0, death_date="2022-01-10", death_cause="other"),
        _patient(10, mrs_before=2),
    ],
    "lesions": [
        # 1: grade III (40 mm, eloquent), bled.
        _lesion(1, haemorrhage_before=True, nidus_length_mm=40.0, eloquent=True),
        # 2: two lesions; the second of grade III.
        _lesion(2, 1), _lesion(2, 2, nidus_length_mm=40.0, eloquent=True),
        # 3: plan ongoing.
        _lesion(3, plan_status="ongoing"),
        # 4: grade V.
        _lesion(4, nidus_length_mm=65.0, eloquent=True, deep_drainage="part"),
        # 5: state of the plan not recorded, taken as ended.
        _lesion(5, plan_status=None),
        _lesion(6, haemorrhage_before=True), _lesion(7),
        # 8: recorded, never treated.
        _lesion(8), _lesion(9), _lesion(10),
    ],
    "sessions": [
        # 1: two sessions, then a resection.
        _session(1, 1, "2020-03-01", 40.0, agent_mixing_min=25.0),
        _session(1, 2, "2020-03-11", 95.0, agent_mixing_min=10.0),
        # 2: both lesions in one procedure, then the second lesion alone.
        _session(2, 1, "2020-04-01", 100.0, 1, procedure_no=1, intent="curative",
                 agent_mixing_min=20.0),
        _session(2, 1, "2020-04-01", 60.0, 2, procedure_no=1, intent="curative"),
        _session(2, 2, "2020-05-01", 100.0, 2, intent="curative"),
        # 3: a complication follows that names no session.
        _session(3, 1, "2020-05-10", 30.0),
        # 4: perforated in the first session, killed by the second.
        _session(4, 1, "2020-06-01", 20.0), _session(4, 2, "2020-06-20", 50.0),
        # 5: then lost; the deficit is not yet known.
        _session(5, 1, "2021-02-01", 90.0),
        # 6: nothing injected and not assessed; then embolized and resected on one day.
        _session(6, 1, "2021-03-01", None, occlusion_status="not assessed"),
        _session(6, 2, "2021-03-20", 80.0),
        # 7: before radiosurgery, by another operator.
        _session(7, 1, "2021-04-01", 70.0, intent="before radiosurgery", operator_id="OP02"),
        # 10: one catheter in two pedicles.
        _session(10, 1, "2021-05-01", 45.0),
    ],
    "injections": [
        _injection(1, 1, 1, dmso_ml=0.25, dead_space_ml=0.23, injection_min=10.0, pauses_s=60.0,
                   longest_pause_s=60.0, reflux_stops=1, reflux_mm=5.0, reflux_limit_mm=15.0,
                   view_lost=False, resistance_felt=False, delivery_halted=False),
        # 1.5 mL in 3 min of pushing: 0.50 mL/min, too fast; reflux past its limit; a pause too
        # long; the view was lost and delivery was not halted; too little DMSO.
        _injection(1, 2, 1, agent="EVOH 8 %", agent_ml=1.5, dmso_ml=0.20, dead_space_ml=0.23,
                   injection_min=6.0, pauses_s=180.0, longest_pause_s=150.0, reflux_stops=1,
                   reflux_mm=16.0, reflux_limit_mm=15.0, view_lost=True, resistance_felt=False,
                   delivery_halted=False),
        _injection(2, 1, 1, 1, injection_min=10.0, pauses_s=0.0, pedicle_no=1,
                   retrieval="free"),
        _injection(2, 1, 1, 2, agent="n-butyl cyanoacrylate", agent_ml=0.5),
        _injection(2, 2, 1, 2),
        _injection(3, 1, 1, agent_ml=None),
        _injection(4, 1, 1, retrieval="vessel torn"), _injection(4, 2, 1, retrieval="free"),
        _injection(5, 1, 1, retrieval="tip detached as designed"),
        _injection(6, 2, 1, agent="coil", agent_ml=None),
        _injection(7, 1, 1, agent="other copolymer"),
        _injection(10, 1, 1, catheter_no=1, pedicle_no=1, retrieval=None),
        _injection(10, 1, 2, catheter_no=1, pedicle_no=2, retrieval="part retained"),
    ],
    "complications": [
        # 2: in the shared procedure, named down to the injection.
        _event(2, 1, "2020-04-01", 2, session_no=1, injection_no=1, deficit="transient"),
        # 3: no session named; day 10; neither symptoms nor mechanism recorded.
        _event(3, 1, "2020-05-20", kind="intracranial haemorrhage", deficit="permanent",
               symptomatic=None, cause="embolization"),
        # 4: perforation during navigation, no symptoms.
        _event(4, 1, "2020-06-01", session_no=1, kind="vessel perforation", symptomatic=False,
               mechanism="navigation perforation"),
        # 4: the fatal haemorrhage on the day of the second session.
        _event(4, 2, "2020-06-20", session_no=2, kind="intracranial haemorrhage",
               deficit="permanent", death=True, mechanism="nidal rupture", mrs_worst=6),
        # 5: an occlusion whose deficit is not yet known.
        _event(5, 1, "2021-02-01", session_no=1, kind="unintended vessel occlusion",
               deficit="not yet known"),
        # 7: after radiosurgery, nothing to do with the embolization, though on day 24 after it.
        _event(7, 1, "2021-04-25", phase="radiosurgery", kind="radiation injury",
               deficit="permanent", attribution="unrelated", cause="radiosurgery"),
        # 9: after an operation, no embolization ever.
        _event(9, 1, "2021-06-03", phase="resection", kind="infection",
               attribution="unrelated"),
        # 10: unrelated within the window; probable but on day 31; the retained catheter.
        _event(10, 1, "2021-05-03", session_no=1, kind="medical", attribution="unrelated"),
        _event(10, 2, "2021-06-01", phase="between treatments", kind="seizure"),
        _event(10, 3, "2021-05-01", session_no=1, injection_no=2, kind="retained catheter",
               symptomatic=False),
    ],
    "resections": [
        _at(1, resection_no=1, resection_date="2020-03-15", urgency="planned",
            result="complete", angiography_date="2020-03-18", deficit="transient",
            blood_loss_ml=300.0, operation_min=240.0, nights=8),
        # 6: on the day of the second session; not imaged; a new permanent deficit.
        _at(6, resection_no=1, resection_date="2021-03-20", urgency="planned",
            result="not imaged", deficit="permanent", blood_loss_ml=800.0, operation_min=300.0,
            nights=14),
        # 9: resected without embolization, in two operations.
        _at(9, resection_no=1, resection_date="2021-06-01", urgency="planned",
            result="residual", angiography_date="2021-06-02", deficit="none",
            blood_loss_ml=500.0),
        _at(9, resection_no=2, resection_date="2021-06-10", urgency="planned",
            result="complete", deficit="none"),
    ],
    "radiosurgeries": [
        _at(7, radiosurgery_no=1, radiosurgery_date="2021-04-15", margin_dose_gy=20.0),
    ],
    "follow_ups": [
        _visit(1, 1, "2020-09-20", CATHETER, "complete", 1),
        _visit(2, 1, "2020-12-01", MR, "complete", 2, 1),
        _visit(2, 1, "2020-12-01", MR, "complete", 2, 2),
        # 3: the visit is 89 days after the last session: a day too early for function.
        _visit(3, 1, "2020-08-07", "none", None, 3),
        _visit(6, 1, "2021-07-18", CT, "complete", 2),
        # 7: the angiogram that planned the radiosurgery; complete later; residual after that.
        _visit(7, 1, "2021-04-15", CATHETER, "part", 1),
        _visit(7, 2, "2022-04-15", CATHETER, "complete", 1),
        _visit(7, 3, "2023-04-15", MR, "near complete", 3),
        # 10: a residual at one year.
        _visit(10, 1, "2022-05-01", CATHETER, "part", 2),
    ],
    "haemorrhages": [
        _at(1, haemorrhage_no=1, haemorrhage_date="2020-01-01", date_known_to="day",
            cause="spontaneous"),
        # 3 and 4: the same bleeds as complications.
        _at(3, haemorrhage_no=1, haemorrhage_date="2020-05-20", date_known_to="day",
            cause="a procedure", complication_no=1, deficit="permanent"),
        _at(4, haemorrhage_no=1, haemorrhage_date="2020-06-20", date_known_to="day",
            cause="a procedure", complication_no=2, deficit="permanent"),
    ],
}


def small_tables() -> dict[str, pd.DataFrame]:
    """The ten patients as typed tables, as a freeze holds them."""
    return {name: frame(name, ROWS[name]) if ROWS.get(name) else TABLES[name].empty()
            for name in TABLES}
