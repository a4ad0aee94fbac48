"""Small cells of characteristics stay inside; harm is never hidden (threshold: common practice)."""

from __future__ import annotations

import pytest
from small_cohort import small_tables

from analyses.measures.results import work_out
from analyses.measures.small_cells import SUPPRESSED, for_outside
from analyses.population.unit_frames import units_of
from analyses.statistics.estimate import Estimate


def cell(id: str, events: int, n: int, group: dict[str, str] | None) -> Estimate:
    return Estimate(id=id, kind="proportion", value=events / n, events=events, n=n,
                    unit="patient", group=group)


def table(*cells: tuple[str, str, int, int]) -> list[Estimate]:
    return [cell(f"baseline.sex.{level}", x, n, {"ruptured": group} if group else None)
            for level, group, x, n in cells]


def shown(estimates: list[Estimate]) -> set[tuple[str, str]]:
    return {(e.id.rsplit(".", 1)[1], (e.group or {}).get("ruptured", ""))
            for e in for_outside(estimates) if e.kind != SUPPRESSED}


def test_a_small_cell_is_held_back_and_cannot_be_worked_out() -> None:
    found = table(
        ("female", "yes", 20, 40), ("male", "yes", 18, 40), ("other", "yes", 2, 40),
        ("female", "no", 30, 60), ("male", "no", 24, 60), ("other", "no", 6, 60),
        ("female", "", 50, 100), ("male", "", 42, 100), ("other", "", 8, 100))
    left = shown(found)
    assert ("other", "yes") not in left
    # Not from its column, nor from its row: each has another cell held back.
    assert len(left & {("female", "yes"), ("male", "yes")}) < 2
    assert not {("other", "no"), ("other", "")} <= left


def test_a_held_back_cell_tells_no_number() -> None:
    hidden = for_outside(table(("female", "yes", 2, 40), ("male", "yes", 38, 40)))[0]
    assert hidden.events is hidden.n is hidden.value is None
    assert hidden.counted == ()
    assert "not shown" in hidden.as_text()


def test_large_cells_and_zeros_stand() -> None:
    found = table(("female", "yes", 20, 40), ("male", "yes", 20, 40), ("other", "yes", 0, 40))
    assert len(shown(found)) == 3


def test_a_yes_is_held_back_where_the_few_are_those_without() -> None:
    found = [cell("baseline.hht.yes", 38, 40, {"ruptured": "yes"}),
             cell("baseline.hht.yes", 30, 60, {"ruptured": "no"})]
    assert for_outside(found)[0].kind == SUPPRESSED


def test_a_group_of_fewer_than_five_is_held_back_whole() -> None:
    assert not shown(table(("female", "yes", 0, 3), ("male", "yes", 3, 3)))


@pytest.mark.parametrize("id", [
    "complication.any", "death.all_cause_30d", "combined.permanent_deficit_or_death"])
def test_harm_is_never_held_back(id: str) -> None:
    assert for_outside([cell(id, 1, 20, {"sm_grade": "3"})])[0].kind == "proportion"


def test_a_real_report_holds_back_characteristics_and_nothing_else() -> None:
    found = work_out(units_of(small_tables(), manifest={})).estimates
    outside = for_outside(found)
    changed = {a.id for a, b in zip(found, outside, strict=True) if a is not b}
    assert changed and all(id.startswith("baseline.") for id in changed)
    small = [e for e in outside if e.id.startswith("baseline.") and e.kind == "proportion"
             and e.group and not e.id.endswith(".missing") and 0 < (e.events or 0) < 5]
    assert not small
