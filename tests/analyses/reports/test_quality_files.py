"""The quality report's files: what may leave names nobody; complete and truthful for any data."""

from __future__ import annotations

import json
import re
import zipfile
from fnmatch import fnmatch
from pathlib import Path
from typing import Any

import docx
import pandas as pd
import pytest
from meeting_reports import quality_folder, results_of, service
from small_cohort import small_tables

from analyses.commands.who_may_see import QUALITY, outputs_of
from analyses.content.plain_text import sections_text
from analyses.documents.quality.quality_report import quality_document, quality_work
from analyses.monitoring.project import EXAMPLE, read_project
from analyses.renderers.docx_document import write_docx
from analyses.renderers.html_page import page
from registry.schema import TABLES
from synthetic_cohort.quality_words import quality_words

STUDY_CODE = re.compile(r"\b[A-Z]{1,4}-\d{3,6}\b")
OPERATOR = re.compile(r"\bOP\d{2,4}\b")
DAY = re.compile(r"\b(?:19|20)\d\d-\d\d-\d\d\b")
FREEZE_DAY = "2024-06-01"


@pytest.fixture(scope="module")
def folder() -> Path:
    return quality_folder()


def test_every_file_stands_in_the_list_of_who_may_see_what(folder):
    named = [output.name for output in outputs_of(QUALITY)]
    written = {path.name for path in folder.iterdir()} - {"words.toml"}
    assert written and all(any(fnmatch(name, one) for one in named) for name in written)


def test_what_may_leave_has_no_code_no_operator_and_no_day_of_a_patient(folder):
    change = DAY.findall((folder / "words.toml").read_text(encoding="utf-8"))
    with zipfile.ZipFile(folder / "quality-report-to-share.docx") as package:
        texts = {n: package.read(n).decode("utf-8", "ignore") for n in package.namelist()
                 if n.endswith((".xml", ".rels"))}
    texts["results.json"] = (folder / "results.json").read_text(encoding="utf-8")
    for name, text in texts.items():
        assert not STUDY_CODE.search(text), name
        assert not OPERATOR.search(text), name
        if name.startswith("word/document") or name == "results.json":
            assert set(DAY.findall(text)) <= {FREEZE_DAY, *change}, name


def test_the_page_says_on_its_first_line_that_it_stays_inside(folder):
    text = (folder / "quality-report.html").read_text(encoding="utf-8")
    body = text[text.index("<body>"):]
    assert body.split("\n")[1].startswith('<aside class="inside"')
    assert OPERATOR.search(text)


def test_made_twice_the_files_are_the_same_bytes(folder, tmp_path):
    work = quality_work(service()[0], project=read_project(folder / "words.toml"))
    write_docx(quality_document(work, inside=False), tmp_path / "again.docx")
    assert (tmp_path / "again.docx").read_bytes() == (
        folder / "quality-report-to-share.docx").read_bytes()
    assert page(quality_document(work, inside=True)) == (
        folder / "quality-report.html").read_text(encoding="utf-8")


def test_the_paper_holds_what_a_quality_report_is_asked_for(folder):
    """SQUIRE 2.0, Ogrinc and others 2016: aim, context, changes, measures, results, limits."""
    made = docx.Document(str(folder / "quality-report-to-share.docx"))
    headings = [p.text for p in made.paragraphs if p.style.name == "Heading 1"]
    assert headings[0] == "Aim" and "Measures" in headings and "Practice limits" in headings
    told = "\n".join([*(p.text for p in made.paragraphs),
                      *(c.text for t in made.tables for r in t.rows for c in r.cells)])
    for wanted in ("Baseline:", "Context:", "balancing", "process", "outcome",
                   "Before the change", "No signal is not evidence of safety"):
        assert wanted in told


def test_inside_there_are_data_quality_follow_up_and_operators(folder):
    text = (folder / "quality-report.html").read_text(encoding="utf-8")
    for wanted in ("What was not recorded", "From session to entry", "Questions to the recorder",
                   "Follow-up due", "Operators and learning", "Practice limits over time",
                   "SQUIRE 2.0", "not a league table"):
        assert wanted in text


def said(tables: dict[str, Any], words: str | None = None, *, tmp_path: Path) -> tuple[str, str]:
    """The two documents of these tables as text, with every figure drawn."""
    project = None
    if words:
        (tmp_path / "words.toml").write_text(words, encoding="utf-8")
        project = read_project(tmp_path / "words.toml")
    work = quality_work(results_of(tables), project=project)
    found = []
    for inside in (False, True):
        document = quality_document(work, inside=inside)
        for picture in document.pictures():
            assert picture.draw(6.3).get_axes()
            assert picture.alt
        found.append(sections_text(document.sections))
    return found[0], found[1]


def only(tables: dict[str, Any], *codes: str, without: tuple[str, ...] = ()) -> dict[str, Any]:
    """The rows of some patients, some tables empty."""
    return {name: TABLES[name].empty() if name in without else frame[
        frame["patient_id"].isin(codes)] if "patient_id" in frame else frame
        for name, frame in tables.items()}


def test_a_service_without_a_complication_is_told_truthfully(tmp_path):
    tables = only(small_tables(), "A-0001", "A-0002", "A-0006", without=("complications",))
    shared, _ = said(tables, tmp_path=tmp_path)
    assert re.search(r"0/\d+ \(0 %", shared)
    assert "too few to set limits" in shared


def test_one_patient_gives_a_whole_report(tmp_path):
    shared, inside = said(only(small_tables(), "A-0001"), quality_words(None), tmp_path=tmp_path)
    assert "Measures" in shared and "Practice limits" in shared
    assert "Follow-up due" in inside


def test_a_service_that_only_operates_has_no_chart_and_says_so(tmp_path):
    shared, _ = said(only(small_tables(), "A-0009"), tmp_path=tmp_path)
    assert "There is no procedure whose outcome is known" in shared
    assert "no limit was checked" in shared


def test_nobody_at_all_gives_a_report_that_says_so(tmp_path):
    shared, _ = said({name: spec.empty() for name, spec in TABLES.items()}, tmp_path=tmp_path)
    assert "There is no procedure whose outcome is known" in shared


def test_the_hand_made_patients_give_a_whole_report(tmp_path):
    shared, inside = said(small_tables(), tmp_path=tmp_path)
    assert "No words file was given" in shared
    assert "Operators and learning" in inside


@pytest.mark.parametrize("words", [EXAMPLE, quality_words(None)])
def test_the_words_files_we_hand_out_are_read(words, tmp_path):
    (tmp_path / "words.toml").write_text(words, encoding="utf-8")
    assert read_project(tmp_path / "words.toml").measures


def test_the_list_to_call_names_each_visit_overdue_or_due(tmp_path):
    from registry.quality.follow_up import follow_up_of

    tables = small_tables()
    _, inside = said(tables, tmp_path=tmp_path)
    wanted = follow_up_of(tables, today=FREEZE_DAY)
    wanted = wanted[wanted["state"].isin(["overdue", "due"])]
    assert len(wanted) > 0
    work = quality_work(results_of(tables))
    (table,) = [t for t in quality_document(work, inside=True).tables() if t.name == "overdue"]
    assert [(row[0].text, row[1].text, row[4].text) for row in table.rows] == [
        (f"{r.patient_id}, lesion {r.lesion_no}", r.what, r.until.isoformat())
        for r in wanted.itertuples()]


def test_entries_on_many_days_are_charted_and_those_of_one_day_are_not(tmp_path):
    tables = small_tables()
    _, at_once = said(tables, tmp_path=tmp_path)
    assert "does not say when its rows were entered" in at_once
    sessions = tables["sessions"]
    keys = [json.dumps([p, int(a), int(b)], separators=(",", ":")) for p, a, b in zip(
        sessions["patient_id"], sessions["lesion_no"], sessions["session_no"], strict=True)]
    entries = pd.DataFrame({
        "table": pd.array(["sessions"] * len(keys), dtype="string"),
        "key": pd.array(keys, dtype="string"),
        "first_entered": sessions["session_date"].to_numpy() + pd.Timedelta(days=9)})
    document = quality_document(quality_work(results_of({**tables, "entries": entries})),
                                inside=True)
    (picture,) = [p for p in document.pictures() if p.name == "entry"]
    (axes, *_) = picture.draw(6.5).get_axes()
    assert set(axes.lines[0].get_ydata()) == {9.0}
