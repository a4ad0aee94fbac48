"""How the entry workbook looks: formats and widths.

What must be filled in, and what has to be mended, is never told by colour alone: a star and
bold print mark the one, a note, a heavy border and the words beside the row the other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from registry.schema import FieldSpec

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.format import Format

INK, PALE, SAND, RUST = "#2E3B34", "#E4EAE2", "#FBF3E1", "#9A3B1B"
DATE_FORMAT = "yyyy-mm-dd"

_BY_TYPE: dict[str, dict[str, Any]] = {
    "date": {"num_format": DATE_FORMAT, "align": "center"},
    "text": {"num_format": "@", "indent": 1},
    "int": {"num_format": "0"},
    "number": {"align": "right"},
    "yes/no": {"align": "center"},
    "choice": {"indent": 1},
}


class Look:
    """The formats of one workbook, each made once."""

    def __init__(self, workbook: Workbook) -> None:
        self._workbook = workbook
        self._made: dict[tuple[Any, ...], Format] = {}
        self.title = self._make(bold=True, font_size=18, font_color=INK)
        self.margin = self._make(bold=True, valign="top", font_color=INK)
        self.words = self._make(text_wrap=True, valign="top")
        self.code = self._make(font_name="Courier New", valign="top")
        self.why = self._make(text_wrap=True, valign="top", italic=True)
        self.why_heading = self._make(bold=True, text_wrap=True, valign="vcenter", border=1,
                                      bg_color=SAND, font_color=RUST)
        self.plain_heading = self._make(bold=True, text_wrap=True, bg_color=PALE, bottom=2)

    def heading(self, spec: FieldSpec) -> Format:
        """Bold on dark with a heavy line for what must be filled in; plain on pale otherwise."""
        shared: dict[str, Any] = {"text_wrap": True, "valign": "vcenter", "align": "center",
                                  "border": 1}
        if spec.required:
            return self._make(**shared | {"bottom": 5}, bold=True, bg_color=INK,
                              font_color="#FFFFFF")
        return self._make(**shared, bg_color=PALE, font_color=INK)

    def column(self, spec: FieldSpec) -> Format:
        """The format of a field's cells."""
        return self._make(**_BY_TYPE[spec.type], valign="top")

    def cell(self, spec: FieldSpec, *, marked: bool, as_text: bool, quoted: bool) -> Format:
        """A written cell: marked where it has to be mended; text is left as it was typed."""
        look: dict[str, Any] = {"valign": "top"} | _BY_TYPE["choice" if as_text else spec.type]
        if marked:
            look |= {"bg_color": SAND, "border": 5, "border_color": RUST}
        if quoted:
            look |= {"quote_prefix": True}
        return self._make(**look)

    def _make(self, **look: Any) -> Format:
        key = tuple(sorted(look.items()))
        if key not in self._made:
            self._made[key] = self._workbook.add_format(look)
        return self._made[key]


def column_width(spec: FieldSpec) -> float:
    """Wide enough for the values, and for the longest word of the heading."""
    word = max(len(part) for part in spec.heading.split()) + 3
    values = max((len(value) for value in spec.values), default=0) + 2
    usual = {"date": 13, "text": 13, "yes/no": 10}.get(spec.type, 11)
    return max(word, usual, min(values, 30))


def row_height(texts: Sequence[str], widths: Sequence[float]) -> float:
    """The height in points of a row of wrapped texts, each in a column so many letters wide.

    A spreadsheet program does not work it out on opening a file.
    """
    lines = max(
        sum(max(math.ceil(len(line) / (0.9 * width)), 1) for line in text.split("\n"))
        for text, width in zip(texts, widths, strict=True)
    )
    return min(15 * max(lines, 1) + 3, 400)  # a row can be 409 points high
