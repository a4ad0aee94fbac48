"""The parts of a .docx that its library has no call for: numbers, references, alt text, shading."""

from __future__ import annotations

import re
import zlib
from typing import Any

from analyses.content.numbering import Label


def add_bookmarked_number(paragraph: Any, label: Label, name: str) -> None:
    """`Table 3` as a self-numbering field inside a bookmark that references can point to."""
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn

    mark = str(zlib.crc32(f"{label.kind}/{name}".encode()) % 2**31)
    start, end = OxmlElement("w:bookmarkStart"), OxmlElement("w:bookmarkEnd")
    start.set(qn("w:id"), mark)
    start.set(qn("w:name"), bookmark(label.kind, name))
    end.set(qn("w:id"), mark)
    paragraph._p.append(start)
    paragraph.add_run(label.stem)
    # The supplement counts on its own: another sequence, by another name.
    sequence = f"{label.kind}{'S' if label.supplement else ''}"
    add_field(paragraph, f" SEQ {sequence} \\* ARABIC ", str(label.number))
    paragraph._p.append(end)


def add_reference(paragraph: Any, label: Label, name: str) -> None:
    """A cross-reference to a caption's `Table 3`: right as written, and it follows renumbering."""
    add_field(paragraph, f" REF {bookmark(label.kind, name)} \\h ", label.text)


def bookmark(kind: str, name: str) -> str:
    """The bookmark's name: letters, digits and underscores, at most 40, unlike any other's."""
    return f"{re.sub(r'[^A-Za-z0-9]+', '_', f'{kind}_{name}')[:31]}_{zlib.crc32(name.encode()):08x}"


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


def add_field(paragraph: Any, instruction: str, shown: str) -> None:
    """A field: its instruction, and what it shows until fields are updated."""
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
