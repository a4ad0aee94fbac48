"""Making a fictional service, as ratios between two things timed on the same machine."""

from __future__ import annotations

import time
from collections.abc import Callable

from registry.schema import TABLES
from synthetic_cohort import make_cohort


def best_of(times: int, job: Callable[[], object]) -> float:
    """Seconds of the fastest of several runs: the least disturbed one."""
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        job()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def test_300_patients_cost_less_than_checking_their_tables_three_times() -> None:
    tables = make_cohort(300, 1).tables           # warm: imports, models, the settings' pilot

    def check() -> None:
        for name, spec in TABLES.items():
            spec.checks.validate(tables[name])

    check()
    making = best_of(5, lambda: make_cohort(300, 2))
    checking = best_of(5, check)
    print(f"\nmaking 300 patients / checking them against the schema: {making / checking:.2f}")
    assert making < 3 * checking


def test_ten_times_the_patients_cost_less_than_twenty_times_as_much() -> None:
    make_cohort(2_000, 1)
    make_cohort(20_000, 1)
    few = best_of(3, lambda: make_cohort(2_000, 2))
    many = best_of(3, lambda: make_cohort(20_000, 2))
    print(f"\n20,000 patients / 2,000 patients: {many / few:.1f}")
    assert many < 20 * few
