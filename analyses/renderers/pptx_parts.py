"""Parts of a slide that its library has no call for: vector pictures, alt text, plain tables."""

from __future__ import annotations

from typing import Any

from analyses.content.blocks import Picture
from analyses.content.unbroken import unbroken

SVG_EXTENSION = "{96DAC541-7B7A-43D3-8B79-37D633B846F1}"
SVG_NAMESPACE = "http://schemas.microsoft.com/office/drawing/2016/SVG/main"
"""Identifiers of the SVG picture extension of the open Office drawing format ([MS-ODRAWXML])."""


INK, ACCENT, HEADING_FILL = "1B2A33", "0A5C6B", "E7EEF0"
FONT = "Arial"
"""A family that every office program has, or stands another of the same widths in for."""


def look(paragraph: Any, size: int, bold: bool) -> None:
    """A paragraph's letters: size in points, in ink, from the left."""
    from pptx.dml.color import RGBColor
    from pptx.enum.text import PP_ALIGN
    from pptx.util import Pt

    paragraph.alignment = PP_ALIGN.LEFT
    paragraph.font.size, paragraph.font.bold = Pt(size), bold
    paragraph.font.name = FONT
    paragraph.font.color.rgb = RGBColor.from_string(INK)


def add_band(slide: Any, height_in: float) -> None:
    """A band of colour down the left edge: the first slide looks like one."""
    from pptx.dml.color import RGBColor
    from pptx.enum.shapes import MSO_SHAPE
    from pptx.util import Inches

    band = slide.shapes.add_shape(MSO_SHAPE.RECTANGLE, 0, 0, Inches(0.32), Inches(height_in))
    band.fill.solid()
    band.fill.fore_color.rgb = RGBColor.from_string(ACCENT)
    band.line.fill.background()
    band.shadow.inherit = False
    band.name = "band"


def add_vector(slide: Any, shape: Any, picture: Picture, width_in: float) -> None:
    """Give a picture its vector twin: programs that can, draw the SVG instead of the PNG."""
    from lxml import etree
    from pptx.opc.package import Part
    from pptx.opc.packuri import PackURI
    from pptx.oxml.ns import qn

    from analyses.renderers.html_page import svg_text

    number = 1 + sum(1 for part in slide.part.package.iter_parts()
                     if str(part.partname).endswith(".svg"))
    part = Part(PackURI(f"/ppt/media/vector{number}.svg"), "image/svg+xml",
                slide.part.package, svg_text(picture, width_in).encode("utf-8"))
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
    """A cell's text, in ink on white; headings bold on a light ground."""
    from pptx.dml.color import RGBColor
    from pptx.util import Inches

    cell.text = unbroken(text)
    cell.margin_left = cell.margin_right = Inches(0.07)
    cell.margin_top = cell.margin_bottom = Inches(0.03)
    if heading:
        cell.fill.solid()
        cell.fill.fore_color.rgb = RGBColor.from_string(HEADING_FILL)
    for paragraph in cell.text_frame.paragraphs:
        look(paragraph, size, heading)
