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
    PicturePlaces,
    Points,
    Section,
    Sentence,
    Table,
)
from analyses.content.unbroken import unbroken
from analyses.renderers.docx_document import NO_DAY, same_each_time
from analyses.renderers.drawn_figure import figure_bytes, figure_of
from analyses.renderers.pptx_layout import (
    SMALL_PT,
    TABLE_PT,
    TEXT_PT,
    lines_of,
    row_heights,
    rows_by_slide,
    table_widths,
)
from analyses.renderers.pptx_parts import (
    add_frame,
    add_vector,
    look,
    name_picture,
    name_table,
    set_cell,
    style_table,
)
from analyses.renderers.pptx_template import (
    EMU,
    Template,
    add_foot,
    content_holder,
    own_template,
    picture_holders,
    read_template,
    subtitle_holder,
)

if TYPE_CHECKING:
    from pptx.presentation import Presentation
    from pptx.slide import Slide

DRAWN_DPI = 290
"""The picture for programs that show no vectors: as wide as a projector has points."""
GAP_IN, BULLET_IN, LABEL_IN = 0.14, 0.5, 0.36
LEAST_SHARE = 0.4
"""A picture goes on to a slide of its own rather than be drawn less high than this share of one."""


def write_pptx(document: Document, path: Path, template: Path | None = None) -> None:
    """Write the document to `path` as slides, in our own template or a hospital's (`template`).

    Raises ValueError for a document that stays inside the service: slides are shown and sent on;
    TemplateError, a sentence, where the template cannot be used.
    """
    if document.stays_inside:
        raise ValueError(f"{document.name} stays inside the service; it is not made as .pptx.")
    used = own_template() if template is None else read_template(template)
    _name(used.made, document)
    writer = _Writer(used, document)
    sections = document.sections
    opening = sections[0] if sections and _only_cautions(sections[0]) else None
    writer.title_slide(opening)
    for section in sections[1 if opening else 0:]:
        writer.section(section)
    buffer = io.BytesIO()
    used.made.save(buffer)
    path.write_bytes(same_each_time(buffer.getvalue()))


def _only_cautions(section: Section) -> bool:
    """Whether a section is short rules alone; as the first one it stands on the title slide."""
    return all(isinstance(block, Caution) for block in section.blocks)


def _only_text(section: Section) -> bool:
    """Whether a section is points or a paragraph alone: it then fills the layout's own place."""
    return len(section.blocks) == 1 and isinstance(section.blocks[0], Points | Paragraph)


def _name(made: Presentation, document: Document) -> None:
    about = made.core_properties
    # A template names its maker; nobody is named in ours.
    about.title, about.author, about.last_modified_by = document.title, "", ""
    about.language = "en-GB"
    about.created = about.modified = NO_DAY


class _Writer:
    """Adds slides to an open presentation; `y` is how far down the current one is filled."""

    def __init__(self, used: Template, document: Document) -> None:
        self.used, self.area, self.document = used, used.area, document
        self.made = used.made
        self.slide: Slide | None = None
        self.title = document.title
        self.y = used.area.top

    def title_slide(self, opening: Section | None) -> None:
        """The first slide: title, subtitle, and the rules of the discussion where there are any."""
        slide = self._new_slide(self.document.title, self.used.title_slide)
        holder = subtitle_holder(slide)
        holder.text_frame.text = self.document.subtitle
        self.y = min((holder.top + holder.height) / EMU + GAP_IN, self.area.bottom)
        if opening is None:
            return
        for block in opening.blocks:
            self.block(block)
        self._notes(slide, opening)

    def section(self, section: Section) -> None:
        """A section's slide or slides, with its speaker notes on each."""
        first = len(self.made.slides)
        self.title = section.title
        if _only_text(section):
            self._text_slides(section.blocks[0])
        else:
            if not isinstance(section.blocks[0], PicturePlaces):
                self._new_slide(section.title)
            for block in section.blocks:
                self.block(block)
        for slide in list(self.made.slides)[first:]:
            self._notes(slide, section)

    def _notes(self, slide: Slide, section: Section) -> None:
        if section.notes:
            frame = slide.notes_slide.notes_text_frame
            if frame is not None:  # a hospital's notes master may have no place for them
                frame.text = "\n".join(section.notes)

    def _text_slides(self, block: Any) -> None:
        """Points in the layout's own place for content, going on to another slide when full."""
        lines = [s.text for s in block.items] if isinstance(block, Points) else [
            " ".join(s.text for s in block.sentences)]
        heights = [lines_of(line, TEXT_PT, self.area.width - BULLET_IN) * TEXT_PT * 1.25 / 72
                   + GAP_IN for line in lines]
        start = 0
        while start < len(lines):
            stop, used = start + 1, heights[start]
            while stop < len(lines) and used + heights[stop] <= self.area.height:
                used, stop = used + heights[stop], stop + 1
            title = self.title if start == 0 else f"{self.title} (continued)"
            slide = self._new_slide(title, self.used.content)
            _fill(content_holder(slide), lines[start:stop])
            start = stop
        self.y = self.area.bottom

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
    def _(self, block: PicturePlaces) -> None:
        layout = self.used.pictures
        slide = self._new_slide(self.title, layout or self.used.title_only)
        if layout is not None:
            for holder, label in zip(picture_holders(slide), block.labels, strict=False):
                holder.name = label
                _prompt(holder, label)
                self._label(label, holder.left / EMU, holder.top / EMU - LABEL_IN,
                            holder.width / EMU)
        else:
            wide, high = (self.area.width - 0.3) / 2, (self.area.height - 0.2) / 2
            for place, label in enumerate(block.labels):
                add_frame(slide, label, self.area.left + (place % 2) * (wide + 0.3),
                          self.area.top + (place // 2) * (high + 0.2), wide, high)
        self.y = self.area.bottom

    @block.register
    def _(self, block: Table) -> None:
        texts = [block.columns, *(tuple(cell.text for cell in row) for row in block.rows)]
        widths = table_widths(block, self.area.width)
        heights = row_heights(block, widths)
        below = sum(self._high([note], SMALL_PT) + 0.02 for note in block.notes)
        for start, stop, new in rows_by_slide(heights, self._left(), below, self.area.height):
            if new:
                self._next_slide(fresh=start == 0)
            self._table(block, [texts[0], *texts[1 + start:1 + stop]],
                        [heights[0], *heights[1 + start:1 + stop]], widths)
        if block.notes:
            self._box(list(block.notes), SMALL_PT)

    @block.register
    def _(self, block: Picture) -> None:
        from pptx.util import Inches

        drawn = figure_of(block)
        shape_of = drawn.get_figheight() / drawn.get_figwidth()
        below = self._high([f"{block.caption}."], SMALL_PT)
        if self._left() - below < min(self.area.width * shape_of, LEAST_SHARE * self.area.height):
            self._next_slide(fresh=True)
        assert self.slide is not None
        room = self._left() - below - 0.07
        width, high = self.area.width, self.area.width * shape_of
        if high > room:
            width, high = width * room / high, room
        shape = self.slide.shapes.add_picture(
            io.BytesIO(figure_bytes(block, "png", dpi=DRAWN_DPI)), Inches(self.area.left),
            Inches(self.y), Inches(width), Inches(high))
        name_picture(shape, block.name, block.alt)
        add_vector(self.slide, shape, block)
        self.y += high + 0.05
        self._box([f"{block.caption}."], SMALL_PT)

    def _label(self, text: str, left: float, top: float, width: float) -> None:
        """A word above a place for a picture, so that the empty slide says what is missing."""
        from pptx.util import Inches

        assert self.slide is not None
        box = self.slide.shapes.add_textbox(
            Inches(left), Inches(top), Inches(width), Inches(LABEL_IN))
        box.text_frame.word_wrap, box.text_frame.margin_left = True, 0
        box.text_frame.text = text
        look(box.text_frame.paragraphs[0], TABLE_PT, bold=True)

    def _lines(self, items: tuple[Sentence, ...], mark: str) -> None:
        for item in items:
            self._box([f"{mark}{item.text}"], TEXT_PT)

    def _left(self) -> float:
        return self.area.bottom - self.y

    def _next_slide(self, *, fresh: bool) -> None:
        """Go on to another slide, unless this one is fresh and nothing stands on it yet."""
        if fresh and self.y <= self.area.top + 0.01:
            return
        self._new_slide(f"{self.title} (continued)")

    def _new_slide(self, title: str, layout: Any = None) -> Slide:
        self.slide = self.made.slides.add_slide(layout or self.used.title_only)
        heading = self.slide.shapes.title
        assert heading is not None  # every layout that is used has one
        heading.text_frame.text = title
        self.y = self.area.top
        add_foot(self.slide, unbroken(self.document.footer))
        return self.slide

    def _high(self, lines: Sequence[str], size: int) -> float:
        """The height that lines take over the whole width, in inches."""
        return sum(lines_of(line, size, self.area.width) for line in lines) * size * 1.25 / 72 + 0.1

    def _box(self, lines: Sequence[str], size: int, bold: bool = False) -> None:
        from pptx.util import Inches

        high = self._high(lines, size)
        if high > self._left() and self.y > self.area.top:
            self._new_slide(f"{self.title} (continued)")
        assert self.slide is not None
        box = self.slide.shapes.add_textbox(
            Inches(self.area.left), Inches(self.y), Inches(self.area.width), Inches(high))
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

        self._box([f"{block.caption}."], SMALL_PT, bold=True)
        assert self.slide is not None
        shape: Any = self.slide.shapes.add_table(
            len(texts), len(block.columns), Inches(self.area.left), Inches(self.y),
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


def _fill(holder: Any, lines: Sequence[str]) -> None:
    """Lines as paragraphs of a placeholder, which has its own bullets."""
    from pptx.util import Pt

    frame = holder.text_frame
    for place, line in enumerate(lines):
        paragraph = frame.paragraphs[0] if place == 0 else frame.add_paragraph()
        paragraph.text = unbroken(line)
        paragraph.font.size = Pt(TEXT_PT)


def _prompt(holder: Any, label: str) -> None:
    """What belongs in an empty place, as its name and words for those who cannot see it."""
    holder._element.nvSpPr.cNvPr.set("descr", f"Place for: {label}")
