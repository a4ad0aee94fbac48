"""Where things stand on a slide: sizes, and how much room text and tables take.

A program that draws slides sets the text itself; these are estimates, somewhat generous, so that
nothing runs over the foot of a slide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from analyses.content.blocks import Cell, Table
from analyses.content.unbroken import NO_BREAK, unbroken
from analyses.renderers.docx_tables import column_widths

TEXT_PT, TABLE_PT, SMALL_PT, FOOT_PT = 20, 18, 14, 12
"""Text and tables to be read from the back row; captions, notes and the foot smaller."""
SPACE_EM, NARROW = 0.28, frozenset(f" {NO_BREAK}.,:;'|!/()[]ijltfI")
BOLDER, CELL_MARGINS_IN = 1.1, 0.2
CAPTION_IN = 0.4
ENOUGH_LEFT = 0.6
"""A table that has to be cut starts on the present slide where this share of one is left."""
WIDEN_AT_MOST = 1.4
ROOM_TO_WRITE, WRITING_IN = "a few words to write in", 0.6


def lines_of(text: str, size: int, width_in: float) -> int:
    """How many lines a text takes at this size in points, words kept whole."""
    room, lines, used = width_in * 72 / size, 1, 0.0
    for word in unbroken(text).split(" "):
        wide = text_em(word)
        if used and used + SPACE_EM + wide > room:
            lines, used = lines + 1, wide
        else:
            used += (SPACE_EM if used else 0.0) + wide
    return lines


def text_em(text: str) -> float:
    """The width of a text in ems, about that of Arial's letters (measured)."""
    return sum(0.28 if c in NARROW else 0.7 if c.isupper() else 0.54 for c in text)


def table_widths(block: Table, total_in: float) -> list[float]:
    """Column widths in inches: no word broken, long cells get what is left."""
    rows = block.rows if not to_fill_in(block) else (*block.rows, tuple(
        Cell(ROOM_TO_WRITE if column in to_fill_in(block) else "")
        for column in range(len(block.columns))))
    measured = replace(block, rows=rows)
    wanted = [cm / 2.54 for cm in column_widths(measured, total_in * 2.54, TABLE_PT)]
    least = [_longest_word_in(column) for column in
             zip(block.columns, *([c.text for c in row] for row in block.rows), strict=True)]
    widths = [max(pair) for pair in zip(wanted, least, strict=True)]
    spare, over = total_in - sum(least), [w - low for w, low in zip(widths, least, strict=True)]
    if sum(widths) <= total_in or spare <= 0 or sum(over) == 0:
        more = min(WIDEN_AT_MOST, total_in / sum(widths))
        return [width * more for width in widths]
    return [low + spare * part / sum(over) for low, part in zip(least, over, strict=True)]


def _longest_word_in(column: Sequence[str]) -> float:
    """The room in inches that a column's longest word needs, its heading being bold."""
    words = [BOLDER * text_em(word) for word in unbroken(column[0]).split(" ")]
    words += [text_em(word) for text in column[1:] for word in unbroken(text).split(" ")]
    return max(words, default=0.0) * TABLE_PT / 72 + CELL_MARGINS_IN


def to_fill_in(block: Table) -> set[int]:
    """The columns left blank to be written in."""
    return {column for column in range(len(block.columns))
            if block.rows and not any(row[column].text for row in block.rows)}


def row_heights(block: Table, widths: Sequence[float]) -> list[float]:
    """The height of each row in inches, the headings first; room to write where it is wanted."""
    least = WRITING_IN if to_fill_in(block) else 0.0
    rows = [[cell.text for cell in row] for row in block.rows]
    return [_row_height(block.columns, widths),
            *(max(least, _row_height(row, widths)) for row in rows)]


def _row_height(row: Sequence[str], widths: Sequence[float]) -> float:
    lines = max(lines_of(text, TABLE_PT, width - 0.14)
                for text, width in zip(row, widths, strict=True))
    return lines * TABLE_PT * 1.2 / 72 + 0.1


def rows_by_slide(
    heights: Sequence[float], left_in: float, below_in: float, slide_in: float,
) -> list[tuple[int, int, bool]]:
    """Which rows of a table go on which slide: first, one past the last, whether on a new slide.

    heights: the headings first, then the rows; left_in: the room left on the present slide;
    below_in: what stands below the table; slide_in: the room on a slide of its own. A table that
    fits on one is not cut.
    """
    head, rows = heights[0], heights[1:]
    full, left = slide_in - CAPTION_IN, left_in - CAPTION_IN
    whole = head + sum(rows) + below_in
    if whole <= left or not rows:
        return [(0, len(rows), False)]
    if whole <= full:
        return [(0, len(rows), True)]
    fresh = left < ENOUGH_LEFT * full
    found, start, room = [], 0, full if fresh else left
    while start < len(rows):
        stop, used = start, head
        while stop < len(rows) and (used + rows[stop] <= room or stop == start):
            used += rows[stop]
            stop += 1
        if stop == len(rows) and used + below_in > room and stop > start + 1:
            stop -= 1  # the notes below the table never stand alone on a slide
        found.append((start, stop, fresh))
        start, room, fresh = stop, full, True
    return found
