"""The parts of a .docx that its library has no call for: numbers, references, alt text, shading."""

from __future__ import annotations

import re
import zlib
from typing import Any


def add_bookmarked_number(paragraph: Any, kind: str, number: int, name: str) -> None:
    """`Table 3` as a self-numbering field inside a bookmark that references can point to."""
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn

    mark = str(zlib.crc32(f"{kind}/{name}".encode()) % 2**31)
    start, end = OxmlElement("w:bookmarkStart"), OxmlElement("w:bookmarkEnd")
    start.set(qn("w:id"), mark)
    start.set(qn("w:name"), bookmark(kind, name))
    end.set(qn("w:id"), mark)
    paragraph._p.append(start)
    paragraph.add_run(f"{kind} ")
    _field(paragraph, f" SEQ {kind} \\* ARABIC ", str(number))
    paragraph._p.append(end)


def add_reference(paragraph: Any, kind: str, name: str, shown: str = "") -> None:
    """A cross-reference to a caption's `Table 3`; word processors fill it in when fields update."""
    _field(paragraph, f" REF {bookmark(kind, name)} \\h ", shown or kind)


def bookmark(kind: str, name: str) -> str:
    """The bookmark's name: letters, digits and underscores, at most 40."""
    return re.sub(r"\W+", "_", f"{kind}_{name}")[:40]


def words_of(shape: Any, name: str, alt: str) -> None:
    """The alternative text of an inline picture."""
    about = shape._inline.docPr
    about.set("name", name)
    about.set("descr", alt)


def shade(cell: Any, colour: str) -> None:
    """A cell's background, as six hexadecimal digits."""
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn

    shading = OxmlElement("w:shd")
    shading.set(qn("w:val"), "clear")
    shading.set(qn("w:color"), "auto")
    shading.set(qn("w:fill"), colour)
    cell._tc.get_or_add_tcPr().append(shading)


def _field(paragraph: Any, instruction: str, shown: str) -> None:
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn

    def mark(kind: str) -> None:
        char = OxmlElement("w:fldChar")
        char.set(qn("w:fldCharType"), kind)
        paragraph.add_run()._r.append(char)

    mark("begin")
    code = OxmlElement("w:instrText")
    code.set(qn("xml:space"), "preserve")
    code.text = instruction
    paragraph.add_run()._r.append(code)
    mark("separate")
    paragraph.add_run(shown)
    mark("end")
