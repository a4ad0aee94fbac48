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

from synthetic_cohort.draws import Array, Streams, logistic
from synthetic_cohort.settings import CohortSettings
from synthetic_cohort.simulate import Simulation

EARLY_BEFORE = 1461     # days: 2018-01-01

# Fields that go missing together, by table.
GROUPS: dict[str, tuple[tuple[str, ...], ...]] = {
    "patients": (("gcs",), ("hht",)),
    "lesions": (
        ("nidus_width_mm", "nidus_height_mm"), ("draining_veins",), ("vascular_eloquence",),
        ("venous_stenosis", "venous_ectasia"), ("nidus_border",), ("feeding_pedicles",),
        ("feeder_calibre",), ("perforator_supply", "en_passage_supply", "dural_supply"),
        ("fistulous_part",), ("aneurysm",), ("earlier_treatment",), ("sm_grade_recorded",),
    ),
    "sessions": (
        ("agent_mixing_min",), ("occlusion_read_by",), ("occlusion_planned_pct",),
        ("flow_control",), ("proximal_plug",), ("procedure_min",), ("fluoroscopy_min",),
        ("air_kerma_mgy", "dose_area_product_gycm2"), ("contrast_ml",),
        ("systolic_target_mmhg",), ("nights",), ("trainee_operating",), ("anaesthesia",),
        ("sessions_planned",),
    ),
    "injections": (
        ("injection_min",), ("pauses_s", "longest_pause_s"), ("reflux_stops",), ("reflux_mm",),
        ("reflux_limit_mm",), ("dead_space_ml", "dmso_ml"), ("view_lost", "resistance_felt"),
        ("venous_passage",), ("catheter_type", "detachable_tip"), ("feeder_type",),
    ),
    "complications": (
        ("recognised_after_min", "treated_after_min"), ("clavien_dindo",), ("reviewed_by",),
        ("preventable",), ("mrs_worst",), ("cause",),
    ),
    "resections": (("blood_loss_ml",), ("operation_min",), ("red_cell_units",),
                   ("rupture_during",), ("nights",)),
    "radiosurgeries": (("target_volume_ml",),),
    "follow_ups": (("mrs_rater",), ("haemorrhage_since",), ("treated_again",)),
    "haemorrhages": (),
    "services": (),
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
    owner = pd.Series(np.arange(len(chance)), index=tables["patients"]["patient_id"])
    return {name: _blank(s, name, table, chance, owner) for name, table in tables.items()}


def _blank(
    s: Streams, name: str, table: pd.DataFrame, chance: Array, owner: pd.Series
) -> pd.DataFrame:
    if not GROUPS[name] or table.empty:
        return table
    probability = chance[owner.loc[table["patient_id"]].to_numpy()]
    columns = {field: table[field].array for field in table}
    for fields in GROUPS[name]:
        gone = s.uniform(f"missing {name} {fields[0]}", len(table)) < probability
        for field in fields:
            values = columns[field].copy()
            values[gone] = np.nan if table[field].dtype == "float64" else pd.NA
            columns[field] = values
    return pd.DataFrame(columns, index=table.index, copy=False)
