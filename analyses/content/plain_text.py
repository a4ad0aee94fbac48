"""Content as plain text: for a terminal, and for a notebook that shows no HTML."""

from __future__ import annotations

from collections.abc import Iterable
from functools import singledispatch
from textwrap import fill

from analyses.content.blocks import (
    Caution,
    Paragraph,
    Picture,
    PicturePlaces,
    Points,
    Section,
    Table,
)
from analyses.content.marks import lettered

WIDTH = 100
LONGEST_CELL = 40


def sections_text(sections: Iterable[Section]) -> str:
    """Sections one after the other, their titles underlined."""
    parts: list[str] = []
    for section in sections:
        if section.title:
            parts.append(f"{section.title}\n{'-' * len(section.title)}")
        parts += [block_text(block) for block in section.blocks]
    return "\n\n".join(part for part in parts if part)


@singledispatch
def block_text(block: object) -> str:
    """One block as text; anything that holds only text is given as it stands."""
    return str(getattr(block, "text", block))


@block_text.register
def _(block: Paragraph) -> str:
    return fill(" ".join(s.text for s in block.sentences), WIDTH)


@block_text.register
def _(block: Points) -> str:
    return "\n".join(
        fill(item.text, WIDTH, initial_indent="- ", subsequent_indent="  ")
        for item in block.items)


@block_text.register
def _(block: Caution) -> str:
    return "\n".join([block.title.upper(), *(fill(s.text, WIDTH) for s in block.sentences)])


@block_text.register
def _(block: Picture) -> str:
    return fill(f"[Figure] {block.alt}", WIDTH)


@block_text.register
def _(block: PicturePlaces) -> str:
    return fill(f"[Places for pictures: {'; '.join(block.labels)}]", WIDTH)


@block_text.register
def _(block: Table) -> str:
    block = lettered(block)
    rows = [list(block.columns), *([cell.text for cell in row] for row in block.rows)]
    widths = [min(LONGEST_CELL, max(len(row[at]) for row in rows))
              for at in range(len(block.columns))]
    lines = [fill(block.caption, WIDTH)]
    for number, row in enumerate(rows):
        lines.append("  ".join(
            text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip())
        if number == 0:
            lines.append("  ".join("-" * width for width in widths))
    return "\n".join([*lines, *(fill(note, WIDTH) for note in block.notes)])
