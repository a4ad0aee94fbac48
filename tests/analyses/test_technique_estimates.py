"""Procedures and technique on the ten patients, by hand.

The limits themselves are tested in tests/registry/test_practice_limits.py (common practice, no
source); the clustered interval against R survey and the median's against R in their own tests.
"""

from __future__ import annotations

import pytest
from registry_cases import with_cells
from small_cohort import small_tables

from analyses.measures.declared import estimates_of
from analyses.measures.practice_kept import judged_injections
from analyses.measures.procedures import operator_estimates
from analyses.population.procedure_rows import injection_rows, procedure_rows
from analyses.population.unit_frames import units_of
from registry.clinical.practice_limits import default_limits, read_limits

TABLES = small_tables()
UNITS = units_of(TABLES)


@pytest.mark.parametrize(("id", "unit", "events", "n", "missing"), [
    # Shaken 25, 10 and 20 min; nine sessions used EVOH.
    ("technique.mixing", "session", 2, 3, 6),
    # 0.25 and 0.20 mL of DMSO for 0.23 mL; eleven copolymer injections.
    ("technique.dead_space", "injection", 1, 2, 9),
    # 0.11 and 0.50 mL/min, and patient 2's 0.10 mL/min without a pause.
    ("technique.rate", "injection", 2, 3, 8),
    # 60 s and 150 s, and patient 2's none, of whom it is not recorded whether it was stopped.
    ("technique.pause", "injection", 1, 2, 9),
    # 5 of 15 mm and 16 of 15 mm.
    ("technique.reflux", "injection", 1, 2, 9),
    # The view was lost once, and delivery went on.
    ("technique.halted", "injection", 0, 1, 0),
])
def test_within_the_limits_by_hand(
    id: str, unit: str, events: int, n: int, missing: int
) -> None:
    found = next(e for e in estimates_of("technique", UNITS) if e.id == id and not e.group)
    assert (found.unit, found.events, found.n) == (unit, events, n)
    told = [note for note in found.notes() if "not recorded left out" in note]
    word = unit if missing == 1 else f"{unit}s"
    assert told == ([f"{missing} {word} with the value not recorded left out"] if missing else [])


def test_limits_are_about_liquid_copolymers_only() -> None:
    judged = judged_injections(UNITS)
    assert set(judged["agent_used"]) == {"EVOH 6 %", "EVOH 8 %", "other copolymer"}
    assert len(judged) == 11


def test_a_service_can_bring_its_own_limits(tmp_path: object) -> None:
    own = tmp_path / "limits.toml"  # type: ignore[operator]
    rate = default_limits().rate_at_most_ml_min
    own.write_text(f"""source = "our protocol"
[limits]
mixing_at_least_min = 5
rate_usual_ml_min = 0.16
rate_at_most_ml_min = {rate + 1}
pause_at_least_s = 30
pause_at_most_s = 120
dead_space_usual_ml = 0.23
vial_ml = 1.5
""", encoding="utf-8")
    found = {e.id: e for e in estimates_of("technique", units_of(TABLES, read_limits(own)))
             if not e.group}
    assert (found["technique.mixing"].events, found["technique.rate"].events) == (3, 3)


def test_a_shared_procedure_adds_volumes_and_keeps_one_dose() -> None:
    tables = with_cells(with_cells(TABLES, "sessions", 2, air_kerma_mgy=3000.0),
                        "sessions", 3, air_kerma_mgy=3000.0)
    rows = procedure_rows(units_of(tables)).set_index("key")
    assert rows.loc["A-0002/1/1", "agent_ml"] == 1.5
    assert rows.loc["A-0002/1/1", "pedicles_treated"] == 2
    assert rows.loc["A-0002/1/1", "air_kerma_mgy"] == 3000.0
    assert rows.loc["A-0002/1/1", "formulation"] == "several liquids"


def test_the_two_formulations_are_told_apart() -> None:
    rows = procedure_rows(UNITS).set_index("key")
    assert rows.loc["A-0001/1/1", "formulation"] == "EVOH 6 %"
    assert rows.loc["A-0001/1/2", "formulation"] == "EVOH 8 %"
    assert rows.loc["A-0006/1/2", "formulation"] == "no liquid"


def test_coils_are_no_injection_of_a_liquid() -> None:
    assert "A-0006/1/2/1" not in set(injection_rows(UNITS)["key"])


@pytest.mark.parametrize(("id", "unit", "value", "n"), [
    # Procedures: 2, 2, 1, 2, 1, 2, 1, 1.
    ("procedure.sessions", "patient", 1.5, 8),
    # 1 1 2 1 1 1 1 1 0 1 1 2: the coil's pedicle counts, the empty session has none.
    ("procedure.pedicles_treated", "session", 1.0, 12),
    # 1 1.5 1.5 1 - 1 1 1 0 0 1 2; patient 3's volume is not recorded.
    ("procedure.agent_ml", "session", 1.0, 11),
    # 1.0/9, 1.5/3 and 1.0/10 mL/min.
    ("injection.rate_ml_min", "injection", 1 / 9, 3),
    ("injection.push_min", "injection", 9.0, 3),
    # 60, 150 and (pauses of 0 s) 0.
    ("injection.longest_pause_s", "injection", 60.0, 3),
])
def test_medians_by_hand(id: str, unit: str, value: float, n: int) -> None:
    found = next(e for e in estimates_of("procedures", UNITS) if e.id == id and not e.group)
    assert (found.unit, found.n) == (unit, n)
    assert found.value == pytest.approx(value)


def test_a_substantial_dose_starts_at_5_gray() -> None:
    tables = TABLES
    for row, dose in enumerate((4999.0, 5000.0, 6000.0)):
        tables = with_cells(tables, "sessions", row, air_kerma_mgy=dose)
    found = next(e for e in estimates_of("procedures", units_of(tables))
                 if e.id == "procedure.high_kerma" and not e.group)
    assert (found.events, found.n) == (2, 3)


def test_operators_appear_only_when_asked_for() -> None:
    everyday = [*estimates_of("procedures", UNITS), *estimates_of("technique", UNITS)]
    assert not any("operator" in (e.group or {}) for e in everyday)
    by_code = {(e.group or {}).get("operator") for e in operator_estimates(UNITS)}
    assert by_code == {None, "OP01", "OP02"}


def test_a_halt_is_watched_only_where_one_was_called_for():
    """Injections in which nothing called for a halt would flatter the quality report."""
    from analyses.monitoring.limit_frame import limit_frame

    units = units_of(small_tables())
    rows = limit_frame(units)
    words = units.limits.table().set_index("column").loc["halted", "limit"]
    within = rows.loc[rows["limit"] == words, "within"]
    assert (int(within.sum()), int(within.notna().sum())) == (0, 1), "as technique.halted above"
