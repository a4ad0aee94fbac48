"""A document as an editable .docx: real headings, captions, cross-references and tables.

Written so that a clinician can go on writing in it: numbers are text, tables are tables, captions
number themselves, and a file made twice from the same freeze is the same byte for byte.
"""

from __future__ import annotations

import io
import zipfile
from datetime import datetime
from functools import singledispatchmethod
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analyses.content.blocks import (
    Caution,
    Document,
    Paragraph,
    Picture,
    Points,
    Section,
    Table,
    Verbatim,
)
from analyses.content.marks import lettered
from analyses.content.numbering import labels_of, pieces
from analyses.content.unbroken import unbroken
from analyses.renderers.docx_fields import (
    add_bookmarked_number,
    add_field,
    add_reference,
    words_of,
)
from analyses.renderers.docx_tables import add_table
from analyses.renderers.drawn_figure import figure_bytes

if TYPE_CHECKING:
    from docx.document import Document as Docx

SHOWN_WIDTH_IN = 6.3
FIGURE_DPI = 300
PAGE_CM, MARGIN_CM, TALLEST_CM = (21.0, 29.7), 2.3, 20.0
"""A4, its side margins, and the tallest figure that leaves room for its caption."""
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
        writer.section(section)
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
    page = made.sections[0]
    page.page_width, page.page_height = Cm(PAGE_CM[0]), Cm(PAGE_CM[1])
    page.left_margin = page.right_margin = Cm(MARGIN_CM)
    page.top_margin = page.bottom_margin = Cm(2.2)
    normal = made.styles["Normal"]
    normal.font.name, normal.font.size = "Liberation Serif", Pt(10.5)
    normal.paragraph_format.space_after = Pt(6)
    normal.paragraph_format.line_spacing = 1.15
    _plain_headings(made)
    if document.compact:
        _set_closely(made)
    about = made.core_properties
    about.title, about.author, about.comments = document.title, "", ""
    about.language = "en-GB"
    about.created = about.modified = NO_DAY
    made.add_heading(document.title, level=0)
    made.add_paragraph(document.subtitle)
    _page_numbers(page, document.footer)
    return made


def _set_closely(made: Docx) -> None:
    """Smaller type and margins, for a paper of two pages."""
    from docx.shared import Cm, Pt

    page, normal = made.sections[0], made.styles["Normal"]
    page.top_margin = page.bottom_margin = Cm(1.5)
    normal.font.size, normal.paragraph_format.space_after = Pt(9.5), Pt(2)
    normal.paragraph_format.line_spacing = 1.0
    made.styles["Heading 1"].paragraph_format.space_before = Pt(9)
    made.styles["Title"].font.size = Pt(15)


def _page_numbers(page: Any, footer: str) -> None:
    paragraph = page.footer.paragraphs[0]
    paragraph.alignment = 1
    paragraph.add_run(f"{footer}  " if footer else "")
    add_field(paragraph, " PAGE ", "1")


def _plain_headings(made: Docx) -> None:
    """Headings in black and in the text's own family: a manuscript, not a brochure."""
    from docx.oxml.ns import qn
    from docx.shared import Pt, RGBColor

    for name, size in (("Title", 18), ("Heading 1", 14), ("Heading 2", 11.5), ("Caption", 9)):
        style = made.styles[name]
        style.font.name, style.font.size = "Liberation Sans", Pt(size)
        style.font.color.rgb = RGBColor(0, 0, 0)
        fonts = style.element.get_or_add_rPr().get_or_add_rFonts()
        for theme in ("asciiTheme", "hAnsiTheme", "eastAsiaTheme", "cstheme"):
            fonts.attrib.pop(qn(f"w:{theme}"), None)


class _Writer:
    """Adds sections and blocks to an open .docx."""

    def __init__(self, made: Docx, document: Document) -> None:
        self.made = made
        self.labels = labels_of(document)
        self.wide = False

    def section(self, section: Section) -> None:
        """The heading and all below it; on a page turned on its side where tables need it."""
        if section.wide != self.wide:
            self._turn_page(section.wide)
        self.made.add_heading(section.title, level=section.level)
        for block in section.blocks:
            self.block(block)

    def _turn_page(self, wide: bool) -> None:
        from docx.enum.section import WD_ORIENT, WD_SECTION
        from docx.shared import Cm

        page = self.made.add_section(WD_SECTION.NEW_PAGE)
        page.orientation = WD_ORIENT.LANDSCAPE if wide else WD_ORIENT.PORTRAIT
        width, height = reversed(PAGE_CM) if wide else PAGE_CM
        page.page_width, page.page_height = Cm(width), Cm(height)
        self.wide = wide

    @property
    def _room_cm(self) -> float:
        return (PAGE_CM[1] if self.wide else PAGE_CM[0]) - 2 * MARGIN_CM

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
    def _(self, block: Verbatim) -> None:
        from docx.shared import Pt

        self._columns(2)
        for line in block.text.splitlines():
            paragraph = self.made.add_paragraph()
            paragraph.paragraph_format.space_after = Pt(0)
            paragraph.paragraph_format.line_spacing = 1.0
            run = paragraph.add_run(line)
            run.font.name, run.font.size = "Liberation Mono", Pt(6)
        self._columns(1)

    def _columns(self, number: int) -> None:
        """From here on so many columns of text on the same page."""
        from docx.enum.section import WD_SECTION
        from docx.oxml import OxmlElement
        from docx.oxml.ns import qn

        page = self.made.add_section(WD_SECTION.CONTINUOUS)._sectPr
        for old in page.findall(qn("w:cols")):
            page.remove(old)
        columns = OxmlElement("w:cols")
        columns.set(qn("w:num"), str(number))
        columns.set(qn("w:space"), "400")
        page.insert_element_before(columns, "w:docGrid")

    @block.register
    def _(self, block: Table) -> None:
        block = lettered(block)
        self._caption(block.name, block.caption, keep=True)
        if not block.rows:
            self.made.add_paragraph("No rows.")
            return
        add_table(self.made, block, self._room_cm)
        for note in block.notes:
            _small(self.made.add_paragraph(), note)
        self.made.add_paragraph()

    @block.register
    def _(self, block: Picture) -> None:
        from docx.shared import Cm, Emu, Inches

        paragraph = self.made.add_paragraph()
        paragraph.paragraph_format.keep_with_next = True
        shape = paragraph.add_run().add_picture(
            io.BytesIO(figure_bytes(block, "png", dpi=FIGURE_DPI)),
            width=Inches(SHOWN_WIDTH_IN))
        if shape.height > Cm(TALLEST_CM):
            shape.width, shape.height = (
                Emu(shape.width * Cm(TALLEST_CM) / shape.height), Cm(TALLEST_CM))
        words_of(shape, block.name, block.alt)
        self._caption(block.name, block.caption)

    def _caption(self, name: str, words: str, keep: bool = False) -> None:
        paragraph = self.made.add_paragraph(style="Caption")
        paragraph.paragraph_format.keep_with_next = keep
        add_bookmarked_number(paragraph, self.labels[name], name)
        paragraph.add_run(unbroken(f". {words}."))

    def _text(self, paragraph: Any, text: str) -> None:
        """Text in which `@name` becomes a cross-reference to that table or figure."""
        for words, name in pieces(text, self.labels):
            if name:
                add_reference(paragraph, self.labels[name], name)
            else:
                paragraph.add_run(unbroken(words))


def _small(paragraph: Any, text: str) -> None:
    from docx.shared import Pt

    paragraph.paragraph_format.space_after = Pt(2)
    paragraph.add_run(unbroken(text)).font.size = Pt(8)
