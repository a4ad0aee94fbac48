"""Tables of a .docx: column widths by content, rules as journals set them, rows kept whole."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from analyses.content.blocks import Cell, Table
from analyses.content.unbroken import unbroken
from analyses.renderers.docx_fields import shade

LETTER_EM = 0.54
"""Width of a letter of the table's family, in ems: a little over the average of its bold face."""
POINTS_PER_CM = 72 / 2.54
PADDING_CM = 0.5
LONGEST_LINE = 46
"""Letters after which a cell's text may go on to the next line, where there is no room."""
MANY_COLUMNS = 6


def add_table(made: Any, block: Table, width_cm: float) -> None:
    """Add a table of this width to an open .docx: marked header row, rows never split."""
    size = font_points(block)
    widths = column_widths(block, width_cm, size)
    table = made.add_table(rows=1, cols=len(block.columns))
    table.autofit = False
    _describe(table, block)
    _fill(table.rows[0], [Cell(text, heading=True) for text in block.columns], size, bold=True)
    for row in block.rows:
        _fill(table.add_row(), row, size, bold=_is_group(row))
    _set_widths(table, widths)
    _rules(table)


def font_points(block: Table) -> float:
    """Smaller type where there are many columns."""
    return 7.0 if len(block.columns) > MANY_COLUMNS + 3 else (
        7.5 if len(block.columns) > MANY_COLUMNS else 8.0)


def column_widths(block: Table, width_cm: float, points: float) -> list[float]:
    """Width of each column in cm, together at most `width_cm`.

    Every column gets room for its longest word, then for lines of LONGEST_LINE letters; what is
    left goes where lines are longer still.
    """
    letter = LETTER_EM * points / POINTS_PER_CM
    columns = list(zip(block.columns, *([c.text for c in row] for row in block.rows), strict=True))
    widths = [_longest_word(column) * letter + PADDING_CM for column in columns]
    if sum(widths) > width_cm:
        return [width_cm * low / sum(widths) for low in widths]
    for most in (LONGEST_LINE, 10 * LONGEST_LINE):
        wanted = [min(most, _longest_line(column)) * letter + PADDING_CM for column in columns]
        widths = _grown(widths, wanted, width_cm)
    return widths


def _grown(widths: Sequence[float], wanted: Sequence[float], most: float) -> list[float]:
    """Each width as near to what is wanted as there is room, the room shared by need."""
    more = [max(0.0, want - now) for now, want in zip(widths, wanted, strict=True)]
    spare = most - sum(widths)
    share = min(1.0, spare / sum(more)) if sum(more) > 0 else 0.0
    return [now + share * need for now, need in zip(widths, more, strict=True)]


def _longest_word(column: Sequence[str]) -> int:
    return max((len(word) for text in column for word in re.split(r"[ \n/]+", unbroken(text))),
               default=1)


def _longest_line(column: Sequence[str]) -> int:
    return max((len(text) for text in column), default=1)


def _is_group(row: Sequence[Cell]) -> bool:
    """A row that names the group of rows below it."""
    return len(row) > 1 and row[0].heading and not any(
        cell.text and not cell.text.startswith("n = ") for cell in row[1:])


def _fill(row: Any, cells: Sequence[Cell], points: float, *, bold: bool) -> None:
    from docx.oxml import OxmlElement
    from docx.shared import Pt

    for target, cell in zip(row.cells, cells, strict=True):
        paragraph = target.paragraphs[0]
        paragraph.paragraph_format.space_after = Pt(1)
        words, mark = _parted(cell.text)
        for text in filter(None, (words, mark)):
            run = paragraph.add_run(unbroken(text.strip() if text is mark else text))
            run.font.size, run.font.name = Pt(points), "Liberation Sans"
            run.bold = bold or None
            run.font.superscript = text is mark or None
    row._tr.get_or_add_trPr().append(OxmlElement("w:cantSplit"))


def _parted(text: str) -> tuple[str, str]:
    """The text of a cell, and its mark (` [a]`) apart."""
    found = re.fullmatch(r"(.*?)( \[[a-z]+\])?", text, flags=re.DOTALL)
    assert found is not None
    return found[1], found[2] or ""


def _set_widths(table: Any, widths: Sequence[float]) -> None:
    from docx.shared import Cm

    for column, width in zip(table.columns, widths, strict=True):
        column.width = Cm(width)
    for row in table.rows:
        for cell, width in zip(row.cells, widths, strict=True):
            cell.width = Cm(width)


def _describe(table: Any, block: Table) -> None:
    """The caption as the table's own description, for screen readers."""
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn

    about = OxmlElement("w:tblCaption")
    about.set(qn("w:val"), block.caption)
    table._tbl.tblPr.append(about)


def _rules(table: Any) -> None:
    """A rule above, below the headings and at the end; hairlines between rows; no upright ones."""
    from docx.oxml import OxmlElement, parse_xml
    from docx.oxml.ns import nsdecls

    edges = "".join(
        f'<w:{side} w:val="single" w:sz="{size}" w:space="0" w:color="{colour}"/>'
        for side, size, colour in (
            ("top", 10, "1B2A33"), ("bottom", 10, "1B2A33"), ("insideH", 2, "C4CCD1")))
    borders = parse_xml(f"<w:tblBorders {nsdecls('w')}>{edges}</w:tblBorders>")
    properties = table._tbl.tblPr
    # The order of these elements is fixed by the standard (ISO/IEC 29500, CT_TblPr).
    properties.insert_element_before(
        borders, "w:shd", "w:tblLayout", "w:tblCellMar", "w:tblLook", "w:tblCaption")
    header = table.rows[0]
    for cell in header.cells:
        shade(cell, "EEF1F2")
    header._tr.get_or_add_trPr().append(OxmlElement("w:tblHeader"))
