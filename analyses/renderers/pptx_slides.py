"""A document as slides: real text, real tables, figures as vectors, definitions in the notes.

A section is a slide; what does not fit goes on to the next, marked "continued". A file made twice
from the same freeze is the same byte for byte.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
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
    Sentence,
    Table,
)
from analyses.content.unbroken import unbroken
from analyses.renderers.docx_document import NO_DAY, png_bytes, same_each_time
from analyses.renderers.pptx_layout import (
    BOTTOM_IN,
    HEIGHT_IN,
    LEFT_IN,
    ROOM_IN,
    SMALL_PT,
    TABLE_PT,
    TEXT_PT,
    TOP_IN,
    WIDTH_IN,
    lines_of,
    row_heights,
    rows_by_slide,
    table_widths,
)
from analyses.renderers.pptx_parts import (
    add_band,
    add_vector,
    look,
    name_picture,
    name_table,
    set_cell,
    style_table,
)

if TYPE_CHECKING:
    from pptx.presentation import Presentation
    from pptx.slide import Slide

DRAWN_IN = 6.6
"""Figures are drawn this wide and shown nearly twice as large, so that their letters are read."""
DRAWN_DPI = 290
"""The picture for programs that show no vectors: as wide as a projector has points."""
GAP_IN = 0.14


def write_pptx(document: Document, path: Path) -> None:
    """Write the document to `path` as slides in 16:9.

    Raises ValueError for a document that stays inside the service: slides are shown and sent on.
    """
    if document.stays_inside:
        raise ValueError(f"{document.name} stays inside the service; it is not made as .pptx.")
    made = _started(document)
    writer = _Writer(made, document)
    sections = document.sections
    opening = sections[0] if sections and _only_cautions(sections[0]) else None
    writer.title_slide(opening)
    for section in sections[1 if opening else 0:]:
        writer.section(section)
    buffer = io.BytesIO()
    made.save(buffer)
    path.write_bytes(same_each_time(buffer.getvalue()))


def _only_cautions(section: Section) -> bool:
    """Whether a section is short rules alone; as the first one it stands on the title slide."""
    return all(isinstance(block, Caution) for block in section.blocks)


def _started(document: Document) -> Presentation:
    import pptx
    from pptx.util import Inches

    made = pptx.Presentation()
    made.slide_width, made.slide_height = Inches(WIDTH_IN), Inches(HEIGHT_IN)
    about = made.core_properties
    # The library's own template names its maker; nobody is named in ours.
    about.title, about.author, about.last_modified_by = document.title, "", ""
    about.language = "en-GB"
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

    def title_slide(self, opening: Section | None) -> None:
        """The first slide: title, subtitle, and the rules of the discussion where there are any."""
        self._new_slide(self.document.title, size=40)
        assert self.slide is not None
        add_band(self.slide, HEIGHT_IN)
        self._box([self.document.subtitle], TEXT_PT + 2)
        if opening is None:
            return
        self.y += 2 * GAP_IN
        for block in opening.blocks:
            self.block(block)
        self._notes(self.slide, opening)

    def section(self, section: Section) -> None:
        """A section's slide or slides, with its speaker notes on each."""
        first = len(self.made.slides)
        self.title = section.title
        self._new_slide(section.title)
        for block in section.blocks:
            self.block(block)
        for slide in list(self.made.slides)[first:]:
            self._notes(slide, section)

    def _notes(self, slide: Slide, section: Section) -> None:
        if section.notes:
            frame = slide.notes_slide.notes_text_frame
            assert frame is not None  # the notes master made with a new file has one
            frame.text = "\n".join(section.notes)

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
        texts = [block.columns, *(tuple(cell.text for cell in row) for row in block.rows)]
        widths = table_widths(block, ROOM_IN)
        heights = row_heights(block, widths)
        below = sum(lines_of(note, SMALL_PT) for note in block.notes) * SMALL_PT * 1.25 / 72
        for start, stop, new in rows_by_slide(heights, self._left(), below):
            if new:
                self._next_slide(fresh=start == 0)
            self._table(block, [texts[0], *texts[1 + start:1 + stop]],
                        [heights[0], *heights[1 + start:1 + stop]], widths)
        if block.notes:
            self._box(list(block.notes), SMALL_PT)

    @block.register
    def _(self, block: Picture) -> None:
        from pptx.util import Inches

        drawn = block.draw(DRAWN_IN)
        shape_of = drawn.get_figheight() / drawn.get_figwidth()
        if self._left() - 0.35 < min(ROOM_IN * shape_of, 0.75 * (BOTTOM_IN - TOP_IN)):
            self._next_slide(fresh=True)
        assert self.slide is not None
        room = self._left() - 0.4
        width, high = ROOM_IN, ROOM_IN * shape_of
        if high > room:
            width, high = width * room / high, room
        shape = self.slide.shapes.add_picture(
            io.BytesIO(png_bytes(block, DRAWN_IN, DRAWN_DPI)), Inches(LEFT_IN), Inches(self.y),
            Inches(width), Inches(high))
        name_picture(shape, block.name, block.alt)
        add_vector(self.slide, shape, block, DRAWN_IN)
        self.y += high + 0.05
        self._box([f"{block.caption}."], SMALL_PT)

    def _lines(self, items: tuple[Sentence, ...], mark: str) -> None:
        for item in items:
            self._box([f"{mark}{item.text}"], TEXT_PT)

    def _left(self) -> float:
        return BOTTOM_IN - self.y

    def _next_slide(self, *, fresh: bool) -> None:
        """Go on to another slide, unless this one is fresh and nothing stands on it yet."""
        if fresh and self.y <= TOP_IN + 0.01:
            return
        self._new_slide(f"{self.title} (continued)")

    def _new_slide(self, title: str, size: int = 30) -> None:
        from pptx.util import Inches

        self.slide = self.made.slides.add_slide(self.made.slide_layouts[5])
        heading = self.slide.shapes.title
        assert heading is not None  # layout 5 is "title only"
        heading.left, heading.top = Inches(LEFT_IN), Inches(0.35)
        heading.width, heading.height = Inches(ROOM_IN), Inches(0.85)
        heading.text_frame.text = title
        heading.text_frame.word_wrap = True
        heading.text_frame.margin_left = 0
        look(heading.text_frame.paragraphs[0], size, bold=True)
        self.y = TOP_IN
        number = len(self.made.slides)
        words = f"{self.document.footer}   {number}" if self.document.footer else str(number)
        box = self.slide.shapes.add_textbox(
            Inches(LEFT_IN), Inches(7.02), Inches(ROOM_IN), Inches(0.35))
        box.text_frame.text = unbroken(words)
        box.text_frame.word_wrap, box.text_frame.margin_left = True, 0
        look(box.text_frame.paragraphs[0], SMALL_PT, bold=False)

    def _box(self, lines: Sequence[str], size: int, bold: bool = False) -> None:
        from pptx.util import Inches

        high = sum(lines_of(line, size) for line in lines) * size * 1.25 / 72 + 0.1
        if high > self._left() and self.y > TOP_IN:
            self._new_slide(f"{self.title} (continued)")
        assert self.slide is not None
        box = self.slide.shapes.add_textbox(
            Inches(LEFT_IN), Inches(self.y), Inches(ROOM_IN), Inches(high))
        frame = box.text_frame
        frame.word_wrap = True
        frame.margin_left = frame.margin_right = 0
        for place, line in enumerate(lines):
            paragraph = frame.paragraphs[0] if place == 0 else frame.add_paragraph()
            paragraph.text = unbroken(line)
            look(paragraph, size, bold)
        self.y += high + (0.02 if size == SMALL_PT or bold else GAP_IN)

    def _table(self, block: Table, texts: Sequence[tuple[str, ...]], heights: Sequence[float],
               widths: Sequence[float]) -> None:
        from pptx.util import Inches

        self._box([f"{block.caption}."], TABLE_PT, bold=True)
        assert self.slide is not None
        shape: Any = self.slide.shapes.add_table(
            len(texts), len(block.columns), Inches(LEFT_IN), Inches(self.y),
            Inches(sum(widths)), Inches(sum(heights)))
        style_table(shape)
        name_table(shape, block.name, block.caption)
        for at, width in enumerate(widths):
            shape.table.columns[at].width = Inches(width)
        for at, (row, high) in enumerate(zip(texts, heights, strict=True)):
            shape.table.rows[at].height = Inches(high)
            for column, text in enumerate(row):
                set_cell(shape.table.cell(at, column), text, TABLE_PT, heading=at == 0)
        self.y += sum(heights) + GAP_IN
