"""A quarter's digest: every event of any phase, reviewed or not, and the actions; no identity."""

from __future__ import annotations

import re

import pytest
from meeting_reports import results_of
from office_pages import pages, pdf_of
from small_cohort import small_tables

from analyses.cases.one_case import CaseError
from analyses.content.plain_text import sections_text
from analyses.documents.conference.quarter_digest import digest_document
from analyses.documents.report_making import Wish, check_wish
from analyses.renderers.docx_document import write_docx
from analyses.renderers.report_folder import ReportError


@pytest.fixture(scope="module")
def results():
    return results_of(small_tables())


def text(results, quarter: str) -> str:
    return sections_text(digest_document(results, quarter)[0].sections)


def test_the_gravest_event_of_the_quarter_stands_first(results):
    """Patients 2 (April), 3 (May) and 4 (two in June) of the small cohort."""
    document, _ = digest_document(results, "2020-Q2")
    (table,) = [t for t in document.tables() if t.name == "quarter-events"]
    assert [(row[1].text, row[2].text, row[4].text) for row in table.rows] == [
        ("June", "intracranial haemorrhage", "death"),
        ("May", "intracranial haemorrhage", "permanent deficit"),
        ("April", "ischaemic stroke", "transient deficit, or not yet known"),
        ("June", "vessel perforation", "no symptoms")]
    told = " ".join(text(results, "2020-Q2").split())
    assert "5 embolization sessions and 4 events of any phase fall into the quarter" in told
    assert "Discussed at a conference: 0 of 4; reviewed by two readers or more: 0 of 4" in told


def test_an_event_of_another_phase_is_in_it(results):
    assert "radiation injury" in text(results, "2021-Q2")


def test_a_quarter_without_an_event_says_so(results):
    told = " ".join(text(results, "2019-Q1").split())
    assert "no embolization sessions and no events of any phase" in told
    assert "No event of any phase is recorded in the quarter" in told


def test_no_study_code_reader_or_day_is_in_it(results):
    assert not re.search(r"[A-Z]-\d{4}|RD\d\d|\d{4}-\d\d-\d\d", text(results, "2020-Q2"))


@pytest.mark.parametrize("quarter", ["2020", "2020-Q5", "Q2", "2020-Q2 "])
def test_what_is_no_quarter_is_refused_in_a_sentence(results, quarter):
    with pytest.raises(CaseError, match="is no quarter; write the year and Q1 to Q4"):
        digest_document(results, quarter)


def test_a_digest_is_not_about_a_case(results):
    with pytest.raises(ReportError, match="about a quarter, not about a case"):
        check_wish("conference", Wish(cases=("A-0004",), digest="2020-Q2"))
    with pytest.raises(ReportError, match="--digest is for the report for conference"):
        check_wish("series", Wish(digest="2020-Q2"))


@pytest.mark.desktop
def test_it_has_at_most_two_pages(results, tmp_path):
    write_docx(digest_document(results, "2020-Q2")[0], tmp_path / "digest.docx")
    assert pages(pdf_of(tmp_path / "digest.docx", tmp_path)) <= 2
