"""The conference's numbers, read back from the slides and the page."""

from __future__ import annotations

import re

import pptx
import pytest
from meeting_reports import (
    case_code,
    conference_folder,
    entries_of,
    pptx_texts,
    service,
    shape_texts,
)
from report_numbers import all_printed, all_single, html_texts, printed, rebuilt, single

from analyses.cases.one_case import course, mrs_course, one_case, technique_rows
from analyses.documents.conference.conference_slides import QUESTIONS, conference_talk

RATIO = re.compile(r"observed/expected ratio [\d.]+ \([^()]*\)")
OF_THE_SERVICE = {"How often this happens, here and elsewhere", "Is this a signal?"}
FIXED = {"2", "95", "30", "1,000", "2000", "100"}
"""Odds multiplied by 2, 95 % intervals, 30 days, the run length wished for, Steiner's year."""


@pytest.fixture(scope="module")
def folder():
    return conference_folder()


@pytest.fixture(scope="module")
def estimates(folder):
    return rebuilt(entries_of(folder))


@pytest.fixture(scope="module")
def case():
    return one_case(service()[0].units, case_code())


@pytest.fixture(scope="module")
def document():
    return conference_talk(service()[0], case_code()).page


def test_every_number_with_its_interval_on_the_slides_is_in_the_results(folder, estimates):
    found = printed(pptx_texts(folder / "conference.pptx"))
    assert len(found) >= 4
    assert set(found) <= all_printed(estimates)


def test_the_page_prints_the_same_numbers_as_the_slides(folder):
    page = html_texts((folder / "conference.html").read_text(encoding="utf-8"))
    slides = pptx_texts(folder / "conference.pptx", notes=False)
    assert set(printed(page)) == set(printed(slides))
    assert printed(page)


def test_ratios_of_the_charts_are_those_of_the_results(folder, estimates):
    texts = pptx_texts(folder / "conference.pptx")
    found = {r for text in texts for r in RATIO.findall(text)}
    assert found
    assert found <= {e.number_text() for e in estimates}


def test_every_single_number_about_the_service_is_in_the_results(folder, estimates):
    """Slides about the service: tables, points and words of the figures."""
    texts = []
    for slide in pptx.Presentation(str(folder / "conference.pptx")).slides:
        if slide.shapes.title.text_frame.text.replace(" (continued)", "") in OF_THE_SERVICE:
            texts += [t for shape in slide.shapes for t in shape_texts(shape)
                      if "Confidential" not in t]
    said = single(texts)
    assert len(said) > 20
    years = {n for n in said if re.fullmatch(r"(19|20)\d\d", n)}
    assert said - all_single(estimates) - FIXED - years - own_counts(texts) == set()


def own_counts(texts: list[str]) -> set[str]:
    """How many points and sessions the charts count of themselves."""
    return single(m for text in texts for m in re.findall(
        r"chart of [\d,]+ |no signal in [\d,]+ sessions", text))


def test_each_estimate_of_the_document_stands_in_the_results(document, folder):
    known = {(e["id"], e["unit"], str(e["group"])): e for e in entries_of(folder)}
    assert document.estimates()
    for e in document.estimates():
        record = e.as_record()
        assert known[e.id, e.unit, str(record["group"])] == record


def test_the_days_are_those_of_the_tables(case):
    days = {e.day for e in course(case) if e.lane == "sessions"}
    sessions = case.tables["sessions"]["session_date"]
    assert days == set((sessions - sessions.min()).dt.days)
    visits = case.tables["follow_ups"]
    assert {(p.day, p.mrs) for p in mrs_course(case)} >= {
        ((d - sessions.min()).days, int(m))
        for d, m in zip(visits["follow_up_date"], visits["mrs"], strict=True)}


def test_injections_on_the_timeline_are_those_recorded(case):
    drawn = sum(e.injections for e in course(case))
    assert drawn == len(case.tables["injections"]) > 0


def test_each_injection_is_a_row_of_the_page_with_its_volume(document, case):
    (table,) = [t for t in document.tables() if t.name == "every-injection"]
    rows = technique_rows(case, service()[0].limits)
    volumes = [row[table.columns.index("Volume, mL")].text for row in table.rows[1:]]
    assert volumes == ["–" if v != v else f"{v:g}" for v in rows["agent_ml"].astype(float)]
    outside = [row[-1].text for row in table.rows[1:]]
    broken = (rows[["mixing", "dead_space", "rate", "pause", "reflux", "halted"]] == False)  # noqa: E712
    assert [not text.startswith(("none", "another agent")) for text in outside] == (
        broken.fillna(False).any(axis=1).tolist())


@pytest.mark.parametrize("lesions", [1, 2])
def test_no_injection_is_lost_on_the_slides(lesions):
    """Each stands in a line of its own, or is counted in its session's line."""
    units = service()[0].units
    per_case = units.lesions.groupby("patient_id").size()
    codes = [code for code in per_case[per_case == lesions].index
             if code in set(units.injections["patient_id"])]
    assert codes
    for code in codes[:12]:
        slides = conference_talk(service()[0], code).slides
        found = {t.name: t for t in slides.tables() if t.name in ("technique", "other-sessions")}
        told = len(found["technique"].rows) if "technique" in found else 0
        if "other-sessions" in found:
            at = found["other-sessions"].columns.index("Injections")
            told += sum(int(row[at].text) for row in found["other-sessions"].rows)
        assert told == (units.tables["injections"]["patient_id"] == code).sum() > 0


def test_questions_and_places_to_write_are_there(document):
    texts = {s.text for b in document.blocks() if hasattr(b, "items") for s in b.items}
    assert set(QUESTIONS) <= texts
    blank = {t.name: [[c.text for c in row] for row in t.rows] for t in document.tables()}
    assert all(row[-2:] == ["", ""] for row in blank["findings"])
    assert all(row[-1] == "" for row in blank["after"])
