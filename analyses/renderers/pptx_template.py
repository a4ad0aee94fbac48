"""The template of slides: our own, made by code, or a hospital's; its layouts found by what they
hold.

Four layouts are used: a title slide (title and subtitle), title and content, title only, and one
with places for four pictures. A hospital's file needs the first three; without the fourth the
places for pictures are drawn as empty frames. Names of layouts do not matter.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from registry.problems.sentence_error import SentenceError

if TYPE_CHECKING:
    from pptx.presentation import Presentation
    from pptx.slide import SlideLayout

WIDTH_IN, HEIGHT_IN = 13.333, 7.5
LEFT_IN, TITLE_TOP_IN, TITLE_HIGH_IN, TOP_IN, BOTTOM_IN, FOOT_IN = 0.7, 0.35, 0.85, 1.35, 6.85, 7.0
INK, ACCENT, PALE = "1B2A33", "0A5C6B", "E7EEF0"
FONT = "Arial"
"""A family that every office program has, or stands another of the same widths in for."""
EMU = 914400
"""English metric units an inch, in which the format counts."""
PICTURES, LABEL_IN = 4, 0.36
"""Places for pictures, and the room above each for its label."""
DRAWING = "{http://schemas.openxmlformats.org/drawingml/2006/main}"
LAYOUT_NAMES = {0: "Title slide", 1: "Title and content", 5: "Title only", 8: "Four pictures"}
"""Which layouts of the library's file are taken into ours, and what they are called there."""


class TemplateError(SentenceError):
    """A template cannot be used; the message is a sentence for the user."""


@dataclass(frozen=True)
class Area:
    """Where the content of a slide stands, in inches from its upper left corner."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        """Its width in inches."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Its height in inches."""
        return self.bottom - self.top


@dataclass(frozen=True)
class Template:
    """An empty presentation and the layouts that are used of it.

    pictures: the layout with places for four pictures, None where there is none; area: where the
    content of a slide stands; own: whether it is ours (its foot is then drawn by the layout).
    """

    made: Presentation
    title_slide: SlideLayout
    content: SlideLayout
    title_only: SlideLayout
    pictures: SlideLayout | None
    area: Area


def own_template() -> Template:
    """Our own template: 16:9, dark ink on white, one accent, real layouts and placeholders."""
    import pptx
    from pptx.util import Inches

    made = pptx.Presentation()
    made.slide_width, made.slide_height = Inches(WIDTH_IN), Inches(HEIGHT_IN)
    _restyle(made)
    master, layouts = made.slide_master, list(made.slide_layouts)
    _place_common(_holders(master))
    for number, layout in enumerate(layouts):
        if number not in LAYOUT_NAMES:
            made.slide_layouts.remove(layout)
            continue
        layout.name = LAYOUT_NAMES[number]
        _place_common(_holders(layout))
    _lay_out_title(layouts[0])
    _lay_out_pictures(layouts[8])
    return _used(made, "our own template")


def read_template(path: Path) -> Template:
    """A hospital's template, its own slides left out.

    Raises TemplateError, a sentence, where it cannot be read or lacks a layout.
    """
    import pptx

    try:
        made = pptx.Presentation(str(path))
    except Exception as fault:  # the library raises its own, zipfile's and lxml's errors
        raise TemplateError(
            f"{path} cannot be read as a presentation. Give a file saved as .pptx (a .potx opened "
            "and saved as .pptx does).") from fault
    slides = made.slides._sldIdLst
    for slide in list(slides):
        made.part.drop_rel(slide.rId)
        slides.remove(slide)
    return _used(made, str(path))


def _used(made: Presentation, place: str) -> Template:
    layouts = list(made.slide_layouts)
    title = _first(layouts, lambda kinds: kinds["title"] and kinds["subtitle"])
    content = _first(layouts, lambda kinds: kinds["title"] and kinds["content"] == 1
                     and not kinds["subtitle"] and not kinds["picture"])
    only = _first(layouts, lambda kinds: kinds["title"] and not kinds["content"]
                  and not kinds["subtitle"] and not kinds["picture"])
    wanted = {"a title and a subtitle": title, "a title and one place for content": content,
              "a title alone": only}
    missing = [words for words, layout in wanted.items() if layout is None]
    if title is None or content is None or only is None:
        raise TemplateError(f"{place} has no layout with {', and none with '.join(missing)}. Add "
                            "it to the slide master, or use another template.")
    pictures = _first(layouts, lambda kinds: kinds["title"] and kinds["picture"] >= PICTURES)
    body = next(p for p in _holders(content) if _kind(p) == "content")
    area = Area(body.left / EMU, body.top / EMU, (body.left + body.width) / EMU,
                (body.top + body.height) / EMU)
    return Template(made, title, content, only, pictures, area)


def _first(layouts: Sequence[SlideLayout], fits: Any) -> SlideLayout | None:
    """The first layout whose placeholders, counted by kind, fit."""
    for layout in layouts:
        kinds = dict.fromkeys(("title", "subtitle", "content", "picture", "other"), 0)
        for holder in _holders(layout):
            kinds[_kind(holder)] += 1
        if fits(kinds):
            return layout
    return None


def _kind(holder: Any) -> str:
    """What a placeholder is for; date, foot and number are "other"."""
    from pptx.enum.shapes import PP_PLACEHOLDER as KINDS

    return {KINDS.TITLE: "title", KINDS.CENTER_TITLE: "title", KINDS.SUBTITLE: "subtitle",
            KINDS.BODY: "content", KINDS.OBJECT: "content", KINDS.PICTURE: "picture",
            }.get(holder.placeholder_format.type, "other")


def _holders(owner: Any) -> list[Any]:
    """The placeholders of a slide, a layout or a master."""
    return list(owner.placeholders)


def content_holder(slide: Any) -> Any:
    """The place for content of a slide made of the layout with one."""
    return next(p for p in _holders(slide) if _kind(p) == "content")


def subtitle_holder(slide: Any) -> Any:
    """The place for the subtitle of a title slide."""
    return next(p for p in _holders(slide) if _kind(p) == "subtitle")


def picture_holders(slide: Any) -> list[Any]:
    """The places for pictures of a slide, from left to right and top to bottom."""
    found = [p for p in _holders(slide) if _kind(p) == "picture"]
    return sorted(found, key=lambda p: (p.top, p.left))


def add_foot(slide: Any, words: str) -> None:
    """The words at the foot and the slide's number, in the layout's places where it has them."""
    from pptx.enum.shapes import PP_PLACEHOLDER as KINDS

    for holder in _holders(slide.slide_layout):
        kind = holder.placeholder_format.type
        if kind not in (KINDS.FOOTER, KINDS.SLIDE_NUMBER):
            continue
        taken = copy.deepcopy(holder._element)
        slide.shapes._spTree.append(taken)
        shape = slide.shapes[-1]
        if kind == KINDS.FOOTER:
            shape.text_frame.text = words
        if not taken.spPr.xpath("./a:xfrm"):
            shape.left, shape.top = holder.left, holder.top
            shape.width, shape.height = holder.width, holder.height


def _restyle(made: Presentation) -> None:
    """Our letters and colours in the theme, so that every shape inherits them."""
    from lxml import etree
    from pptx.opc.constants import RELATIONSHIP_TYPE as KINDS

    part = made.slide_master.part.part_related_by(KINDS.THEME)
    theme = etree.fromstring(part.blob)
    for latin in theme.iterfind(f".//{DRAWING}fontScheme//{DRAWING}latin"):
        latin.set("typeface", FONT)
    for name, colour in (("dk1", INK), ("dk2", INK), ("lt2", PALE), ("accent1", ACCENT)):
        holder = theme.find(f".//{DRAWING}clrScheme/{DRAWING}{name}")
        for old in list(holder):
            holder.remove(old)
        etree.SubElement(holder, f"{DRAWING}srgbClr", val=colour)
    part._blob = etree.tostring(theme, xml_declaration=True, encoding="UTF-8", standalone=True)
    styles = made.slide_master._element.find(
        "{http://schemas.openxmlformats.org/presentationml/2006/main}txStyles")
    for title in styles[0].iter(f"{DRAWING}lvl1pPr"):
        title.set("algn", "l")
    for letters in styles[0].iter(f"{DRAWING}defRPr"):
        letters.set("sz", "3000")
        letters.set("b", "1")


def _place_common(placeholders: list[Any]) -> None:
    """Title, content, foot and number where ours stand; the date goes."""
    from pptx.enum.shapes import PP_PLACEHOLDER as KINDS

    room = WIDTH_IN - 2 * LEFT_IN
    for holder in placeholders:
        kind = holder.placeholder_format.type
        if kind == KINDS.DATE:
            holder._element.getparent().remove(holder._element)
        elif kind == KINDS.FOOTER:
            _put(holder, LEFT_IN, FOOT_IN, room - 1.2, 0.35)
            _align(holder, "l", 1200)
        elif kind == KINDS.SLIDE_NUMBER:
            _put(holder, WIDTH_IN - LEFT_IN - 1.0, FOOT_IN, 1.0, 0.35)
            _align(holder, "r", 1200)
        elif kind == KINDS.TITLE:
            _put(holder, LEFT_IN, TITLE_TOP_IN, room, TITLE_HIGH_IN)
            _no_margin(holder)
        elif kind in (KINDS.BODY, KINDS.OBJECT):
            _put(holder, LEFT_IN, TOP_IN, room, BOTTOM_IN - TOP_IN)
            _no_margin(holder)


def _lay_out_title(layout: SlideLayout) -> None:
    """Title and subtitle at the upper left, and a band of colour down the edge."""
    for holder in _holders(layout):
        kind = _kind(holder)
        if kind == "title":
            _put(holder, LEFT_IN, 0.55, WIDTH_IN - 2 * LEFT_IN, 0.9)
            _align(holder, "l", 4000)
            _no_margin(holder)
        elif kind == "subtitle":
            _put(holder, LEFT_IN, 1.5, WIDTH_IN - 2 * LEFT_IN, 0.6)
            _align(holder, "l", 2200)
            _no_margin(holder)
    _add_band(layout)


def _lay_out_pictures(layout: SlideLayout) -> None:
    """Four places for pictures, two above two, each saying what belongs in it."""
    holder = next(p for p in _holders(layout) if _kind(p) == "picture")
    for other in _holders(layout):
        if _kind(other) == "content":
            other._element.getparent().remove(other._element)
    wide = (WIDTH_IN - 2 * LEFT_IN - 0.3) / 2
    high = (BOTTOM_IN - TOP_IN) / 2 - LABEL_IN
    first = holder._element
    for number in range(PICTURES):
        element = first if number == 0 else copy.deepcopy(first)
        if number:
            first.getparent().append(element)
            element.nvSpPr.cNvPr.set("id", str(100 + number))
            element.nvSpPr.nvPr.find(
                "{http://schemas.openxmlformats.org/presentationml/2006/main}ph").set(
                "idx", str(20 + number))
    for number, place in enumerate(p for p in _holders(layout) if _kind(p) == "picture"):
        _put(place, LEFT_IN + (number % 2) * (wide + 0.3),
             TOP_IN + LABEL_IN + (number // 2) * (high + LABEL_IN), wide, high)
        place.name = f"Picture {number + 1}"
    _place_title(layout)


def _place_title(layout: SlideLayout) -> None:
    from pptx.enum.text import MSO_ANCHOR

    title = next(p for p in _holders(layout) if _kind(p) == "title")
    _put(title, LEFT_IN, TITLE_TOP_IN, WIDTH_IN - 2 * LEFT_IN, TITLE_HIGH_IN)
    _align(title, "l", 3000)
    title.text_frame.vertical_anchor = MSO_ANCHOR.MIDDLE
    _no_margin(title)


def _put(shape: Any, left: float, top: float, width: float, height: float) -> None:
    from pptx.util import Inches

    shape.left, shape.top = Inches(left), Inches(top)
    shape.width, shape.height = Inches(width), Inches(height)


def _no_margin(shape: Any) -> None:
    shape.text_frame.margin_left = 0


def _align(shape: Any, side: str, hundredths_pt: int) -> None:
    """The side and size of the letters that a placeholder's slides inherit."""
    from lxml import etree

    style = shape._element.txBody.find(f"{DRAWING}lstStyle")
    for old in list(style):
        style.remove(old)
    level = etree.SubElement(style, f"{DRAWING}lvl1pPr", algn=side, marL="0", indent="0")
    etree.SubElement(level, f"{DRAWING}buNone")
    etree.SubElement(level, f"{DRAWING}defRPr", sz=str(hundredths_pt))


BAND = (
    '<p:sp xmlns:p="http://schemas.openxmlformats.org/presentationml/2006/main" '
    'xmlns:a="http://schemas.openxmlformats.org/drawingml/2006/main"><p:nvSpPr>'
    '<p:cNvPr id="200" name="band"/><p:cNvSpPr/><p:nvPr userDrawn="1"/></p:nvSpPr><p:spPr>'
    '<a:xfrm><a:off x="0" y="0"/><a:ext cx="{width}" cy="{height}"/></a:xfrm>'
    '<a:prstGeom prst="rect"><a:avLst/></a:prstGeom><a:solidFill><a:schemeClr val="accent1"/>'
    '</a:solidFill><a:ln><a:noFill/></a:ln></p:spPr></p:sp>')


def _add_band(layout: SlideLayout) -> None:
    from lxml import etree

    text = BAND.format(width=int(0.32 * EMU), height=int(HEIGHT_IN * EMU))
    layout.shapes._spTree.insert(2, etree.fromstring(text))
