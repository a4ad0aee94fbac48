"""Parts of a slide that its library has no call for: vector pictures, alt text, plain tables."""

from __future__ import annotations

from typing import Any

from analyses.content.blocks import Picture
from analyses.content.unbroken import unbroken

SVG_EXTENSION = "{96DAC541-7B7A-43D3-8B79-37D633B846F1}"
SVG_NAMESPACE = "http://schemas.microsoft.com/office/drawing/2016/SVG/main"
"""Identifiers of the SVG picture extension of the open Office drawing format ([MS-ODRAWXML])."""


def look(paragraph: Any, size: int, bold: bool) -> None:
    """A paragraph's letters: size in points, from the left; family and colour are the theme's."""
    from pptx.enum.text import PP_ALIGN
    from pptx.util import Pt

    paragraph.alignment = PP_ALIGN.LEFT
    paragraph.font.size, paragraph.font.bold = Pt(size), bold


def add_frame(slide: Any, words: str, left: float, top: float, width: float, high: float) -> None:
    """An empty frame with what belongs in it, where a template has no place for a picture."""
    from pptx.enum.dml import MSO_LINE, MSO_THEME_COLOR
    from pptx.enum.shapes import MSO_SHAPE
    from pptx.util import Inches

    frame = slide.shapes.add_shape(
        MSO_SHAPE.RECTANGLE, Inches(left), Inches(top), Inches(width), Inches(high))
    frame.fill.background()
    frame.line.color.theme_color, frame.line.dash_style = MSO_THEME_COLOR.TEXT_1, MSO_LINE.DASH
    frame.shadow.inherit = False
    frame.name = words
    frame.text_frame.text = words
    look(frame.text_frame.paragraphs[0], 18, bold=False)
    frame.text_frame.paragraphs[0].font.color.theme_color = MSO_THEME_COLOR.TEXT_1


def add_vector(slide: Any, shape: Any, picture: Picture) -> None:
    """Give a picture its vector twin: programs that can, draw the SVG instead of the PNG."""
    from lxml import etree
    from pptx.opc.package import Part
    from pptx.opc.packuri import PackURI
    from pptx.oxml.ns import qn

    from analyses.renderers.html_page import svg_text

    number = 1 + sum(1 for part in slide.part.package.iter_parts()
                     if str(part.partname).endswith(".svg"))
    part = Part(PackURI(f"/ppt/media/vector{number}.svg"), "image/svg+xml",
                slide.part.package, svg_text(picture).encode("utf-8"))
    relation = slide.part.relate_to(
        part, "http://schemas.openxmlformats.org/officeDocument/2006/relationships/image")
    blip = shape._element.find(f".//{qn('a:blip')}")
    holder = etree.SubElement(blip, qn("a:extLst"))
    extension = etree.SubElement(holder, qn("a:ext"), uri=SVG_EXTENSION)
    vector = etree.SubElement(
        extension, f"{{{SVG_NAMESPACE}}}svgBlip", nsmap={"asvg": SVG_NAMESPACE})
    vector.set(qn("r:embed"), relation)


def name_picture(shape: Any, name: str, alt: str) -> None:
    """The name and the alternative text of a picture."""
    about = shape._element.nvPicPr.cNvPr
    about.set("name", name)
    about.set("descr", alt)


def style_table(shape: Any) -> None:
    """A plain table: the first row is marked as header, no banding, no theme colours."""
    table = shape.table
    table.first_row, table.horz_banding = True, False
    style = table._tbl.tblPr.find(
        "{http://schemas.openxmlformats.org/drawingml/2006/main}tableStyleId")
    if style is not None:
        # "No style, table grid" of the open Office format.
        style.text = "{5940675A-B579-460E-94D1-54222C63F5DA}"


def name_table(shape: Any, name: str, words: str) -> None:
    """The name of a table and what it holds, for screen readers."""
    about = shape._element.nvGraphicFramePr.cNvPr
    about.set("name", name)
    about.set("descr", words)


def set_cell(cell: Any, text: str, size: int, heading: bool) -> None:
    """A cell's text; headings bold on a light tint of the theme's accent."""
    from pptx.enum.dml import MSO_THEME_COLOR
    from pptx.util import Inches

    cell.text = unbroken(text)
    cell.margin_left = cell.margin_right = Inches(0.07)
    cell.margin_top = cell.margin_bottom = Inches(0.03)
    if heading:
        cell.fill.solid()
        cell.fill.fore_color.theme_color = MSO_THEME_COLOR.ACCENT_1
        cell.fill.fore_color.brightness = 0.85
    for paragraph in cell.text_frame.paragraphs:
        look(paragraph, size, heading)
