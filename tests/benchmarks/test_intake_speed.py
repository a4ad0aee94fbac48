"""Reading and writing the entry workbook, as ratios to general libraries on the same machine."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

from registry.intake.source import open_source
from registry.intake.workbook_write import fill_workbook
from synthetic_cohort import make_cohort


def best_of(times: int, job: Callable[[], object]) -> float:
    """Seconds of the fastest of several runs: the least disturbed one."""
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        job()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workbook of 600 patients, some 9,000 rows in all."""
    path = tmp_path_factory.mktemp("large") / "cases.xlsx"
    fill_workbook(path, make_cohort(600, 1).tables)
    return path


def openpyxl_values(path: Path) -> int:
    book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    return sum(1 for sheet in book for _ in sheet.iter_rows(values_only=True))


def test_all_facts_of_a_workbook_cost_less_than_its_values_through_openpyxl(large: Path) -> None:
    ours = best_of(3, lambda: open_source(large))
    theirs = best_of(2, lambda: openpyxl_values(large))
    print(f"\nour reading / openpyxl's values alone: {ours / theirs:.2f}")
    assert ours < theirs


def test_four_times_the_rows_cost_less_than_eight_times_as_much(tmp_path: Path) -> None:
    from registry.intake.source_reading import read_source

    few, many = tmp_path / "few.xlsx", tmp_path / "many.xlsx"
    fill_workbook(few, make_cohort(500, 1).tables)
    fill_workbook(many, make_cohort(2000, 1).tables)
    read_source(few)  # warm
    ratio = best_of(2, lambda: read_source(many)) / best_of(3, lambda: read_source(few))
    print(f"\nreading 2,000 patients / reading 500: {ratio:.1f}")
    assert ratio < 8
