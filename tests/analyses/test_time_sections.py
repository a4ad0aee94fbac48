"""Sections on haemorrhage, time and events: what they show, and what must not leave the service."""

from __future__ import annotations

import re

import pytest
from small_cohort import small_tables

from analyses.content.blocks import Cell, Picture, Section, Table
from analyses.documents.series.event_sections import complication_detail_section, events_table
from analyses.documents.series.time_sections import haemorrhage_section, over_time_section
from analyses.measures.declared import about
from analyses.measures.results import Results, work_out_topics
from analyses.population.unit_frames import Units, units_of
from synthetic_cohort import make_cohort

SECTIONS = (haemorrhage_section, over_time_section, complication_detail_section)


def results_of(units: Units) -> Results:
    """The estimates that these sections need, and those of complications."""

    topics = ("complications", "complications in detail", "haemorrhage", "over time",
              "groups over time")
    return work_out_topics(topics, units)


@pytest.fixture(scope="module", params=["ten patients", "a service", "nobody"])
def results(request: pytest.FixtureRequest) -> Results:
    small = small_tables()
    tables = {"ten patients": small, "a service": make_cohort(120, 4).tables,
              "nobody": {name: table.iloc[:0] for name, table in small.items()}}
    return results_of(units_of(tables[request.param]))


def cells(section: Section) -> list[Cell]:
    return [cell for block in section.blocks if isinstance(block, Table)
            for row in block.rows for cell in row]


def test_every_section_is_made_and_every_figure_drawn(results: Results) -> None:
    for make in SECTIONS:
        for block in make(results).blocks:
            if isinstance(block, Picture):
                assert block.alt.startswith(block.caption)
                assert block.draw(6.3).get_axes()


def test_every_number_in_a_table_is_an_estimate_or_counts_of_one(results: Results) -> None:
    for make in SECTIONS:
        shown = [c for c in cells(make(results))
                 if re.search(r"\d/\d+ \(\d|per 100 patient-years,|\d % \(", c.text)]
        assert all(c.estimate is not None for c in shown)


def test_every_row_of_a_table_fills_its_columns(results: Results) -> None:
    tables = [b for make in SECTIONS for b in make(results).blocks if isinstance(b, Table)]
    assert all(len(row) == len(t.columns) for t in tables for row in t.rows)


def test_every_estimate_has_its_words(results: Results) -> None:
    missing = {e.id for e in results.estimates if about(e.id).label == e.id}
    assert not missing


def test_the_list_that_may_leave_names_no_code_and_no_date() -> None:
    results = results_of(units_of(small_tables()))
    inside, outside = (events_table(results, study_codes=codes) for codes in (True, False))
    assert len(inside.rows) == len(outside.rows) == 10
    said = " ".join(cell.text for row in outside.rows for cell in row)
    assert not re.search(r"A-\d{4}|\d{4}-\d{2}-\d{2}", said)
    assert outside.rows[2][0].text == outside.rows[3][0].text.replace("event 2", "event 1")
    assert "A-0004/1/2" in {row[0].text for row in inside.rows}


def test_events_placed_by_date_say_so() -> None:
    rows = events_table(results_of(units_of(small_tables()))).rows
    by_date = {row[0].text: row[1].text for row in rows if "by date" in row[1].text}
    assert by_date["A-0003/1/1"] == "A-0003/1/1 (by date)"
    # An event with no session before it is placed nowhere.
    assert "A-0009/1/1" not in by_date
