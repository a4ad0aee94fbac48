"""A document as an editable .docx: real headings, captions, cross-references and tables.

Written so that a clinician can go on writing in it: numbers are text, tables are tables, captions
number themselves, and a file made twice from the same freeze is the same byte for byte.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable
from datetime import datetime
from functools import singledispatchmethod
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analyses.reports.content import (
    Caution,
    Cell,
    Document,
    Paragraph,
    Picture,
    Points,
    Table,
)
from analyses.reports.docx_fields import add_bookmarked_number, add_reference, shade, words_of

if TYPE_CHECKING:
    from docx.document import Document as Docx

FIGURE_WIDTH_IN = 6.3
FIGURE_DPI = 300
# A file carries no day of its own: the freeze's date stands in its text.
NO_DAY = datetime(2000, 1, 1)


def write_docx(document: Document, path: Path) -> None:
    """Write the document to `path`.

    Raises ValueError for a document that stays inside the service: such a one names study codes,
    and a .docx is made to be sent on.
    """
    if document.stays_inside:
        raise ValueError(f"{document.name} stays inside the service; it is not made as .docx.")
    made = _started(document)
    writer = _Writer(made, document)
    for section in document.sections:
        made.add_heading(section.title, level=1)
        for block in section.blocks:
            writer.block(block)
    buffer = io.BytesIO()
    made.save(buffer)
    path.write_bytes(same_each_time(buffer.getvalue()))


def same_each_time(package: bytes) -> bytes:
    """An Office package with its parts in order and without the clock in it."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(package)) as old, \
            zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        names = sorted(old.namelist(), key=lambda name: (name != "[Content_Types].xml", name))
        for name in names:
            info = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            info.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(info, old.read(name))
    return out.getvalue()


def _started(document: Document) -> Docx:
    import docx
    from docx.shared import Cm, Pt

    made = docx.Document()
    for section in made.sections:
        section.page_width, section.page_height = Cm(21.0), Cm(29.7)
        section.left_margin = section.right_margin = Cm(2.3)
        section.top_margin = section.bottom_margin = Cm(2.2)
    normal = made.styles["Normal"]
    normal.font.name, normal.font.size = "Liberation Serif", Pt(10.5)
    normal.paragraph_format.space_after = Pt(6)
    _plain_headings(made)
    about = made.core_properties
    about.title, about.author, about.comments = document.title, "", ""
    about.created = about.modified = NO_DAY
    made.add_heading(document.title, level=0)
    made.add_paragraph(document.subtitle)
    return made


def _plain_headings(made: Docx) -> None:
    """Headings in black and in the text's own family: a manuscript, not a brochure."""
    from docx.oxml.ns import qn
    from docx.shared import Pt, RGBColor

    for name, size in (("Title", 18), ("Heading 1", 14), ("Heading 2", 12), ("Caption", 9.5)):
        style = made.styles[name]
        style.font.name, style.font.size = "Liberation Sans", Pt(size)
        style.font.color.rgb = RGBColor(0, 0, 0)
        fonts = style.element.get_or_add_rPr().get_or_add_rFonts()
        for theme in ("asciiTheme", "hAnsiTheme", "eastAsiaTheme", "cstheme"):
            fonts.attrib.pop(qn(f"w:{theme}"), None)


class _Writer:
    """Adds blocks to an open .docx, numbering tables and figures as it goes."""

    def __init__(self, made: Docx, document: Document) -> None:
        self.made = made
        self.numbers = {"Table": 0, "Figure": 0}
        self.labels = {
            **{f"@{t.name}": ("Table", t.name) for t in document.tables()},
            **{f"@{p.name}": ("Figure", p.name) for p in document.pictures()},
        }

    @singledispatchmethod
    def block(self, block: object) -> None:
        raise TypeError(f"No way to write a {type(block).__name__} as .docx.")

    @block.register
    def _(self, block: Paragraph) -> None:
        self._text(self.made.add_paragraph(), " ".join(s.text for s in block.sentences))

    @block.register
    def _(self, block: Points) -> None:
        for item in block.items:
            self._text(self.made.add_paragraph(style="List Bullet"), item.text)

    @block.register
    def _(self, block: Caution) -> None:
        box = self.made.add_table(rows=1, cols=1, style="Table Grid")
        first = box.cell(0, 0).paragraphs[0]
        first.add_run(block.title).bold = True
        for sentence in block.sentences:
            self._text(box.cell(0, 0).add_paragraph(), sentence.text)
        self.made.add_paragraph()

    @block.register
    def _(self, block: Table) -> None:
        self._caption("Table", block.name, block.caption, keep=True)
        if not block.rows:
            self.made.add_paragraph("No rows.")
            return
        table = self.made.add_table(rows=1, cols=len(block.columns))
        table.style = "Table Grid"
        _header(table, block.columns)
        for row in block.rows:
            _fill(table.add_row().cells, row)
        _rules_only(table)
        for note in (*block.notes, *_marks(block)):
            _small(self.made.add_paragraph(), note)

    @block.register
    def _(self, block: Picture) -> None:
        from docx.shared import Inches

        paragraph = self.made.add_paragraph()
        paragraph.paragraph_format.keep_with_next = True
        shape = paragraph.add_run().add_picture(
            io.BytesIO(png_bytes(block, FIGURE_WIDTH_IN, FIGURE_DPI)),
            width=Inches(FIGURE_WIDTH_IN))
        words_of(shape, block.name, block.alt)
        self._caption("Figure", block.name, block.caption)

    def _caption(self, kind: str, name: str, words: str, keep: bool = False) -> None:
        self.numbers[kind] += 1
        paragraph = self.made.add_paragraph(style="Caption")
        paragraph.paragraph_format.keep_with_next = keep
        add_bookmarked_number(paragraph, kind, self.numbers[kind], name)
        paragraph.add_run(f". {words}.")

    def _text(self, paragraph: Any, text: str) -> None:
        """Text in which `@name` becomes a cross-reference to that table or figure."""
        for piece in _pieces(text, self.labels):
            if piece in self.labels:
                kind, name = self.labels[piece]
                add_reference(paragraph, kind, name)
            else:
                paragraph.add_run(piece)


def png_bytes(picture: Picture, width_in: float, dpi: int) -> bytes:
    """A figure as PNG bytes, the same each time."""
    import matplotlib as mpl

    from analyses.figures import STYLE

    out = io.BytesIO()
    with mpl.rc_context(STYLE):
        picture.draw(width_in).savefig(
            out, format="png", dpi=dpi, metadata={"Software": None}, facecolor="white")
    return out.getvalue()


def _pieces(text: str, labels: dict[str, tuple[str, str]]) -> Iterable[str]:
    import re

    if not labels:
        return [text]
    names = "|".join(re.escape(label) for label in sorted(labels, key=len, reverse=True))
    return [piece for piece in re.split(f"({names})", text) if piece]


def _header(table: Any, columns: tuple[str, ...]) -> None:
    from docx.oxml import OxmlElement

    for cell, text in zip(table.rows[0].cells, columns, strict=True):
        run = cell.paragraphs[0].add_run(text)
        run.bold = True
        shade(cell, "EEF1F2")
    # The header row is marked as one, for screen readers and for tables over two pages.
    table.rows[0]._tr.get_or_add_trPr().append(OxmlElement("w:tblHeader"))


def _fill(cells: Iterable[Any], row: tuple[Cell, ...]) -> None:
    for target, cell in zip(cells, row, strict=True):
        target.paragraphs[0].add_run(cell.text)


def _rules_only(table: Any) -> None:
    """Small type and rules above and below, as journals set tables."""
    from docx.shared import Pt

    for row in table.rows:
        for cell in row.cells:
            for paragraph in cell.paragraphs:
                paragraph.paragraph_format.space_after = Pt(1)
                for run in paragraph.runs:
                    run.font.size = Pt(8.5)


def _marks(block: Table) -> tuple[str, ...]:
    marked = dict.fromkeys(
        note for row in block.rows for c in row if c.estimate and "†" in c.text
        for note in c.estimate.notes())
    return (f"† {'; '.join(marked)}.",) if marked else ()


def _small(paragraph: Any, text: str) -> None:
    from docx.shared import Pt

    paragraph.paragraph_format.space_after = Pt(2)
    paragraph.add_run(text).font.size = Pt(8)


