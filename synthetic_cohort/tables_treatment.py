"""Sessions, injections, resections and radiosurgeries as typed tables."""

from __future__ import annotations

import numpy as np
import pandas as pd

from registry.schema import Complications, Lesions, Patients, Radiosurgeries, Resections, Sessions
from synthetic_cohort.draws import Columns, Streams, group_any, take
from synthetic_cohort.simulate import Simulation
from synthetic_cohort.typed_columns import frame, to_dates


def sessions(s: Streams, sim: Simulation, codes: np.ndarray) -> pd.DataFrame:
    """The sessions table; what belongs to a procedure stands on each of its sessions."""
    session, lesion, procedure = dict(sim.session), sim.lesion, sim.procedure
    m, of, by = len(session["lesion"]), session["lesion"], session["procedure"]
    session[Patients.patient_id] = codes[session["patient"]]
    session[Lesions.lesion_no] = lesion[Lesions.lesion_no][of]
    session[Sessions.procedure_no] = procedure[Sessions.procedure_no][by].astype(float)
    # A lone lesion's procedures need no number of their own; most services leave it blank.
    shared = np.bincount(by, minlength=len(procedure["patient"]))[by] > 1
    two = np.bincount(lesion["patient"])[session["patient"]] > 1
    session[Sessions.procedure_no][~two & ~shared] = np.nan
    session[Sessions.session_date] = to_dates(session["day"])
    session[Sessions.intent] = lesion[Sessions.intent][of]
    session[Sessions.sessions_planned] = lesion[Sessions.sessions_planned][of]
    session[Sessions.operator_id] = _operator_codes(procedure["operator"][by])
    seen = session["assessed"].astype(int)
    session[Sessions.occlusion_status] = take(("not assessed", "assessed"), seen)
    session[Sessions.occlusion_before_pct] = session["before_pct"]
    session[Sessions.occlusion_after_pct] = np.where(
        session["assessed"], session["after_pct"], np.nan
    )
    planned = np.clip(np.rint(session["after_pct"] / 10 + s.normal("aim", m)) * 10, 20, 100)
    session[Sessions.occlusion_planned_pct] = planned
    session[Sessions.occlusion_read_by] = s.pick(
        "read by", ("operator", "independent reader", "two readers"), (0.6, 0.2, 0.2), m
    )
    session[Sessions.flow_control] = s.pick(
        "flow", ("none", "balloon", "induced hypotension", "brief cardiac standstill"),
        (0.80, 0.06, 0.12, 0.02), m,
    )
    session[Sessions.proximal_plug] = s.chance("plug", 0.45, m) & (session["injections"] > 0)
    session[Sessions.systolic_target_mmhg] = np.array([110, 120, 130, 140])[
        s.code("systolic", (0.2, 0.4, 0.2, 0.2), m)]
    _by_procedure(s, sim, session)
    return frame("sessions", session, m)


def _operator_codes(operator: np.ndarray) -> np.ndarray:
    return take([f"OP{i:02d}" for i in range(1, 100)], operator)


def _by_procedure(s: Streams, sim: Simulation, session: Columns) -> None:
    """Times, radiation, contrast, nights: one value a procedure.

    Air kerma a minute of fluoroscopy: 12.7–23.1 mGy in the frontal plane alone in Sheen 2018
    (J NeuroIntervent Surg 10:e36); here both planes with their angiographic runs. Some two and
    a half hours for two pedicles, a third of it fluoroscopy (plausible, no source).
    """
    procedure, by = sim.procedure, session["procedure"]
    q = len(procedure["patient"])
    minutes = (75 + 38 * procedure["pedicles"]) * np.exp(0.22 * s.normal("minutes", q))
    minutes = np.rint(minutes / 5) * 5
    fluoro = np.rint(minutes * np.clip(0.33 * np.exp(0.22 * s.normal("fluoro", q)), 0.1, 0.85))
    kerma = np.rint(fluoro * s.lognormal("kerma", 52.0, 0.35, q) / 10) * 10
    product = np.round(kerma / 1000 * s.lognormal("product", 95.0, 0.30, q), 1)
    contrast = (60 + 45 * procedure["pedicles"]) * np.exp(0.25 * s.normal("dye", q))
    contrast = np.rint(contrast / 5) * 5
    trouble = group_any(
        sim.complication[Complications.symptomatic], sim.complication["procedure"], q
    )
    nights = 1 + s.poisson("nights", 1.2 + 7.0 * trouble, q)
    for name, values in (
        (Sessions.procedure_min, minutes),
        (Sessions.fluoroscopy_min, fluoro),
        (Sessions.air_kerma_mgy, kerma),
        (Sessions.dose_area_product_gycm2, product),
        (Sessions.contrast_ml, contrast),
        ("nights", nights),
        (Sessions.trainee_operating, s.chance("trainee", 0.22, q)),
        ("anaesthesia", s.pick("anaesthesia", ("general", "sedation"), (0.93, 0.07), q)),
    ):
        session[name] = values[by]


def injections(sim: Simulation, codes: np.ndarray) -> pd.DataFrame:
    """The injections table."""
    injection, session = dict(sim.injection), sim.session
    of = injection["session"]
    injection[Patients.patient_id] = codes[session["patient"][of]]
    injection[Lesions.lesion_no] = sim.lesion[Lesions.lesion_no][session["lesion"][of]]
    injection[Sessions.session_no] = session[Sessions.session_no][of]
    return frame("injections", injection, len(of))


def resections(sim: Simulation, codes: np.ndarray) -> pd.DataFrame:
    """The resections table."""
    out, lesion = dict(sim.operation), sim.lesion
    row = out["lesion"]
    n = len(row)
    out[Patients.patient_id] = codes[lesion["patient"][row]]
    out[Lesions.lesion_no] = lesion[Lesions.lesion_no][row]
    out[Resections.resection_no] = np.ones(n, dtype=np.int64)
    out[Resections.resection_date] = to_dates(out["day"])
    out[Resections.urgency] = take(("planned", "emergency"), out["urgent"].astype(int))
    imaged = np.isfinite(lesion["angiography_day"][row])
    result = np.where(lesion["resection_complete"][row], 0, 1)
    out[Resections.result] = take(
        ("complete", "residual", "not imaged"), np.where(imaged, result, 2)
    )
    out[Resections.angiography_date] = to_dates(lesion["angiography_day"][row])
    out[Resections.deficit] = deficit_words(out)
    return frame("resections", out, n)


def deficit_words(event: Columns) -> np.ndarray:
    """The schema's word for the deficit of each event."""
    code = np.where(event["permanent"], 2, event["transient"].astype(int))
    return take(("none", "transient", "permanent", "not yet known"),
                np.where(event["not_yet_known"], 3, code))


def radiosurgeries(s: Streams, sim: Simulation, codes: np.ndarray) -> pd.DataFrame:
    """The radiosurgeries table: the residual nidus, 16–22 Gy at the margin."""
    lesion = sim.lesion
    n = len(lesion["patient"])
    row = np.flatnonzero(np.isfinite(lesion["radiosurgery_day"]))
    dose = take((16, 18, 20, 22), s.code("dose", (0.2, 0.4, 0.3, 0.1), n)).astype(float)
    left = np.maximum(1 - lesion["reached_pct"] / 100, 0.08)
    volume = np.clip(np.round(lesion["nidus_ml"] * left, 1), 0.1, 60.0)[row]
    # Large targets get less in one fraction (common practice, no source).
    dose[row] = np.where(volume > 15, np.minimum(dose[row], 18.0), dose[row])
    return frame("radiosurgeries", {
        Patients.patient_id: codes[lesion["patient"][row]],
        Lesions.lesion_no: lesion[Lesions.lesion_no][row],
        Radiosurgeries.radiosurgery_no: np.ones(len(row), dtype=np.int64),
        Radiosurgeries.radiosurgery_date: to_dates(lesion["radiosurgery_day"][row]),
        Radiosurgeries.margin_dose_gy: dose[row],
        Radiosurgeries.target_volume_ml: volume,
        Radiosurgeries.fractions: np.ones(len(row), dtype=np.int64),
    }, len(row))
