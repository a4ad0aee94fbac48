"""The flow of patients by hand, and that it agrees with the estimates it leads to."""

from __future__ import annotations

import pytest
from small_cohort import small_tables

from analyses.measures.declared import estimates_of
from analyses.measures.flow import flow_estimates, flow_of
from analyses.population.unit_frames import units_of
from analyses.statistics.estimate import Estimate

TABLES = small_tables()
MANIFEST = {"purpose": "research", "left_out": {
    "errors": {"patients": 2, "with_death_or_complication": 1},
    "research_use": {"patients": {"refused": 3, "pending": 0}}}}
UNITS = units_of(TABLES, manifest=MANIFEST)


def numbers() -> dict[str, int | None]:
    return {e.id: e.n for e in flow_estimates(UNITS) if not e.group}


def analysed() -> dict[str, tuple[Estimate, dict[str, int | None]]]:
    return {label: (inside, {reason: count.n for reason, count in lost})
            for label, _, inside, lost in flow_of(UNITS).analyses}


def test_from_all_recorded_to_embolized() -> None:
    # Ten in the freeze, five held back; patient 8 untreated, patient 9 only resected.
    assert numbers() == {
        "flow.recorded": 15, "flow.frozen": 10, "flow.treated": 9, "flow.embolized": 8,
        "flow.not_treated": 1, "flow.not_embolized": 1}


def test_who_was_held_back_and_why() -> None:
    held = {e.group["reason"]: e.n for e in flow_estimates(UNITS)
            if e.id == "flow.left_out" and e.group}
    assert held == {"errors in the data": 2, "research use refused": 3}


@pytest.mark.parametrize(("label", "n", "lost"), [
    ("Immediate occlusion", 8, {}),
    ("Final obliteration", 8, {"whose plan is ongoing": 1}),
    ("Complete resection", 2, {"not imaged after the operation": 1, "not resected": 6}),
    ("Any complication", 8, {}),
    ("Permanent deficit from embolization", 7, {"with a deficit not yet known": 1}),
    ("Death within 30 days", 7, {"not known to be alive or dead 30 days after a session": 1}),
    ("Permanent deficit or death, any treatment", 8, {"with a deficit not yet known": 1}),
    ("Function", 7, {"without a visit at least 90 days after the last treatment": 2}),
    # Patient 6 had a coil only.
    ("Practice limits", 7, {"without a liquid copolymer": 1}),
])
def test_every_analysis_by_hand(label: str, n: int, lost: dict[str, int]) -> None:
    inside, why = analysed()[label]
    assert (inside.n, why) == (n, lost)


def test_nobody_is_lost_without_a_reason() -> None:
    flow = flow_of(UNITS)
    counts = [count.n or 0 for _, count in flow.trunk]
    for box, losses in enumerate(flow.losses):
        assert counts[box] - sum(c.n or 0 for _, c in losses) == counts[box + 1]
    base = {"treated": counts[2], "embolized": counts[3]}
    for _, start, inside, losses in flow.analyses:
        assert (inside.n or 0) + sum(c.n or 0 for _, c in losses) == base[start]


def test_the_flow_ends_at_the_patients_the_estimates_count() -> None:
    estimates = [*estimates_of("complications", UNITS), *estimates_of("function", UNITS)]
    found = {(e.id, e.unit): e for e in estimates if not e.group}
    pairs = {
        "Any complication": "complication.any",
        "Permanent deficit from embolization": "complication.permanent_deficit",
        "Death within 30 days": "death.all_cause_30d",
        "Permanent deficit or death, any treatment": "combined.permanent_deficit_or_death",
        "Function": "function.independent",
    }
    for label, id in pairs.items():
        inside = {row.key for row in analysed()[label][0].counted}
        assert inside == {row.key for row in found[id, "patient"].counted}


def test_a_freeze_without_a_count_of_who_was_held_starts_with_itself() -> None:
    assert {e.id: e.n for e in flow_estimates(units_of(TABLES))}["flow.recorded"] == 10
