"""The files of the case series: valid, the same each time, and safe to send on."""

from __future__ import annotations

import hashlib
import re
import subprocess
import zipfile
from pathlib import Path

import docx
import pytest

from analyses.content.numbering import labels_of
from analyses.documents.series.series_report import series_work
from analyses.measures.results import work_out
from analyses.population.unit_frames import units_of
from analyses.renderers.drawn_figure import figure_of
from analyses.renderers.figure_files import figure_writers
from analyses.renderers.html_page import svg_text
from analyses.renderers.report_folder import ReportError, results_text, write_folder
from analyses.renderers.table_files import table_writers
from analyses.renderers.written_record import RECORD
from registry.problems.sentence_error import SentenceError

ALL = ("svg,pdf,png,tiff", "one-column, two-columns")
STUDY_CODE = re.compile(r"\b[A-Z]{1,4}-\d{3,6}\b")
OPERATOR_CODE = re.compile(r"\bOP\d{2,4}\b")
W = "{http://schemas.openxmlformats.org/wordprocessingml/2006/main}"


@pytest.fixture(scope="module")
def folder(series, tmp_path_factory) -> Path:
    """The tables, and three figures in every width and format."""
    from dataclasses import replace

    out = tmp_path_factory.mktemp("files") / "report"
    pictures = series.outside.pictures()
    few = replace(series.outside, sections=tuple(
        replace(s, blocks=tuple(b for b in s.blocks if b in (pictures[0], pictures[2],
                                                             pictures[-1])))
        for s in series.outside.sections))
    write_folder(out, {**table_writers(series.outside), **figure_writers(few, ALL)})
    return out


def all_texts(path: Path) -> str:
    """Everything readable in a file; the parts of an Office package one after the other."""
    if path.suffix in {".docx", ".xlsx"}:
        with zipfile.ZipFile(path) as package:
            parts = [package.read(n).decode("utf-8", "ignore") for n in package.namelist()
                     if n.endswith((".xml", ".rels"))]
        return " ".join(re.sub(r"<[^>]+>", "", part) + part for part in parts)
    return path.read_bytes().decode("latin-1")


def test_the_manuscript_is_read_again_by_its_library(series):
    made = docx.Document(str(series.docx))
    assert len(made.tables) > 30
    headings = [p.text for p in made.paragraphs if p.style.name == "Heading 1"]
    assert headings[:4] == ["Summary", "Introduction", "Methods", "Results"]
    assert {"Discussion", "Limitations", "References", "Supplement"} <= set(headings)


def test_header_rows_repeat_and_rows_are_not_split(series):
    made = docx.Document(str(series.docx))
    for table in made.tables:
        if len(table.rows) > 1:
            assert table.rows[0]._tr.find(f".//{W}tblHeader") is not None
            assert all(row._tr.find(f".//{W}cantSplit") is not None for row in table.rows)


def test_tables_fit_their_page(series):
    """No table is wider than a page on its side, and every column has a width."""
    made = docx.Document(str(series.docx))
    for table in made.tables:
        widths = [cell.width for cell in table.rows[0].cells]
        if len(table.rows) > 1:
            assert all(widths) and sum(widths) <= docx.shared.Cm(25.2)


def test_cross_references_show_the_number_of_their_caption(series):
    labels = {label.text for label in labels_of(series.outside).values()}
    body = docx.Document(str(series.docx)).element.body
    shown, inside, instruction = [], False, ""
    for run in body.iter(f"{W}r"):
        mark = run.find(f"{W}fldChar")
        if mark is not None:
            kind = mark.get(f"{W}fldCharType")
            inside = kind == "separate" and instruction.strip().startswith("REF")
            instruction = "" if kind == "begin" else instruction
        instruction += "".join(t.text or "" for t in run.iter(f"{W}instrText"))
        if inside:
            shown.append("".join(t.text or "" for t in run.iter(f"{W}t")))
    shown = [text for text in shown if text]
    assert len(shown) > 10 and set(shown) <= labels


def test_every_reference_points_to_a_bookmark(series):
    body = docx.Document(str(series.docx)).element.body
    marks = {m.get(f"{W}name") for m in body.iter(f"{W}bookmarkStart")}
    asked = re.findall(r"REF (\w+)", " ".join(t.text or "" for t in body.iter(f"{W}instrText")))
    assert asked and set(asked) <= marks
    assert all(len(mark) <= 40 for mark in marks)


def test_every_figure_has_words_for_those_who_cannot_see_it(series):
    made = docx.Document(str(series.docx))
    words = [shape._inline.docPr.get("descr") for shape in made.inline_shapes]
    assert len(words) == len(series.outside.pictures()) and all(words)


def test_nothing_that_may_leave_names_a_study_or_operator_code(series, folder, small_service):
    codes = set(small_service["patients"]["patient_id"].astype(str))
    written = {p.name: all_texts(p) for p in [series.docx, *folder.rglob("*")]
               if p.suffix in {".docx", ".csv", ".xlsx", ".svg", ".txt"}}
    for name, text in {**written, "results.json": series.results_json}.items():
        found = set(STUDY_CODE.findall(text)) & codes
        assert not found, f"{name}: {found}"
        assert not OPERATOR_CODE.search(text), name


def test_no_figure_names_a_code_in_its_letters(series):
    """SVG and PDF draw letters as shapes: they are looked for before they are drawn."""
    from matplotlib.text import Text

    for picture in series.outside.pictures():
        said = " ".join(t.get_text() for t in picture.draw(6.9).findobj(Text)) + picture.alt
        assert not STUDY_CODE.search(said) and not OPERATOR_CODE.search(said), picture.name


def test_the_page_that_stays_inside_says_so_first(series):
    assert "Stays inside the service" in series.page[:series.page.index("<h1>")]


def test_the_same_tables_give_the_same_results_byte_for_byte(series, small_service):
    from dataclasses import replace

    again = series_work(work_out(units_of(small_service, manifest=series.work.results.manifest)))
    both = replace(again.results, estimates=(*again.results.estimates, *again.estimates))
    assert results_text(both) == series.results_json


def test_figures_and_tables_are_the_same_in_another_folder(series, folder, tmp_path):
    few = [series.outside.pictures()[0]]
    from dataclasses import replace

    document = replace(series.outside, sections=(replace(
        series.outside.sections[0], blocks=tuple(few)),))
    write_folder(tmp_path / "another place", {
        **figure_writers(document, ALL), **table_writers(series.outside)})
    ours = [p for p in (tmp_path / "another place").rglob("*")
            if p.is_file() and p.suffix != ".txt" and p.name != RECORD]
    assert len(ours) > 40
    for path in ours:
        other = folder / path.relative_to(tmp_path / "another place")
        assert hashlib.sha256(path.read_bytes()).digest() == hashlib.sha256(
            other.read_bytes()).digest(), path.name


def test_fonts_are_embedded_in_pdf_figures(folder):
    """A TrueType program (FontFile2, PDF 1.7, 9.9) in every PDF; no reference to a font alone."""
    for path in folder.rglob("*.pdf"):
        assert b"/FontFile2" in path.read_bytes(), path.name


def test_figures_have_600_dots_an_inch_in_both_column_widths(folder):
    from PIL import Image

    pictures = [*folder.rglob("*.png"), *folder.rglob("*.tiff")]
    assert len(pictures) == 12
    for path in pictures:
        with Image.open(path) as image:
            width_in = 3.35 if "one-column" in path.name else 6.9
            assert image.width == pytest.approx(600 * width_in, abs=1), path.name


def test_a_figure_is_one_file_unless_more_are_asked_for(series):
    names = [name for name in figure_writers(series.outside) if not name.endswith(".txt")]
    assert len(names) == len(series.outside.pictures())
    assert all(name.endswith("-two-columns.svg") for name in names)
    asked = figure_writers(series.outside, ["tiff", "one-column"])
    assert {name.rsplit("-", 2)[-2:][1] for name in asked if name.endswith("tiff")} == {
        "column.tiff"}
    with pytest.raises(SentenceError, match=r"--figures eps: wanted are formats \(png, svg"):
        figure_writers(series.outside, ["svg,eps"])


def test_all_who_show_a_figure_show_one_drawing(series):
    picture = series.outside.pictures()[0]
    drawn = figure_of(picture)
    assert svg_text(picture) == svg_text(picture) and figure_of(picture) is drawn


def test_a_report_that_fails_half_way_leaves_the_old_one_in_place(tmp_path):
    out = tmp_path / "report"
    write_folder(out, {"a.txt": lambda p: p.write_text("old") and None,
                       "sub/b.txt": lambda p: p.write_text("old") and None})

    def breaks(path: Path) -> None:
        path.write_text("half")
        raise RuntimeError("the disk is full")

    with pytest.raises(RuntimeError):
        write_folder(out, {"a.txt": lambda p: p.write_text("new") and None, "sub/b.txt": breaks})
    assert (out / "a.txt").read_text() == (out / "sub" / "b.txt").read_text() == "old"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["report"]


def test_a_file_in_place_of_the_folder_is_refused_in_a_sentence(tmp_path):
    (tmp_path / "report").write_text("mine")
    with pytest.raises(ReportError, match="is a file; a report needs a folder"):
        write_folder(tmp_path / "report", {})


@pytest.mark.desktop
def test_the_manuscript_opens_in_a_word_processor(series, tmp_path):
    """LibreOffice converts it to PDF, with the references as they were written."""
    subprocess.run(
        ["soffice", "--headless", f"-env:UserInstallation=file://{tmp_path}/profile",
         "--convert-to", "txt:Text", "--outdir", str(tmp_path), str(series.docx)],
        check=True, capture_output=True, timeout=300)
    text = (tmp_path / "case-series.txt").read_text(encoding="utf-8", errors="replace")
    assert "Table 1. Patients and lesions" in text
    assert "Every recorded event is listed in Table S" in text
