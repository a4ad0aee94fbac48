"""Every slide measured: nothing over its edges, no small table, in our template and another's."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pptx
import pytest
from meeting_reports import PATIENTS, SEED, results_of, service
from office_pages import pdf_of
from pptx.util import Inches, Pt
from small_cohort import small_tables

from analyses.cases.case_events import case_events
from analyses.cases.case_hours import procedure_rows
from analyses.cases.one_case import one_case
from analyses.documents.conference.conference_slides import conference_talk
from analyses.renderers.pptx_slides import write_pptx
from analyses.renderers.pptx_template import TemplateError, own_template
from synthetic_cohort import CohortSettings, make_cohort
from synthetic_cohort.reviews_tables import reviews_tables

KINDS = ("embolization", "two lesions", "resection", "no event", "follow-up")


@cache
def small():
    return results_of(small_tables())


@cache
def case_of(kind: str) -> str:
    """A case of the fictional service of this kind."""
    units = service()[0].units
    events, lesions = case_events(units), units.lesions.groupby("patient_id").size()
    if kind == "two lesions":
        return str(sorted(set(lesions[lesions > 1].index) & set(units.sessions["patient_id"]))[0])
    if kind == "no event":
        return str(sorted(set(units.sessions["patient_id"]) - set(events["patient_id"]))[0])
    return str(events[events["phase"] == kind].iloc[0]["patient_id"])


@pytest.fixture(scope="module", params=KINDS)
def slides(request, tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("slides") / "conference.pptx"
    write_pptx(conference_talk(service()[0], case_of(request.param)).slides, path)
    return path


def test_a_talk_has_11_to_14_slides(slides):
    assert 11 <= len(pptx.Presentation(str(slides)).slides) <= 14


def tables_of(path: Path) -> list[tuple[str, Any]]:
    return [(shape.name, shape.table) for slide in pptx.Presentation(str(path)).slides
            for shape in slide.shapes if shape.has_table]


def test_read_and_discussed_before_and_with_open_actions_it_is_14_slides_at_most(tmp_path):
    cohort = make_cohort(PATIENTS, SEED, settings=CohortSettings.demo().but(change_at=60))
    results = service()[0]
    units = replace(results.units, tables={**results.units.tables, **reviews_tables(cohort)})
    discussed = units.tables["conference_reviews"]["patient_id"].iloc[-1]
    for code in {str(discussed), case_of("two lesions")}:
        path = tmp_path / f"{code}.pptx"
        write_pptx(conference_talk(replace(results, units=units), code).slides, path)
        titles = [s.shapes.title.text_frame.text for s in pptx.Presentation(str(path)).slides]
        assert len(titles) <= 14 and "What we decided before" in titles
        assert "After the discussion (continued)" not in titles


def test_two_lesions_of_one_procedure_stand_side_by_side_and_no_injection_is_lost(tmp_path):
    units = small().units
    people = units.lesions["patient_id"].value_counts()
    code = next(code for code in sorted(people[people > 1].index)
                if len(procedure_rows(one_case(units, code))) == 2)
    path = tmp_path / "two.pptx"
    write_pptx(conference_talk(small(), code).slides, path)
    (planned,) = [table for name, table in tables_of(path) if "planned" in name]
    assert [cell.text for cell in planned.rows[0].cells][1:] == [
        "Plan, lesion 1", "Done, lesion 1", "Plan, lesion 2", "Done, lesion 2"]
    shown = sum(len(table.rows) - 1 for name, table in tables_of(path) if "technique" in name)
    assert shown == (units.tables["injections"]["patient_id"] == code).sum()


def test_every_shape_lies_inside_its_slide_and_no_table_is_small(slides):
    made = pptx.Presentation(str(slides))
    for slide in made.slides:
        assert not slide.shapes.title.text_frame.text.startswith(" ")
        for shape in slide.shapes:
            assert shape.left >= 0 and shape.left + shape.width <= made.slide_width
            assert shape.top >= 0 and shape.top + shape.height <= made.slide_height
            if shape.has_table:
                assert sum(row.height for row in shape.table.rows) + shape.top <= Inches(7.0)
                assert all(p.font.size >= Pt(18) for row in shape.table.rows
                           for cell in row.cells for p in cell.text_frame.paragraphs)


def test_places_for_pictures_are_real_placeholders(slides):
    (found,) = [s for s in pptx.Presentation(str(slides)).slides
                if s.shapes.title.text_frame.text.startswith("Angiogram")]
    assert sum(p.placeholder_format.type == 18 for p in found.placeholders) == 4


@pytest.fixture
def hospital(tmp_path) -> Path:
    """A template of another size, with a slide of its own in it and no place for pictures."""
    made = pptx.Presentation()
    made.slides.add_slide(made.slide_layouts[0]).shapes.title.text = "The hospital's example"
    made.save(str(tmp_path / "hospital.pptx"))
    return tmp_path / "hospital.pptx"


def test_a_hospitals_template_gives_its_size_and_layouts_and_loses_its_example(hospital, tmp_path):
    write_pptx(conference_talk(small(), "A-0004").slides, tmp_path / "talk.pptx", hospital)
    made = pptx.Presentation(str(tmp_path / "talk.pptx"))
    assert made.slide_width == Inches(10)
    titles = [slide.shapes.title.text_frame.text for slide in made.slides]
    assert titles[0] == "Case for discussion" and "The hospital's example" not in titles
    assert {slide.slide_layout.name for slide in made.slides} <= {
        layout.name for layout in pptx.Presentation(str(hospital)).slide_layouts}
    for slide in made.slides:
        for shape in slide.shapes:
            assert shape.left >= 0 and shape.left + shape.width <= made.slide_width
            assert shape.top + shape.height <= made.slide_height


def test_our_own_template_may_be_taken_as_a_hospitals(tmp_path):
    own_template().made.save(str(tmp_path / "ours.pptx"))
    slides = conference_talk(small(), "A-0004").slides
    write_pptx(slides, tmp_path / "one.pptx")
    write_pptx(slides, tmp_path / "two.pptx", tmp_path / "ours.pptx")
    one, two = (pptx.Presentation(str(tmp_path / f"{name}.pptx")) for name in ("one", "two"))
    assert [len(s.shapes) for s in one.slides] == [len(s.shapes) for s in two.slides]


def test_a_file_that_is_no_template_is_refused_in_a_sentence(tmp_path):
    (tmp_path / "notes.pptx").write_text("no slides")
    with pytest.raises(TemplateError, match="cannot be read as a presentation"):
        write_pptx(conference_talk(small(), "A-0004").slides, tmp_path / "t.pptx",
                   tmp_path / "notes.pptx")


def test_a_template_that_lacks_a_layout_is_refused_in_a_sentence(tmp_path):
    made = pptx.Presentation()
    for layout in list(made.slide_layouts)[1:]:
        made.slide_layouts.remove(layout)
    made.save(str(tmp_path / "bare.pptx"))
    with pytest.raises(TemplateError, match="has no layout with a title and one place"):
        write_pptx(conference_talk(small(), "A-0004").slides, tmp_path / "t.pptx",
                   tmp_path / "bare.pptx")


@pytest.mark.desktop
def test_on_the_rendered_page_every_word_stands_above_the_foot(slides, tmp_path):
    """poppler's boxes of every word: inside the page, and each table's last word is on it."""
    import re
    import subprocess

    pdf = pdf_of(slides, tmp_path)
    told = subprocess.run(["pdftotext", "-bbox", str(pdf), "-"], check=True, capture_output=True,
                          text=True).stdout
    shown = told.split("<page ")[1:]
    made = pptx.Presentation(str(slides))
    assert len(shown) == len(made.slides)
    for page, slide in zip(shown, made.slides, strict=True):
        width, height = map(float, re.search(r'width="([\d.]+)" height="([\d.]+)"', page).groups())
        boxes = re.findall(
            r'xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)<', page)
        assert all(float(x) >= 0 and float(right) <= width and float(y) >= 0
                   and float(low) <= height for x, y, right, low, _ in boxes)
        words = {word for *_, word in boxes}
        for shape in slide.shapes:
            if shape.has_table:
                for row in shape.table.rows:
                    assert set(re.findall(r"[A-Za-z]{4,}", row.cells[0].text)) <= {
                        part for word in words for part in re.findall(r"[A-Za-z]{4,}", word)}
