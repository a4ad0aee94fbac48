"""Intervals of differences and the test of groups keep what they promise, in a smaller run.

The full table, 1,000 sets in each of 144 cells, is in tests/reference/differences.md.
"""

import coverage_differences
import pytest
from coverage_differences import Cell
from truth_tables import rng_of

from analyses.statistics.proportions.proportions_compared import compare_groups


@pytest.mark.slow
@pytest.mark.parametrize("cell", [
    Cell(60, 0.07, 0.10, 0.30, "between"), Cell(60, 0.50, 0.03, 0.30, "within"),
    Cell(130, 0.15, 0.10, 0.30, "between"), Cell(130, 0.30, 0.20, 0.05, "within"),
    Cell(300, 0.07, 0.03, 0.30, "between"), Cell(300, 0.50, 0.10, 0.30, "between"),
], ids=str)
def test_differences_keep_what_they_promise(cell: Cell) -> None:
    assert coverage_differences.kept(cell, 1000, 150).faults == []


def test_a_fault_is_found_out() -> None:
    """A check of the check: an interval that ignores the patient would be told."""
    good = coverage_differences.kept(Cell(60, 0.3, 0.2, 0.3, "between"), 300, 20)
    assert good.faults == []
    from dataclasses import replace
    assert replace(good, covered=0.85).faults and replace(good, false=0.5, tested=100).faults
    assert replace(good, left_out=0.4, one_event=100).faults


def test_the_test_of_the_table_is_that_of_compare_groups() -> None:
    cell = Cell(60, 0.3, 0.2, 0.3, "within")
    data = coverage_differences.drawn(cell, 1.0, 3, rng_of(cell))
    for place in range(3):
        event, side, patient = coverage_differences.rows_of(data, place)
        whole = compare_groups(event, side.tolist(), patient.tolist(), exchanges=199, seed=place)
        assert coverage_differences.false_p(data, place, 199) == whole.p_value


def test_the_table_on_record_is_kept_in_every_cell() -> None:
    text = coverage_differences.REPORT.read_text(encoding="utf-8")
    assert text.count("patients |") >= 144 and "All cells keep" in text
