"""What a notebook is shown: the documents' own HTML, and the same as plain text."""

from __future__ import annotations

import pytest
from small_cohort import small_tables

from analyses.content.blocks import Caution, Cell, Document, Picture, Section, Sentence, Table
from analyses.documents.notebook_show import show, show_cases, show_section
from analyses.documents.quality.data_quality_sections import data_quality_sections
from analyses.documents.series.literature_beside import COMPARED, NEEDED_TOPICS, lines_for
from analyses.documents.series.literature_beside import literature_sections as beside
from analyses.measures.results import work_out_topics
from analyses.population.unit_frames import units_of

MANIFEST = {"date": "2022-06-01", "purpose": "quality", "freeze_hash": "0" * 64, "left_out": {}}
TABLE = Table("t", "A < B", ("What", "n"), ((Cell("x & y", heading=True), Cell("3")),))


@pytest.fixture(scope="module")
def results():
    return work_out_topics(NEEDED_TOPICS, units_of(small_tables(), manifest=MANIFEST))


def test_html_is_escaped_and_tables_have_no_number_of_their_own() -> None:
    html = show(TABLE, TABLE).html
    assert "A &lt; B" in html and "x &amp; y" in html and "<script" not in html
    assert "Table 1" not in html and html.count("<table") == 2


def test_plain_text_says_the_same() -> None:
    text = str(show(Caution("Careful", (Sentence("It is few."),)), TABLE))
    assert "CAREFUL" in text and "x & y  3" in text


def test_a_section_of_a_document_keeps_the_documents_numbers() -> None:
    second = Table("u", "Second", ("n",), ((Cell("1"),),))
    document = Document("d", "D", "", (Section("One", (TABLE,)), Section("Two", (second,)),
                                       Section("Part", (), level=2)))
    shown = show_section(document, "Two")
    assert "Table 2. Second" in shown.html and len(shown.sections) == 2
    with pytest.raises(KeyError, match="One, Two"):
        show_section(document, "Three")
    assert "Nothing" in str(show_section(document, "Three", otherwise="Nothing."))


def test_an_estimate_is_shown_as_its_sentence_and_its_cases(results) -> None:
    found = results.one("complication.any", "session")
    assert found.number_text().split(" ")[0].replace("/", " of ") in str(show(found))
    cases = str(show_cases(found))
    assert all(row.key in cases for row in found.counted if row.event)
    assert not any(row.key in cases for row in found.counted if not row.event)


def test_what_cannot_be_shown_is_refused() -> None:
    with pytest.raises(TypeError, match="No way to show a float"):
        show(0.5)


def test_part_of_the_results_is_the_same_as_in_all_of_them(results) -> None:
    from analyses.measures.results import work_out

    whole = work_out(units_of(small_tables(), manifest=MANIFEST))
    for e in results.estimates:
        assert whole.one(e.id, e.unit, e.group) == e
    with pytest.raises(ValueError, match="no topic obliterations; there are who is"):
        work_out_topics(["obliterations"], units_of(small_tables(), manifest=MANIFEST))


def test_every_number_of_the_data_quality_sections_is_an_estimate() -> None:
    tables = small_tables()
    from registry.freeze.worked_out import worked_out_tables
    from registry.quality.completeness import completeness

    tables |= {name: spec.empty() for name, spec in worked_out_tables().items()}
    sections = data_quality_sections(tables, MANIFEST)
    shown = [cell.estimate for section in sections for block in section.blocks
             if isinstance(block, Table) and block.name == "completeness"
             for row in block.rows for cell in row if cell.estimate]
    wanted = completeness(tables)
    wanted = wanted[wanted["expected"] > 0]
    assert [(e.events, e.n) for e in shown] == list(
        zip(wanted["recorded"], wanted["expected"], strict=True))


def test_our_rates_stand_beside_published_ones_of_the_same_unit(results) -> None:
    sections = beside(results)
    compared = [one for one in COMPARED if lines_for(one)]
    assert len(sections) == len(compared) + 1
    for one, section in zip(compared, sections, strict=False):
        lines = lines_for(one)
        assert all((line.unit, line.code) == (one.unit, one.code) for line in lines)
        table = next(b for b in section.blocks if isinstance(b, Table))
        assert table.rows[0][-2].estimate == results.one(one.id, one.unit)
        for picture in (b for b in section.blocks if isinstance(b, Picture)):
            assert "pooled" in picture.caption
