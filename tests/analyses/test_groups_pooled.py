"""Comparisons of several groups in the supplement: pooled, in the place of raw differences."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from analyses.content.blocks import Paragraph, Picture, Section, Table
from analyses.documents.series.pooled_section import NAME, pooling_methods
from analyses.documents.series.questions_sections import comparisons_section
from analyses.measures.comparisons import COMPARED, comparison_estimates, differences
from analyses.measures.groups_pooled import GroupsPooled, groups_pooled, pooled_columns
from analyses.measures.headlines import headlines
from analyses.measures.null_findings import null_findings
from analyses.measures.results import Results
from analyses.models.model_plan import Plan, read_plan, write_plan
from analyses.models.plan_draft import write_draft_plan
from analyses.models.technique_models import TechniqueModels
from analyses.population.unit_frames import units_of
from analyses.words.numerals import percent
from synthetic_cohort import make_cohort

UNITS = units_of(make_cohort(140, 3).tables)
DAY = datetime.date(2026, 1, 1)
IMPORTANT = 0.1


@pytest.fixture(scope="module")
def pooled() -> tuple[GroupsPooled, ...]:
    return groups_pooled(UNITS, IMPORTANT)


@pytest.fixture(scope="module")
def section(pooled: tuple[GroupsPooled, ...]) -> Section:
    return comparisons_section(Results(UNITS, tuple(comparison_estimates(UNITS))), pooled)


def table(section: Section, name: str) -> Table:
    return next(b for b in section.blocks if isinstance(b, Table) and b.name == name)


def test_what_five_groups_or_more_answer_is_pooled(pooled: tuple[GroupsPooled, ...]) -> None:
    assert {(one.id, one.column) for one in pooled} == pooled_columns(UNITS)
    assert pooled and all(len(one.pooled.groups) >= 5 and not one.pooled.why for one in pooled)
    assert {one.column for one in pooled} <= {"agent", "intent"}
    for one in pooled:
        frame = headlines(UNITS)[one.id].known()
        for e in one.pooled.groups:
            here = frame[frame[one.column].eq((e.group or {})[one.column])]
            assert (e.events, e.n) == (int(here["event"].sum()), len(here))


def test_pooled_groups_replace_their_raw_differences_and_counts_stay(
    section: Section, pooled: tuple[GroupsPooled, ...],
) -> None:
    raw = table(section, "differences").rows
    shown = [c.estimate for row in raw for c in row if c.estimate is not None]
    gone = {(f"difference.{one.id}", one.column) for one in pooled}
    held = {(e.id, next(iter(e.group or {}))) for e in shown}
    assert held and not held & gone
    counts = [row[3].text for row in table(section, NAME).rows]
    assert counts == [f"{e.events}/{e.n}" for one in pooled for e in one.pooled.groups]


def test_the_forest_draws_them_pooled(
    section: Section, pooled: tuple[GroupsPooled, ...],
) -> None:
    picture = next(b for b in section.blocks if isinstance(b, Picture))
    drawn = [e for e in picture.estimates if e.id.startswith("pooled.")]
    mine = [e for one in pooled if one.id == "complication.any" for e in one.pooled.differences]
    assert drawn == mine and mine
    assert "pooled: " in picture.alt


def test_the_probability_of_an_important_difference_is_printed(
    section: Section, pooled: tuple[GroupsPooled, ...],
) -> None:
    found = table(section, NAME)
    assert found.columns[-1] == "Probability of more than 10 points apart"
    told = [row[-1].text for row in found.rows if row[-1].text]
    assert told == [f"{percent(e.value or 0)} %" for one in pooled for e in one.pooled.exceeding]


def test_without_a_size_in_the_plan_no_probability_is_given() -> None:
    found = comparisons_section(
        Results(UNITS, tuple(comparison_estimates(UNITS))), groups_pooled(UNITS))
    assert not any("Probability" in name for name in table(found, NAME).columns)


def test_chance_is_asked_of_the_differences_that_are_printed(section: Section) -> None:
    printed = len(table(section, "differences").rows)
    assert null_findings(UNITS).printed == printed
    every = sum(len(differences(one, column)) for one in headlines(UNITS).values()
                for column in COMPARED)
    assert printed < every


# The plan says what is important ------------------------------------------------------------------

def text_of(blocks: tuple[object, ...]) -> str:
    return " ".join(s.text for b in blocks if isinstance(b, Paragraph) for s in b.sentences)


def test_the_methods_say_which_difference_the_plan_calls_important(
    pooled: tuple[GroupsPooled, ...],
) -> None:
    models = TechniqueModels(Plan("Ours", DAY, (), important=IMPORTANT), "", (), ())
    said = text_of(pooling_methods(pooled, models))
    assert "The plan of 2026-01-01 calls a difference of more than 10 percentage points" in said
    assert "No size of difference" in text_of(pooling_methods(pooled, None))
    assert "of which there are none here" in text_of(pooling_methods((), models))
    assert pooling_methods((), None) == ()


def test_a_plan_file_takes_it_and_its_hash_tells_it(tmp_path: Path) -> None:
    path = write_draft_plan(tmp_path / "plan.toml", DAY)
    plan = read_plan(path)
    assert plan.important is None and "important = 0.05" in path.read_text(encoding="utf-8")
    text = path.read_text(encoding="utf-8").replace("level = 0.95", "level = 0.95\nimportant = 0.1")
    path.write_text(text, encoding="utf-8")
    changed = read_plan(path)
    assert changed.important == 0.1 and changed.hash != plan.hash
    write_plan(changed, tmp_path / "again.toml")
    assert read_plan(tmp_path / "again.toml") == changed


@pytest.mark.parametrize("size", ["5", "0.0", "1.0", "true", '"0.05"'])
def test_a_size_that_is_no_share_is_told_in_a_sentence(size: str, tmp_path: Path) -> None:
    path = write_draft_plan(tmp_path / "plan.toml", DAY)
    text = path.read_text(encoding="utf-8").replace(
        "level = 0.95", f"level = 0.95\nimportant = {size}")
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ValueError, match="important: found .* such as 0.05 for 5 percentage"):
        read_plan(path)
