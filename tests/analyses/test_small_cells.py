"""Small cells of characteristics stay inside; harm is never hidden (threshold: common practice)."""

from __future__ import annotations

import pytest
from attacker import NO_LEVEL_NAMED, count_ranges
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from small_cohort import small_tables

from analyses.measures.results import work_out
from analyses.measures.small_cells import SUPPRESSED, for_outside
from analyses.population.unit_frames import units_of
from analyses.statistics.estimate import Estimate, replaced
from registry.privacy.suppression import SMALLEST


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


# What is left tells no small number --------------------------------------------------------------

def given_away(told: list[Estimate], truth: list[Estimate]) -> list[str]:
    """The counts of 1 to 4 that a reader of what is told can work out."""
    ranges = count_ranges(told, "ruptured")
    true = {(e.id, e.group["ruptured"]): e.events or 0 for e in truth if e.group}
    exact = {place for place, (low, high) in ranges.items() if low == high}
    return [f"{level} of {group}" for level, group in exact if 0 < true.get(
        (level, group), 0) < SMALLEST]


def crossed(counts: dict[str, dict[str, int]]) -> list[Estimate]:
    """Group → level → count, as the estimates of a field: by group and overall."""
    levels = list(next(iter(counts.values())))
    size = {group: sum(row.values()) for group, row in counts.items()}
    cells = [(level, group, row[level], size[group])
             for group, row in counts.items() for level in levels]
    overall = [(level, "", sum(row[level] for row in counts.values()), sum(size.values()))
               for level in levels]
    return [one for one in table(*cells, *overall) if one.n]


def test_a_reader_can_work_out_a_small_count_where_only_it_is_blank() -> None:
    """So that the checks below can fail."""
    truth = crossed({"yes": {"female": 20, "male": 3}, "no": {"female": 30, "male": 24}})
    told = [replaced(e, value=None) if e.events == 3 else e for e in truth]
    assert given_away(told, truth) == ["baseline.sex.male of yes"]


@pytest.mark.parametrize("counts", [
    {"yes": {"female": 20, "male": 4, "other": 9}, "no": {"female": 30, "male": 24, "other": 6}},
    # A group of three: neither its counts nor its size may be told.
    {"yes": {"female": 3, "male": 0, "other": 0}, "no": {"female": 30, "male": 24, "other": 6}},
    {"yes": {"female": 2, "male": 2, "other": 0}, "no": {"female": 30, "male": 24, "other": 6},
     "not recorded": {"female": 8, "male": 7, "other": 0}},
    # Two ones in a row.
    {"yes": {"female": 1, "male": 1, "other": 30}, "no": {"female": 9, "male": 30, "other": 8}},
])
def test_a_reader_with_a_pencil_gets_no_small_count(counts: dict[str, dict[str, int]]) -> None:
    truth = crossed(counts)
    assert not given_away(for_outside(truth), truth)


COUNTS = st.lists(st.lists(st.sampled_from([0, 1, 2, 4, 5, 8, 30]), min_size=3, max_size=3),
                  min_size=2, max_size=3)


@settings(max_examples=20, deadline=None)
@given(COUNTS)
def test_no_table_gives_a_small_count_away(rows: list[list[int]]) -> None:
    names = ("yes", "no", "not recorded")
    levels = ("female", "male", "other")
    assume(all(sum(row) for row in rows))
    truth = crossed({name: dict(zip(levels, row, strict=True))
                     for name, row in zip(names, rows, strict=False)})
    assert not given_away(for_outside(truth), truth)


def test_the_few_without_a_yes_are_not_told_by_the_number_recorded() -> None:
    """38 of 40 with a feature: the 2 without are a small cell as well."""
    found = [cell("baseline.hht.yes", 38, 40, {"ruptured": "yes"}),
             cell("baseline.hht.yes", 30, 60, {"ruptured": "no"}),
             cell("baseline.hht.yes", 68, 100, None)]
    ranges = count_ranges(for_outside(found), "ruptured")
    low, high = ranges[NO_LEVEL_NAMED, "yes"]
    assert low < 2 < high


@pytest.mark.parametrize(("size", "stands"), [(4, False), (5, True)])
def test_a_group_is_large_enough_from_five(size: int, stands: bool) -> None:
    found = table(("female", "yes", 0, size), ("male", "yes", size, size))
    assert bool(shown(found)) is stands


@pytest.mark.parametrize(("size", "stands"), [(4, False), (5, True)])
def test_the_median_of_a_group_is_told_from_five_patients(size: int, stands: bool) -> None:
    age = Estimate(id="baseline.age_y", kind="median", value=34.0, n=size, unit="patient",
                   measure="years", group={"ruptured": "yes"})
    assert (for_outside([age])[0].kind == "median") is stands
