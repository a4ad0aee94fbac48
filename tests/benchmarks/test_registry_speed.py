"""The store, the rules and the freeze, as ratios between two things timed on the same machine."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest
from registry_sources import batch

from registry.freeze.freeze_reading import read_freeze
from registry.freeze.freeze_writing import make_freeze
from registry.rules import check_rules
from registry.store.registry import Registry, open_registry
from synthetic_cohort import make_cohort

FEW, MANY = 150, 1500


def seconds(job: Callable[[], object]) -> float:
    start = time.perf_counter()
    job()
    return time.perf_counter() - start


@pytest.fixture(scope="module")
def filled(tmp_path_factory) -> dict[int, tuple[Registry, float, Path]]:
    """A registry of few and one of many patients, and how long taking them in took."""
    folder = tmp_path_factory.mktemp("speed")
    open_registry(folder / "warm.sqlite").take_in(batch(make_cohort(20, 1).tables))
    made = {}
    for patients in (FEW, MANY):
        registry = open_registry(folder / f"{patients}.sqlite")
        given = batch(make_cohort(patients, 1).tables)
        made[patients] = (registry, seconds(lambda r=registry, g=given: r.take_in(g)), folder)
    return made


def test_ten_times_the_patients_cost_less_than_fifteen_times_as_much_to_take_in(filled) -> None:
    ratio = filled[MANY][1] / filled[FEW][1]
    print(f"\ntaking in {MANY} / {FEW} patients: {ratio:.1f}")
    assert ratio < 15


def test_the_rules_cost_less_than_taking_in(filled) -> None:
    registry, taking, _ = filled[MANY]
    tables = registry.tables()
    ratio = min(seconds(lambda: check_rules(tables)) for _ in range(3)) / taking
    print(f"\nchecking the rules / taking in: {ratio:.2f}")
    assert ratio < 0.7


def test_reading_a_freeze_costs_less_than_half_of_making_it(filled) -> None:
    registry, _, folder = filled[MANY]
    making = seconds(lambda: make_freeze(registry, folder / "freeze"))
    ratio = min(seconds(lambda: read_freeze(folder / "freeze")) for _ in range(2)) / making
    print(f"\nreading a freeze / making it: {ratio:.2f}")
    assert ratio < 0.5
