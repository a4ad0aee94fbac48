"""Values that were not written down, by a known mechanism.

MCAR: each optional value is blank with probability `missing_share`. MAR: log-odds of a blank are

    ln(share/(1 − share)) + missing_log_odds_early·(before 2018)
                          + missing_log_odds_ruptured·(ruptured)

with the year of the patient's first treatment; both are always recorded. Fields that a recorder
fills in together go missing together. Required fields, and fields that the registry's rules ask
for, stay: outcomes are complete, covariates are not.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from registry.schema import (
    Complications,
    FollowUps,
    Injections,
    Lesions,
    Patients,
    Radiosurgeries,
    Resections,
    Sessions,
)
from synthetic_cohort.draws import Array, Streams, logistic
from synthetic_cohort.settings import CohortSettings
from synthetic_cohort.simulate import Simulation

EARLY_BEFORE = 1461     # days: 2018-01-01

# Fields that go missing together, by table.
GROUPS: dict[str, tuple[tuple[str, ...], ...]] = {
    "patients": (("gcs",), ("hht",)),
    "lesions": (
        (Lesions.nidus_width_mm, Lesions.nidus_height_mm),
        (Lesions.draining_veins,),
        (Lesions.vascular_eloquence,),
        (Lesions.venous_stenosis, Lesions.venous_ectasia),
        (Lesions.nidus_border,),
        (Lesions.feeding_pedicles,),
        (Lesions.feeder_calibre,),
        (Lesions.perforator_supply, Lesions.en_passage_supply, Lesions.dural_supply),
        (Lesions.fistulous_part,),
        ("aneurysm",),
        (Lesions.earlier_treatment,),
        (Lesions.sm_grade_recorded,),
    ),
    "sessions": (
        (Sessions.agent_mixing_min,),
        (Sessions.occlusion_read_by,),
        (Sessions.occlusion_planned_pct,),
        (Sessions.flow_control,),
        (Sessions.proximal_plug,),
        (Sessions.procedure_min,),
        (Sessions.fluoroscopy_min,),
        (Sessions.air_kerma_mgy, Sessions.dose_area_product_gycm2),
        (Sessions.contrast_ml,),
        (Sessions.systolic_target_mmhg,),
        ("nights",),
        (Sessions.trainee_operating,),
        ("anaesthesia",),
        (Sessions.sessions_planned,),
    ),
    "injections": (
        (Injections.injection_min,),
        (Injections.pauses_s, Injections.longest_pause_s),
        (Injections.reflux_stops,),
        (Injections.reflux_mm,),
        (Injections.reflux_limit_mm,),
        (Injections.dead_space_ml, Injections.dmso_ml),
        (Injections.view_lost, Injections.resistance_felt),
        (Injections.venous_passage,),
        (Injections.catheter_type, Injections.detachable_tip),
        (Injections.feeder_type,),
    ),
    "complications": (
        (Complications.recognised_after_min, Complications.treated_after_min),
        (Complications.clavien_dindo,),
        (Complications.reviewed_by,),
        ("preventable",),
        (Complications.mrs_worst,),
        ("cause",),
    ),
    "resections": (
        (Resections.blood_loss_ml,),
        (Resections.operation_min,),
        (Resections.red_cell_units,),
        (Resections.rupture_during,),
        ("nights",),
    ),
    "radiosurgeries": ((Radiosurgeries.target_volume_ml,),),
    "follow_ups": (
        (FollowUps.mrs_rater,),
        (FollowUps.haemorrhage_since,),
        (FollowUps.treated_again,),
    ),
}


def blank_probability(cfg: CohortSettings, early: np.ndarray, ruptured: np.ndarray) -> Array:
    """Chance of a blank for rows of patients with these two flags."""
    share = cfg.missing_share
    if share <= 0:
        return np.zeros(len(early))
    if cfg.missing_mechanism == "MCAR":
        return np.full(len(early), share)
    return logistic(
        np.log(share / (1 - share)) + cfg.missing_log_odds_early * early
        + cfg.missing_log_odds_ruptured * ruptured
    )


def go_missing(
    s: Streams, cfg: CohortSettings, sim: Simulation, tables: dict[str, pd.DataFrame]
) -> dict[str, pd.DataFrame]:
    """The tables with values blanked by the settings' mechanism."""
    if cfg.missing_share <= 0:
        return tables
    chance = blank_probability(
        cfg, sim.patient["first_day"] < EARLY_BEFORE, sim.patient["ruptured"]
    )
    owner = pd.Series(np.arange(len(chance)), index=tables["patients"][Patients.patient_id])
    return {name: _blank(s, name, table, chance, owner) for name, table in tables.items()}


def _blank(
    s: Streams, name: str, table: pd.DataFrame, chance: Array, owner: pd.Series
) -> pd.DataFrame:
    if not GROUPS.get(name) or table.empty:
        return table
    probability = chance[owner.loc[table[Patients.patient_id]].to_numpy()]
    columns = {field: table[field].array for field in table}
    for fields in GROUPS[name]:
        gone = s.uniform(f"missing {name} {fields[0]}", len(table)) < probability
        for field in fields:
            values = columns[field].copy()
            values[gone] = np.nan if table[field].dtype == "float64" else pd.NA
            columns[field] = values
    return pd.DataFrame(columns, index=table.index, copy=False)
