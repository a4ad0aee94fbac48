"""No line of a document ends between a number and its sign or unit.

The space is the no-break space of the SI Brochure's rule on quantities (a space between number and
unit; from memory) and Unicode's U+00A0; Estimates themselves keep a plain space.
"""

from __future__ import annotations

import docx
import pptx
import pytest

from analyses.content.blocks import Cell, Document, Paragraph, Section, Sentence, Table
from analyses.content.unbroken import unbroken
from analyses.renderers.docx_document import write_docx
from analyses.renderers.html_page import page
from analyses.renderers.pptx_slides import write_pptx
from analyses.statistics.estimate import Estimate
from analyses.statistics.proportions.independent import proportion

SHARE = proportion(29, 377)
VOLUME = Estimate(id="median", kind="median", value=1.5, low=1.2, high=2.0, measure="mL", n=40)


@pytest.mark.parametrize(("text", "held"), [
    ("29/377 (7.7 %, 5.2–10.9)", "29/377 (7.7_%, 5.2–10.9)"),
    ("EVOH 6 %", "EVOH 6_%"),
    ("at most 0.30 mL/min for 2 min", "at most 0.30_mL/min for 2_min"),
    ("a pause of 30 s and 12 sessions", "a pause of 30_s and 12 sessions"),
    ("5 minutes, 3 stops, 2 hours", "5 minutes, 3 stops, 2 hours"),
    ("60 mGy, 12 Gy·cm²", "60_mGy, 12_Gy·cm²"),
    ("share in %", "share in %"),
])
def test_a_number_is_held_to_what_it_counts_in(text, held):
    assert unbroken(text) == held.replace("_", "\u00a0")


def document():
    table = Table("shares", "Shares at 95 %", ("Measure", "Value"), (
        (Cell("Any, at 6 %", heading=True), Cell(SHARE.number_text(), SHARE)),), ("Over 0.3 mL.",))
    said = Paragraph((Sentence(f"Volume was {VOLUME.number_text()}.", (VOLUME,)),))
    return Document("d", "Title", "", (Section("Results", (said, table)),),
                    stays_inside=False)


def test_estimates_keep_their_plain_space():
    assert SHARE.as_text() == "29/377 (7.7 %, 5.2–10.9)"


def _html(folder):
    text = page(document())
    return text[text.index("<main"):text.index("</main>")].replace('aria-label="Table 1. Shares '
                                                                   'at 95 %"', "")


def _docx(folder):
    write_docx(document(), folder / "d.docx")
    made = docx.Document(str(folder / "d.docx"))
    cells = [c.text for t in made.tables for row in t.rows for c in row.cells]
    return "\n".join([*(p.text for p in made.paragraphs), *cells])


def _pptx(folder):
    write_pptx(document(), folder / "d.pptx")
    shapes = [s for slide in pptx.Presentation(str(folder / "d.pptx")).slides for s in slide.shapes]
    cells = [c.text for s in shapes if s.has_table for row in s.table.rows for c in row.cells]
    return "\n".join([*(s.text_frame.text for s in shapes if s.has_text_frame), *cells])


@pytest.mark.parametrize("written", [_html, _docx, _pptx])
def test_every_document_holds_them_together(tmp_path, written):
    text = written(tmp_path)
    for held in ("7.7_%", "1.5_mL", "6_%", "95_%", "0.3_mL"):
        assert held.replace("_", "\u00a0") in text
        assert held.replace("_", " ") not in text
