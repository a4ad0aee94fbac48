"""The technique models' tables, held against the ten patients counted by eye."""

from __future__ import annotations

import pandas as pd
import pytest
from small_cohort import small_tables

from analyses.measures.declared import estimates_of
from analyses.models.technique_declared import all_terms
from analyses.models.technique_frame import technique_frames
from analyses.models.technique_plan import ADJUST
from analyses.population.unit_frames import units_of

UNITS = units_of(small_tables())
FRAMES = technique_frames(UNITS)


def row(unit: str, key: str) -> pd.Series:
    return FRAMES[unit].set_index("key").loc[key]


@pytest.mark.parametrize("unit", FRAMES)
def test_every_table_has_patient_technique_and_adjustment(unit: str) -> None:
    adjusted = {one.term.name for one in ADJUST}
    assert {"patient_id", "key", *all_terms(), *adjusted} <= set(FRAMES[unit].columns)
    assert FRAMES[unit]["key"].is_unique


def test_the_outcomes_are_those_of_the_estimates() -> None:
    found = {(e.id, e.unit): e for e in (*estimates_of("complications", UNITS),
                                         *estimates_of("obliteration", UNITS)) if not e.group}
    for unit, column, pair in (
        ("session", "event", ("complication.any", "session")),
        ("patient", "permanent_deficit", ("complication.permanent_deficit", "patient")),
        ("lesion", "obliterated", ("obliteration.embolization_complete", "lesion")),
    ):
        outcome = FRAMES[unit][column]
        assert int(outcome.sum()) == found[pair].events
        assert int(outcome.notna().sum()) == found[pair].n


def test_a_session_has_its_own_technique() -> None:
    # 1.5 mL in 6 min less 180 s of pauses; the reflux of 16 mm passed the limit of 15.
    second = row("session", "A-0001/1/2")
    assert second["rate_ml_min"] == pytest.approx(0.5)
    assert second["longest_pause_s"] == 150 and second["pedicles"] == 1
    assert second["formulation"] == "EVOH 8 %" and bool(second["reflux_past_limit"])
    # An ellipsoid of 40 × 20 × 10 mm holds 4.19 mL.
    assert second["agent_per_nidus"] == pytest.approx(1.5 / (3.141592653589793 / 6 * 8))
    assert second["sm_grade"] == 3 and second["case_number"] == 1


def test_a_lesion_adds_up_its_sessions_and_blanks_what_is_not_settled() -> None:
    first = row("lesion", "A-0001/1")
    assert first["agent_ml"] == pytest.approx(2.5) and first["pedicles"] == 2
    # 2.5 mL in 9 min and 3 min of pushing.
    assert first["rate_ml_min"] == pytest.approx(2.5 / 12)
    # Both formulations of EVOH were used: the question of the two cannot be asked of it.
    assert pd.isna(first["formulation"])
    # One reflux past its limit settles it, whatever the other session was.
    assert bool(first["reflux_past_limit"])
    # The volume of a liquid injection was not recorded: no sum is made up.
    assert pd.isna(row("lesion", "A-0003/1")["agent_ml"])


def test_two_lesions_in_one_procedure_are_one_row_of_sessions() -> None:
    keys = set(FRAMES["session"]["key"])
    assert "A-0002/1/1" in keys and "A-0002/2/1" not in keys
    shared = row("session", "A-0002/1/1")
    assert shared["agent_ml"] == pytest.approx(1.5) and shared["pedicles"] == 2
    assert pd.isna(shared["formulation"]), "EVOH and cyanoacrylate"


def test_a_session_without_a_liquid_has_no_rate_and_no_volume() -> None:
    coil = row("session", "A-0006/1/2")
    assert coil["agent_ml"] == 0 and pd.isna(coil["rate_ml_min"])


def test_operations_count_what_was_done_before_them() -> None:
    operations = FRAMES["resection"]
    embolized = set(UNITS.lesions.loc[UNITS.lesions["embolized"], "key"])
    assert all(key.rpartition("/")[0] in embolized for key in operations["key"])
    assert {"blood_loss_ml", "operation_min"} <= set(operations.columns)
