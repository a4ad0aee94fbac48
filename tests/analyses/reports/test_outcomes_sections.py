"""The sections as content: every number an estimate, nothing said that the data cannot say."""

from __future__ import annotations

import re

import pytest
from small_cohort import small_tables

from analyses.content.blocks import Document, Picture, Section, Table
from analyses.documents.series.outcomes_sections import (
    baseline_section,
    function_section,
    operators_section,
    procedures_section,
    resection_section,
)
from analyses.documents.series.questions_sections import (
    comparisons_section,
    flow_picture,
    missing_section,
)
from analyses.measures.results import Results, work_out
from analyses.population.unit_frames import units_of
from registry.schema import TABLES as SCHEMA

BUILDERS = (baseline_section, procedures_section, resection_section, function_section,
            comparisons_section, missing_section, operators_section)


@pytest.fixture(scope="module")
def results() -> Results:
    return work_out(units_of(small_tables(), manifest={"purpose": "research"}))


@pytest.fixture(scope="module")
def sections(results: Results) -> list[Section]:
    return [build(results) for build in BUILDERS]


def texts(section: Section) -> list[str]:
    found: list[str] = []
    for block in section.blocks:
        for sentence in (*getattr(block, "sentences", ()), *getattr(block, "items", ())):
            found.append(sentence.text)
        if isinstance(block, Table):
            found += [block.caption, *block.columns, *block.notes]
            found += [cell.text for row in block.rows for cell in row]
        if isinstance(block, Picture):
            found += [block.caption, block.alt]
    return found


def test_every_row_of_a_table_fits_its_headings(sections: list[Section]) -> None:
    for section in sections:
        for block in section.blocks:
            if isinstance(block, Table):
                assert {len(row) for row in block.rows} <= {len(block.columns)}, block.name


def test_names_of_tables_and_figures_are_unique(sections: list[Section]) -> None:
    document = Document("x", "x", "x", tuple(sections))
    names = [block.name for block in (*document.tables(), *document.pictures())]
    assert len(names) == len(set(names))


def test_no_section_claims_a_cause(sections: list[Section]) -> None:
    said = " ".join(text for section in sections for text in texts(section)).lower()
    assert not re.findall(r"\bcaused|\bcauses\b|because of the embol|thanks to|reduces|prevents",
                          said)


def test_confounding_is_said_with_every_table_by_extent(sections: list[Section]) -> None:
    section = next(s for s in sections if s.title == "Resection")
    for block in section.blocks:
        if isinstance(block, Table) and block.name.startswith("resection-measures-by"):
            assert any("confounded by indication" in note for note in block.notes)
    assert any("confounded by indication" in text for text in texts(section))


def test_the_limits_say_whose_they_are(sections: list[Section]) -> None:
    section = next(s for s in sections if s.title == "Procedures and technique")
    said = " ".join(texts(section))
    assert "common practice, no source" in said
    assert "instructions for use and local protocol come first" in said


def test_operator_codes_stand_in_their_own_section_only(sections: list[Section]) -> None:
    for section in sections:
        found = any("OP01" in text for text in texts(section))
        assert found == (section.title == "By operator code")


def test_a_table_shows_the_numbers_of_its_estimates(
    sections: list[Section], results: Results
) -> None:
    known = {id(e) for e in results.estimates}
    section = next(s for s in sections if s.title == "Patients and lesions")
    table = next(b for b in section.blocks if isinstance(b, Table))
    cells = [c for row in table.rows for c in row if c.estimate is not None]
    assert cells and all(id(c.estimate) in known for c in cells)
    for cell in cells:
        if cell.estimate.kind == "proportion" and cell.estimate.n:  # type: ignore[union-attr]
            size = cell.text.partition(";")[0] == f"n = {cell.estimate.n}"  # type: ignore[union-attr]
            assert size or cell.text.startswith(
                f"{cell.estimate.events} (")  # type: ignore[union-attr]


def test_a_group_of_fewer_than_five_has_its_counts_and_no_comparison(results: Results) -> None:
    """Two of the ten patients had bled before treatment."""
    table = next(b for b in baseline_section(results).blocks if isinstance(b, Table))
    sizes = next(row for row in table.rows if row[0].text == "Patients")
    bled = table.columns.index("Ruptured: yes")
    assert sizes[bled].text == "n = 2; too few to compare"
    sex = next(row for row in table.rows if row[0].text == "Sex")
    assert sex[-1].text == "too few to compare"
    female = next(row for row in table.rows if row[0].text.strip() == "female")
    assert female[bled].text == "2 (100.0 %)" or female[bled].text == "2 (100 %)"
    assert all(e.value is None for e in results.estimates
               if e.id.endswith(".smd") and e.unit == "patient")


def test_a_baseline_table_that_leaves_shows_no_small_cell(results: Results) -> None:
    section = baseline_section(results.outside())
    table = next(b for b in section.blocks if isinstance(b, Table))
    assert table.columns == ("Characteristic", "All")
    assert any(cell.text == "not shown" for row in table.rows for cell in row)
    assert "A grade or score describes groups, does not decide treatment." in table.notes


def test_figures_can_be_drawn_and_say_their_denominators(
    sections: list[Section], results: Results
) -> None:
    pictures = [b for s in sections for b in s.blocks if isinstance(b, Picture)]
    for picture in (*pictures, flow_picture(results)):
        figure = picture.draw(7.0)
        assert figure.get_size_inches()[0] == pytest.approx(7.0)
        assert picture.alt


def test_the_flow_in_words_holds_its_numbers(results: Results) -> None:
    alt = flow_picture(results).alt
    assert "Recorded 10" in alt and "Embolized 8" in alt
    assert "Function 7, not in it 2 without a visit at least 90 days" in alt


def test_a_freeze_without_patients_gives_words_and_no_failure() -> None:
    empty = {name: table.empty() for name, table in SCHEMA.items()}
    results = work_out(units_of(empty, manifest={}))
    for build in BUILDERS:
        section = build(results)
        for block in section.blocks:
            if isinstance(block, Picture):
                block.draw(7.0)
