"""The conference's files: nothing that identifies, the same each time, truthful for any case."""

from __future__ import annotations

import re
import zipfile
from fnmatch import fnmatch
from pathlib import Path

import pandas as pd
import pptx
import pytest
from meeting_reports import (
    case_code,
    conference_folder,
    results_of,
    service,
    shape_texts,
)
from pptx.util import Pt
from registry_cases import with_cells
from small_cohort import small_tables

from analyses.cases.case_events import case_events
from analyses.cases.one_case import CaseError, course, one_case, similar_cases
from analyses.commands.who_may_see import CONFERENCE, outputs_of
from analyses.content.plain_text import sections_text
from analyses.documents.conference.case_tables import similar_blocks
from analyses.documents.conference.conference_slides import conference_talk
from analyses.renderers.html_page import page
from analyses.renderers.pptx_slides import write_pptx

STUDY_CODE = re.compile(r"\b[A-Z]{1,4}-\d{3,6}\b")
OPERATOR = re.compile(r"\bOP\d{2,4}\b")
DAY = re.compile(r"\b(19|20)\d\d-\d\d-\d\d\b")


@pytest.fixture(scope="module")
def folder() -> Path:
    return conference_folder()


@pytest.fixture(scope="module")
def small():
    return results_of(small_tables())


def said(results, code) -> str:
    """What the talk about a case says: text, tables, words of its figures, notes; all drawn."""
    document = conference_talk(results, code).page
    told = [document.title, document.subtitle, sections_text(document.sections)]
    told += [note for section in document.sections for note in section.notes]
    for picture in document.pictures():
        assert picture.draw(6.6).get_axes()
        told.append(picture.alt)
    return "\n".join(told)


def parts(path: Path) -> dict[str, str]:
    """The text of every part of a package, pictures in letters left out."""
    with zipfile.ZipFile(path) as package:
        return {name: package.read(name).decode("utf-8", "ignore")
                for name in package.namelist() if not name.endswith((".png", ".jpeg"))}


def test_every_file_stands_in_the_list_of_who_may_see_what(folder):
    named = [output.name for output in outputs_of(CONFERENCE)]
    written = {path.name for path in folder.iterdir()}
    assert written and all(any(fnmatch(name, one) for one in named) for name in written)


def test_no_code_site_operator_or_day_in_any_part_of_the_slides(folder):
    site = service()[0].units.tables["patients"]["site_id"].iloc[0]
    for name, text in parts(folder / "conference.pptx").items():
        assert not STUDY_CODE.search(text), name
        assert not OPERATOR.search(text), name
        assert site not in text, name
        days = set(m.group() for m in DAY.finditer(text))
        # The package's own properties carry the one day that says nothing.
        assert days <= ({"2000-01-01"} if name.startswith("docProps") else set()), name


def test_no_code_site_operator_or_day_on_the_page_or_in_the_results(folder):
    site = service()[0].units.tables["patients"]["site_id"].iloc[0]
    text = (folder / "conference.html").read_text(encoding="utf-8")
    numbers = (folder / "results.json").read_text(encoding="utf-8")
    for part in (text, numbers.replace("2024-06-01", "")):
        assert not STUDY_CODE.search(part)
        assert not OPERATOR.search(part)
        assert not DAY.search(part)
        assert f'"{site}"' not in part and f">{site}<" not in part


def test_the_files_name_no_author(folder):
    about = pptx.Presentation(str(folder / "conference.pptx")).core_properties
    assert (about.author, about.last_modified_by) == ("", "")


def test_made_twice_the_slides_and_the_page_are_the_same_bytes(folder, tmp_path):
    talk = conference_talk(service()[0], case_code())
    write_pptx(talk.slides, tmp_path / "again.pptx")
    assert (tmp_path / "again.pptx").read_bytes() == (folder / "conference.pptx").read_bytes()
    assert page(talk.page) == (folder / "conference.html").read_text(encoding="utf-8")


def test_slides_have_titles_tables_headers_and_pictures_words_and_vectors(folder):
    made = pptx.Presentation(str(folder / "conference.pptx"))
    for slide in made.slides:
        assert slide.shapes.title.text_frame.text
        for shape in slide.shapes:
            if shape.has_table:
                assert shape.table.first_row
                assert shape_texts(shape)[-1]
            if shape.shape_type == 13:  # a picture
                assert len(shape_texts(shape)[-1]) > 20
    vectors = [name for name in parts(folder / "conference.pptx") if name.endswith(".svg")]
    assert len(vectors) == sum(s.shape_type == 13 for p in made.slides for s in p.shapes) >= 4


def test_letters_are_large_enough_for_the_back_row(folder):
    """18 points in tables, 14 in captions, 12 at the foot (common practice, no source)."""
    for slide in pptx.Presentation(str(folder / "conference.pptx")).slides:
        for shape in slide.shapes:
            if shape.has_table:
                sizes = {p.font.size for row in shape.table.rows for c in row.cells
                         for p in c.text_frame.paragraphs}
                assert min(sizes) >= Pt(18)
            elif shape.has_text_frame:
                assert all(p.font.size is None or p.font.size >= Pt(12)
                           for p in shape.text_frame.paragraphs)


def test_nothing_stands_below_the_foot_of_a_slide_or_over_its_edge(folder):
    made = pptx.Presentation(str(folder / "conference.pptx"))
    for slide in made.slides:
        for shape in slide.shapes:
            assert shape.left >= 0 and shape.left + shape.width <= made.slide_width
            assert shape.top + shape.height <= made.slide_height


def test_every_slide_has_speaker_notes(folder):
    made = pptx.Presentation(str(folder / "conference.pptx"))
    assert [s.shapes.title.text_frame.text for s in made.slides if not s.has_notes_slide] == []


def test_a_case_without_an_event_says_so():
    harmless = small_tables()["resections"].assign(deficit="none")
    results = results_of({**small_tables(), "resections": harmless})
    assert "A-0001" not in set(case_events(results.units)["patient_id"])
    text = said(results, "A-0001")
    assert "No event is recorded for this case" in text
    assert "Similar earlier cases" not in text


def test_a_fatal_case_shows_the_death_and_its_other_event(small):
    text = said(small, "A-0004")
    assert re.search(r"Death from it +yes", text)
    assert "event 2 of 2 on record, the gravest of any phase" in text
    assert "Other events of this case, of every phase" in text
    assert "vessel perforation" in text
    assert "day 24: 6" in text


def test_another_event_of_the_case_is_shown_when_it_is_asked_for(small):
    talk = conference_talk(small, "A-0004", 1)
    assert talk.choice == "event 1 of 2 on record, not the gravest"
    assert talk.slides.subtitle.endswith("vessel perforation")
    with pytest.raises(CaseError, match="no event 3; it has 1: vessel perforation; 2: intra"):
        conference_talk(small, "A-0004", 3)


def test_a_case_with_two_lesions_shows_both_beside_each_other(small):
    talk = conference_talk(small, "A-0002")
    (table,) = [t for t in talk.slides.tables() if t.name == "lesions-1"]
    assert table.columns[1:] == ("Lesion 1", "Lesion 2")
    (planned,) = [t for t in talk.slides.tables() if t.name.startswith("planned")]
    assert planned.caption == "Procedure of day 0"
    assert planned.columns[1:] == ("Plan, lesion 1", "Done, lesion 1", "Plan, lesion 2",
                                   "Done, lesion 2")


@pytest.mark.parametrize(("code", "kind", "phase"), [
    ("A-0006", "new deficit after the operation", "resection"),
    ("A-0007", "radiation injury", "radiosurgery"),
    ("A-0009", "infection", "resection")])
def test_an_event_of_another_phase_is_the_event_discussed(small, code, kind, phase):
    talk = conference_talk(small, code)
    assert talk.slides.subtitle.endswith(kind)
    (table,) = [t for t in talk.slides.tables() if t.name == "event"]
    assert ("Phase", phase) in {(row[0].text, row[1].text) for row in table.rows}
    told = " ".join(said(small, code).split())
    assert "This event is none of theirs, so they can say nothing of it" in told


def test_an_operation_is_shown_as_planned_and_as_it_went(small):
    (table,) = [t for t in conference_talk(small, "A-0006").slides.tables()
                if t.name == "planned-operation"]
    told = {row[0].text: (row[1].text, row[2].text) for row in table.rows}
    assert told["Urgency"] == ("planned", "day 19")
    assert told["Blood"][1].startswith("loss 800 mL")
    assert told["New deficit"][1] == "permanent"


def test_what_a_review_judged_stands_on_the_last_slide_only(small):
    *before, last = conference_talk(small, "A-0004").slides.sections
    assert last.title == "After the discussion"
    assert "Preventable" in sections_text((last,))
    assert "reventable" not in sections_text(before)
    assert "Learning point 1" in sections_text((last,))


def test_a_limit_that_nobody_agreed_on_is_said_as_such_and_nothing_is_shouted(small):
    tables = with_cells(small_tables(), "injections", 0, reflux_limit_mm=None)
    results = results_of(with_cells(tables, "complications", 0, patient_id="A-0001"))
    slides = conference_talk(results, "A-0001").slides
    (table,) = [t for t in slides.tables() if t.name == "technique"]
    assert [row[-1].text for row in table.rows] == [
        "no reflux limit recorded", "shaking, DMSO, rate, pause, reflux, halt"]


def similar(count: int) -> pd.DataFrame:
    return pd.DataFrame({"sm_grade": ["3"] * count, "ruptured": "yes", "intent": "before resection",
                         "mechanism": "reflux", "rescue": "none", "deficit": "transient"})


@pytest.mark.parametrize("count", [1, 4])
def test_a_few_similar_cases_are_shown_without_what_could_tell_who_they_were(count):
    (table,) = similar_blocks(similar(count))
    assert table.columns == ("No", "Mechanism", "Rescue", "Deficit")
    assert len(table.rows) == count
    assert "left out" in table.notes[0]


def test_five_similar_cases_are_shown_with_grade_rupture_and_intent():
    (table,) = similar_blocks(similar(5))
    assert {"Spetzler–Martin grade", "Ruptured", "Intent"} <= set(table.columns)


def test_similar_cases_are_earlier_and_of_the_same_kind():
    units = service()[0].units
    latest = units.events.sort_values("onset_date").iloc[-1]
    case = one_case(units, latest["patient_id"])
    rows = similar_cases(units, case)
    assert (rows["kind"] == case.index_event["kind"]).all()
    assert (rows["onset_date"] < case.index_event["onset_date"]).all()


def test_where_events_are_too_few_there_is_no_chart_and_the_slides_say_so(small):
    text = said(small, "A-0004")
    assert "too few" in text


def test_an_unknown_case_is_refused_in_words(small):
    with pytest.raises(CaseError, match="no patient Z-9999"):
        conference_talk(small, "Z-9999")


def test_a_case_whose_lesion_bled_again_shows_it_on_the_timeline(small):
    bleeds = small.units.tables["haemorrhages"]
    later = bleeds[bleeds["complication_no"].isna()]
    for code in later["patient_id"].unique():
        if code not in set(small.units.patients["patient_id"]):
            continue
        case = one_case(small.units, code)
        mine = later[(later["patient_id"] == code) & (later["haemorrhage_date"] > case.day_zero)]
        shown = [e for e in course(case) if e.words.startswith("bleed")]
        assert len(shown) == len(pd.DataFrame(mine))
