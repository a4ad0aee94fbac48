"""Small cells hidden: nothing by a grouping that has one; harm overall is never hidden."""

from __future__ import annotations

import pytest
from attacker import count_ranges
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from small_cohort import small_tables

from analyses.measures.results import Results, work_out
from analyses.measures.small_cells import SUPPRESSED, is_safe, without_small_cells
from analyses.population.unit_frames import GROUPINGS, units_of
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.proportions.clustered import clustered_proportion
from registry.privacy.suppression import SMALLEST


def cell(id: str, events: int, n: int, group: dict[str, str] | None) -> Estimate:
    return Estimate(id=id, kind="proportion", value=events / n, events=events, n=n,
                    unit="patient", group=group)


def table(*cells: tuple[str, str, int, int]) -> list[Estimate]:
    return [cell(f"baseline.sex.{level}", x, n, {"ruptured": group} if group else None)
            for level, group, x, n in cells]


def outside(estimates: list[Estimate]) -> list[Estimate]:
    return list(without_small_cells(estimates)[0])


def shown(estimates: list[Estimate]) -> list[Estimate]:
    return [e for e in outside(estimates) if e.kind != SUPPRESSED]


def by_group(estimates: list[Estimate]) -> list[Estimate]:
    return [e for e in shown(estimates) if e.group]


LARGE = table(("female", "yes", 20, 40), ("male", "yes", 20, 40), ("female", "no", 31, 60),
              ("male", "no", 29, 60), ("female", "", 51, 100), ("male", "", 49, 100))
AGE = [Estimate(id="baseline.age_y", kind="median", value=34.0, n=n, unit="patient",
                measure="years", group={"ruptured": name} if name else None)
       for name, n in (("yes", 40), ("no", 60), ("", 100))]


def test_a_grouping_without_a_small_cell_stands() -> None:
    def told(e: Estimate) -> tuple[object, ...]:
        return (e.id, e.group, e.events, e.n)

    found = shown(LARGE + AGE)
    assert list(map(told, found)) == list(map(told, LARGE + AGE))
    assert [e.value for e in found] == pytest.approx([e.value for e in LARGE + AGE], abs=5e-5)
    assert without_small_cells(LARGE + AGE)[1].groupings == ()


def test_one_small_cell_hides_all_that_stands_by_its_grouping() -> None:
    other = [cell("complication.any", 10, 40, {"sm_grade": "3"}),
             cell("complication.any", 12, 60, {"sm_grade": "4"})]
    small = table(("other", "yes", 0, 40), ("other", "no", 3, 60), ("other", "", 3, 100))
    left = by_group([*LARGE, *AGE, *small, *other])
    assert left == other
    hidden = without_small_cells([*LARGE, *small])[1]
    assert hidden.groupings == ("ruptured",)


def test_not_even_the_names_of_its_groups_are_told() -> None:
    small = [*LARGE, *table(("female", "not recorded", 1, 2))]
    assert not [e for e in outside(small) if e.group]


def test_a_characteristic_that_few_have_is_hidden_with_all_its_levels() -> None:
    found = table(("female", "", 60, 100), ("male", "", 38, 100), ("not_stated", "", 2, 100))
    hidden = outside(found)
    assert {e.kind for e in hidden} == {SUPPRESSED}
    assert all(e.events is e.n is e.value is None and e.counted == () for e in hidden)
    assert "not shown" in hidden[0].as_text()


def test_a_yes_is_hidden_where_the_few_are_those_without() -> None:
    assert not shown([cell("baseline.hht.yes", 98, 100, None)])
    assert shown([cell("baseline.hht.yes", 95, 100, None)])


def test_how_many_were_not_recorded_is_told_of_all() -> None:
    assert shown([cell("baseline.hht.missing", 2, 100, None)])


@pytest.mark.parametrize("id", [
    "complication.any", "death.all_cause_30d", "combined.permanent_deficit_or_death"])
def test_harm_overall_is_never_hidden(id: str) -> None:
    assert shown([cell(id, 1, 20, None)])
    assert shown([cell("complication.kind", 1, 20, {"kind": "seizure"})])
    assert not shown([cell(id, 1, 20, {"sm_grade": "3"})])


@pytest.mark.parametrize(("size", "stands"), [(4, False), (5, True)])
def test_the_median_of_a_group_is_told_from_five_patients(size: int, stands: bool) -> None:
    age = Estimate(id="baseline.age_y", kind="median", value=34.0, n=size, unit="patient",
                   measure="years", group={"ruptured": "yes"})
    assert bool(shown([age])) is is_safe([age], "ruptured") is stands


@pytest.mark.parametrize(("size", "stands"), [(4, False), (5, True)])
def test_a_median_of_all_is_told_from_five(size: int, stands: bool) -> None:
    loss = Estimate(id="resection.blood_loss", kind="median", value=300.0, n=size,
                    unit="operation", measure="mL")
    assert bool(shown([loss])) is stands


def test_no_single_value_is_told() -> None:
    beside = tuple(Estimate(id=f"baseline.age_y.{kind}", kind=kind, value=value, n=40)
                   for kind, value in (("lower quartile", 30.0), ("smallest", 4.0),
                                       ("largest", 89.0)))
    found, = shown([replaced(AGE[2], beside=beside)])
    assert [e.kind for e in found.beside] == ["lower quartile"]


def test_the_few_missing_in_a_group_are_not_told_by_two_of_its_n() -> None:
    """40 with a known sex and 38 with a known age: two without, of one group."""
    known = {"yes": 38, "no": 60, "": 98}
    fewer = [replaced(e, n=known[(e.group or {}).get("ruptured", "")]) for e in AGE]
    assert is_safe(LARGE + AGE, "ruptured") and not is_safe(LARGE + fewer, "ruptured")


def test_the_few_of_no_group_are_not_told_by_the_total() -> None:
    """100 in all, 40 and 57 in two groups: three in none."""
    told = [*table(("female", "yes", 20, 40), ("female", "no", 30, 57)),
            *table(("female", "", 50, 100))]
    assert not is_safe(told, "ruptured") and not by_group(told)


def test_a_symptomatic_event_is_an_event() -> None:
    """9 with any and 6 with a symptomatic one: 3 with a silent one, of one group."""
    told = [cell("complication.any", 9, 40, {"ruptured": "yes"}),
            cell("complication.symptomatic", 6, 40, {"ruptured": "yes"})]
    assert not by_group(told)


def test_how_few_were_still_followed_is_not_told() -> None:
    late = Estimate(id="time.obliteration", kind="probability", value=0.5, n=145, unit="lesion",
                    group={"years": "5"}, flags=("only 3 of 145 still followed at 5 years",))
    found, = shown([late])
    assert found.flags == ("only fewer than 5 of 145 still followed at 5 years",)


@pytest.fixture(scope="module")
def ten() -> Results:
    return work_out(units_of(small_tables(), manifest={}))


def test_of_ten_patients_nothing_is_told_by_group_and_all_harm_overall(ten: Results) -> None:
    found = ten.outside()
    assert found.hidden is not None and {"sm_grade", "ruptured", "agent"} <= set(
        found.hidden.groupings)
    told = {column for e in found.estimates if e.kind != SUPPRESSED for column in e.group or {}}
    assert not told & {*GROUPINGS, "formulation", "extent", "interval", "half", "mrs"}
    harm = [e for e in ten.estimates if not e.group and e.id.startswith((
        "complication.", "death.", "combined.")) and e.kind in ("proportion", "bounds")]
    kept = {(e.id, e.unit): e for e in found.estimates if not e.group}
    assert harm and all(kept[e.id, e.unit].events == e.events for e in harm)
    assert not any(e.counted for e in found.estimates)


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


def told_of(truth: list[Estimate]) -> list[Estimate]:
    """What a reader has, an emptied line for what is hidden (its name is known all the same)."""
    left = {(e.id, str(e.group)) for e in shown(truth)}
    return [e if (e.id, str(e.group)) in left else replaced(e, value=None, events=None, n=None)
            for e in truth]


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
    # 38 of 40 with one feature, and the 2 without it all in one group.
    {"yes": {"female": 38}, "no": {"female": 30}},
])
def test_a_reader_with_a_pencil_gets_no_small_count(counts: dict[str, dict[str, int]]) -> None:
    truth = crossed(counts)
    if len(counts["yes"]) == 1:
        truth = [replaced(e, n={"yes": 40, "no": 60}[e.group["ruptured"]] if e.group else 100)
                 for e in truth]
        assert not shown(truth) or not by_group(truth)
    assert not given_away(told_of(truth), truth)


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
    assert not given_away(told_of(truth), truth)


def test_an_interval_cannot_be_turned_back_into_who_had_several_events() -> None:
    """With twelve digits, an effective n and a second interval, the few who repeat are told."""
    found = clustered_proportion([1, 1, 0, 0, 1, 0] * 20, [n // 2 for n in range(120)],
                                 id="complication.any", unit="lesion")
    assert found.effective_n is not None and found.beside
    (left,) = outside([found])
    assert left.beside == () and left.effective_n is None
    for before, after in ((found.low, left.low), (found.high, left.high)):
        assert before is not None and after == round(before, 4) != before
