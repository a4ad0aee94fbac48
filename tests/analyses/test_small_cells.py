"""Small cells of characteristics stay inside; harm is never hidden (threshold: common practice)."""

from __future__ import annotations

from analyses.estimate import Estimate
from analyses.small_cells import SUPPRESSED, for_outside


def cell(id: str, events: int, n: int, group: dict[str, str] | None) -> Estimate:
    return Estimate(id=id, kind="proportion", value=events / n, events=events, n=n,
                    unit="patient", group=group)


def kinds(estimates: list[Estimate]) -> list[str]:
    return [e.kind for e in for_outside(estimates)]


def table(*cells: tuple[str, str, int, int]) -> list[Estimate]:
    return [cell(f"baseline.sex.{level}", x, n, {"ruptured": group})
            for level, group, x, n in cells]


def test_a_cell_of_one_to_four_is_held_back_and_cannot_be_worked_out() -> None:
    found = table(("female", "yes", 20, 40), ("male", "yes", 18, 40), ("other", "yes", 2, 40),
                  ("female", "no", 30, 60), ("male", "no", 24, 60), ("other", "no", 6, 60))
    shown = {(e.id, e.group["ruptured"]) for e in for_outside(found)
             if e.kind != SUPPRESSED and e.group}
    # "other, yes" is small; a second cell of its column and of its row go with it, and a fourth
    # closes the square: nothing is left to subtract.
    assert shown == {("baseline.sex.female", "yes"), ("baseline.sex.female", "no")}


def test_a_held_back_cell_tells_no_number() -> None:
    hidden = for_outside(table(("female", "yes", 2, 40), ("male", "yes", 38, 40)))[0]
    assert hidden.events is hidden.n is hidden.value is None
    assert hidden.counted == ()
    assert "not shown" in hidden.as_text()


def test_large_cells_and_zeros_stand() -> None:
    found = table(("female", "yes", 20, 40), ("male", "yes", 20, 40), ("other", "yes", 0, 40))
    assert set(kinds(found)) == {"proportion"}


def test_a_group_of_fewer_than_five_is_held_back_whole() -> None:
    assert kinds(table(("female", "yes", 0, 3), ("male", "yes", 3, 3))) == [SUPPRESSED] * 2


def test_overall_counts_are_never_held_back() -> None:
    assert kinds([cell("baseline.sex.other", 1, 100, None)]) == ["proportion"]


def test_harm_is_never_held_back() -> None:
    found = [cell(id, 1, 20, {"sm_grade": "3"}) for id in
             ("complication.any", "death.all_cause_30d", "combined.permanent_deficit_or_death")]
    assert set(kinds(found)) == {"proportion"}
