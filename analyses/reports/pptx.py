"""A document as slides: real text, real tables, figures as vectors, definitions in the notes.

A section is a slide; what does not fit goes on to the next, marked "continued". A file made twice
from the same freeze is the same byte for byte.
"""

from __future__ import annotations

import io
from functools import singledispatchmethod
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analyses.reports.content import (
    Caution,
    Document,
    Paragraph,
    Picture,
    Points,
    Section,
    Sentence,
    Table,
)
from analyses.reports.docx import NO_DAY, png_bytes, same_each_time
from analyses.reports.pptx_parts import add_vector, name_picture, set_cell, style_table

if TYPE_CHECKING:
    from pptx.presentation import Presentation
    from pptx.slide import Slide

WIDTH_IN, HEIGHT_IN = 13.333, 7.5
LEFT_IN, TOP_IN, BOTTOM_IN = 0.7, 1.45, 6.85
ROWS_A_SLIDE = 11
TEXT_PT, TABLE_PT, SMALL_PT = 18, 14, 12


def write_pptx(document: Document, path: Path) -> None:
    """Write the document to `path` as slides in 16:9.

    Raises ValueError for a document that stays inside the service: slides are shown and sent on.
    """
    if document.stays_inside:
        raise ValueError(f"{document.name} stays inside the service; it is not made as .pptx.")
    made = _started(document)
    writer = _Writer(made, document)
    writer.title_slide()
    for section in document.sections:
        writer.section(section)
    buffer = io.BytesIO()
    made.save(buffer)
    path.write_bytes(same_each_time(buffer.getvalue()))


def _started(document: Document) -> Presentation:
    import pptx
    from pptx.util import Inches

    made = pptx.Presentation()
    made.slide_width, made.slide_height = Inches(WIDTH_IN), Inches(HEIGHT_IN)
    about = made.core_properties
    about.title, about.author = document.title, ""
    about.created = about.modified = NO_DAY
    return made


class _Writer:
    """Adds slides to an open presentation; `y` is how far down the current one is filled."""

    def __init__(self, made: Presentation, document: Document) -> None:
        self.made = made
        self.document = document
        self.slide: Slide | None = None
        self.title = ""
        self.y = TOP_IN

    def title_slide(self) -> None:
        """The first slide: title, subtitle and footer."""
        self._new_slide(self.document.title, size=34)
        self._box([self.document.subtitle], TEXT_PT)

    def section(self, section: Section) -> None:
        """A section's slide or slides, with its speaker notes on each."""
        first = len(self.made.slides)
        self.title = section.title
        self._new_slide(section.title)
        for block in section.blocks:
            self.block(block)
        if section.notes:
            for slide in list(self.made.slides)[first:]:
                slide.notes_slide.notes_text_frame.text = "\n".join(section.notes)

    @singledispatchmethod
    def block(self, block: object) -> None:
        raise TypeError(f"No way to write a {type(block).__name__} as slides.")

    @block.register
    def _(self, block: Paragraph) -> None:
        self._box([" ".join(s.text for s in block.sentences)], TEXT_PT)

    @block.register
    def _(self, block: Points) -> None:
        self._lines(block.items, "•  ")

    @block.register
    def _(self, block: Caution) -> None:
        self._box([block.title], TEXT_PT, bold=True)
        self._lines(block.sentences, "")

    @block.register
    def _(self, block: Table) -> None:
        chunks = [block.rows[at:at + ROWS_A_SLIDE]
                  for at in range(0, len(block.rows), ROWS_A_SLIDE)] or [()]
        for part, rows in enumerate(chunks):
            if part or self._left() < 0.42 * (min(len(rows), 6) + 2):
                self._new_slide(f"{self.title} (continued)" if part or self.y > TOP_IN + 0.1
                                else self.title)
            self._table(block, rows)
        if block.notes:
            self._box(list(block.notes), SMALL_PT)

    @block.register
    def _(self, block: Picture) -> None:
        from pptx.util import Inches

        assert self.slide is not None
        if self._left() < 2.6:
            self._new_slide(f"{self.title} (continued)")
        room = self._left() - 0.5
        width = WIDTH_IN - 2 * LEFT_IN
        drawn = block.draw(8.6)
        high = width * drawn.get_figheight() / drawn.get_figwidth()
        if high > room:
            width, high = width * room / high, room
        shape = self.slide.shapes.add_picture(
            io.BytesIO(png_bytes(block, 8.6, 200)), Inches(LEFT_IN), Inches(self.y),
            Inches(width), Inches(high))
        name_picture(shape, block.name, block.alt)
        add_vector(self.slide, shape, block)
        self.y += high + 0.05
        self._box([f"{block.caption}."], SMALL_PT)

    def _lines(self, items: tuple[Sentence, ...], mark: str) -> None:
        for item in items:
            self._box([f"{mark}{item.text}"], TEXT_PT)

    def _left(self) -> float:
        return BOTTOM_IN - self.y

    def _new_slide(self, title: str, size: int = 28) -> None:
        from pptx.util import Inches, Pt

        self.slide = self.made.slides.add_slide(self.made.slide_layouts[5])
        heading = self.slide.shapes.title
        heading.left, heading.top = Inches(LEFT_IN), Inches(0.4)
        heading.width, heading.height = Inches(WIDTH_IN - 2 * LEFT_IN), Inches(0.9)
        heading.text_frame.text = title
        heading.text_frame.word_wrap = True
        self._look(heading.text_frame.paragraphs[0], size, bold=True)
        self.y = TOP_IN
        if self.document.footer:
            box = self.slide.shapes.add_textbox(
                Inches(LEFT_IN), Inches(7.0), Inches(WIDTH_IN - 2 * LEFT_IN), Inches(0.35))
            box.text_frame.text = self.document.footer
            self._look(box.text_frame.paragraphs[0], 11, bold=False)
            box.text_frame.paragraphs[0].font.size = Pt(11)

    def _box(self, lines: list[str], size: int, bold: bool = False) -> None:
        from pptx.util import Inches

        assert self.slide is not None
        high = sum(_lines_of(line, size) for line in lines) * size * 1.25 / 72 + 0.08
        if high > self._left() and self.y > TOP_IN:
            self._new_slide(f"{self.title} (continued)")
        box = self.slide.shapes.add_textbox(
            Inches(LEFT_IN), Inches(self.y), Inches(WIDTH_IN - 2 * LEFT_IN), Inches(high))
        frame = box.text_frame
        frame.word_wrap = True
        for place, line in enumerate(lines):
            paragraph = frame.paragraphs[0] if place == 0 else frame.add_paragraph()
            paragraph.text = line
            self._look(paragraph, size, bold)
        self.y += high + 0.06

    def _look(self, paragraph: Any, size: int, bold: bool) -> None:
        from pptx.dml.color import RGBColor
        from pptx.enum.text import PP_ALIGN
        from pptx.util import Pt

        paragraph.alignment = PP_ALIGN.LEFT
        paragraph.font.size, paragraph.font.bold = Pt(size), bold
        paragraph.font.name = "Liberation Sans"
        paragraph.font.color.rgb = RGBColor(0x1B, 0x2A, 0x33)

    def _table(self, block: Table, rows: tuple[Any, ...]) -> None:
        from pptx.util import Inches

        assert self.slide is not None
        self._box([f"{block.caption}."], SMALL_PT, bold=True)
        size = TABLE_PT if len(block.columns) <= 6 else SMALL_PT
        texts = [block.columns, *(tuple(cell.text for cell in row) for row in rows)]
        widths = _widths(texts, WIDTH_IN - 2 * LEFT_IN)
        heights = [_row_height(row, widths, size) for row in texts]
        shape = self.slide.shapes.add_table(
            len(texts), len(block.columns), Inches(LEFT_IN), Inches(self.y),
            Inches(sum(widths)), Inches(sum(heights)))
        style_table(shape)
        for at, width in enumerate(widths):
            shape.table.columns[at].width = Inches(width)
        for at, (row, high) in enumerate(zip(texts, heights, strict=True)):
            shape.table.rows[at].height = Inches(high)
            for column, text in enumerate(row):
                set_cell(shape.table.cell(at, column), text, size, heading=at == 0)
        self.y += sum(heights) + 0.1


def _lines_of(text: str, size: int, width_in: float = WIDTH_IN - 2 * LEFT_IN) -> int:
    """How many lines a text takes at this size, somewhat generously."""
    a_line = max(8, int(width_in * 72 / (size * 0.5)))
    return max(1, -(-len(text) // a_line))


def _widths(rows: list[tuple[str, ...]], total_in: float) -> list[float]:
    """Column widths in proportion to what stands in them, none under a tenth of an even share."""
    longest = [min(60, max(8, *(len(row[at]) for row in rows))) for at in range(len(rows[0]))]
    return [total_in * size / sum(longest) for size in longest]


def _row_height(row: tuple[str, ...], widths: list[float], size: int) -> float:
    lines = max(_lines_of(text, size, width - 0.2) for text, width in zip(row, widths, strict=True))
    return lines * size * 1.22 / 72 + 0.1
