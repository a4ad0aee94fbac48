"""Content without what would tell a small cell: what stays is made of estimates that may be shown.

The estimates are hidden before a document is built (`Results.outside`); here a table loses the
numbers that rest on others, and a document what draws or lists single rows.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from analyses.content.blocks import (
    Block,
    Caution,
    Cell,
    Paragraph,
    Picture,
    Points,
    Section,
    Sentence,
    Table,
)
from analyses.measures.results_record import every_estimate, key_of
from analyses.measures.small_cells import SUPPRESSED
from analyses.statistics.estimate import Estimate

NOT_SHOWN = "not shown"
DIGIT = re.compile(r"\d")
REFERENCE = re.compile(r"@([a-z][\w-]*)")


@dataclass(frozen=True)
class Outside:
    """The estimates that may be shown, as results without small cells hold them."""

    estimates: frozenset[str]

    def shows(self, estimate: Estimate) -> bool:
        """Whether a number may be shown: it is one of them, and not emptied."""
        return estimate.kind != SUPPRESSED and _told(estimate) in self.estimates


def outside_of(estimates: Iterable[Estimate]) -> Outside:
    """What may be shown, of results without small cells and numbers beyond them."""
    return Outside(frozenset(map(_told, every_estimate(estimates))))


def without_hidden(sections: Sequence[Section], outside: Outside) -> list[Section]:
    """The sections without numbers that may not be shown, and without what then says nothing.

    A table's row stays where one of its numbers may be shown, or where it holds words alone; a
    picture where it draws nothing but such estimates; a sentence where all of its numbers may
    be shown and what it refers to is still there.
    """
    kept = [replace(s, blocks=tuple(
        b for block in s.blocks if (b := _block(block, outside)) is not None)) for s in sections]
    kept = [new for old, new in zip(sections, kept, strict=True) if _says_something(old, new)]
    there = _names(kept)
    return [replace(s, blocks=tuple(
        b for block in s.blocks if (b := _without_references(block, there)) is not None))
        for s in kept]


def _told(estimate: Estimate) -> str:
    """What an estimate says, with its name: two that say the same are one number."""
    return f"{key_of(estimate)} {estimate.as_record()}"


def _names(sections: Iterable[Section]) -> set[str]:
    return {b.name for s in sections for b in s.blocks if isinstance(b, Table | Picture)}


def _says_something(old: Section, new: Section) -> bool:
    """Whether a section that had numbers has one left; one of words alone stays."""
    return not _with_numbers(old) or any(map(_numbers_of, new.blocks))


def _with_numbers(section: Section) -> bool:
    return any(isinstance(b, Table | Picture) or _numbers_of(b) for b in section.blocks)


def _numbers_of(block: Block) -> tuple[Estimate, ...]:
    if isinstance(block, Table):
        return tuple(c.estimate for row in block.rows for c in row if c.estimate is not None)
    if isinstance(block, Picture):
        return block.estimates
    return tuple(e for sentence in _sentences(block) for e in sentence.estimates)


def _sentences(block: Block) -> tuple[Sentence, ...]:
    if isinstance(block, Points):
        return block.items
    return block.sentences if isinstance(block, Paragraph | Caution) else ()


def _block(block: Block, outside: Outside) -> Block | None:
    if isinstance(block, Table):
        rows = tuple(row for old in block.rows if (row := _row(old, outside)) is not None)
        left = replace(block, rows=_without_empty_headings(rows))
        return left if _numbers_of(left) else None
    if isinstance(block, Picture):
        fits = not block.rows_seen and all(map(outside.shows, block.estimates))
        return block if fits and block.estimates else None
    return _with_sentences(block, [
        s for s in _sentences(block) if all(map(outside.shows, s.estimates))])


def _row(row: tuple[Cell, ...], outside: Outside) -> tuple[Cell, ...] | None:
    """The row with what may be shown; None where nothing of it may."""
    given = [cell for cell in row if cell.estimate is not None]
    if not given:
        rest = [cell for cell in row if not cell.heading]
        return None if any(DIGIT.search(cell.text) for cell in rest) else row
    numbers = [cell.estimate for cell in given if cell.estimate is not None]
    if all(map(outside.shows, numbers)):
        return row
    if not any(outside.shows(e) or e.kind == SUPPRESSED for e in numbers):
        return None
    return tuple(_cell(cell, outside) for cell in row)


def _cell(cell: Cell, outside: Outside) -> Cell:
    """A cell of a row that has hidden numbers: a number without an estimate may be theirs."""
    if cell.estimate is None:
        hidden = not cell.heading and DIGIT.search(cell.text) is not None
    else:
        hidden = not outside.shows(cell.estimate)
    return Cell(NOT_SHOWN) if hidden else cell


def _without_empty_headings(rows: tuple[tuple[Cell, ...], ...]) -> tuple[tuple[Cell, ...], ...]:
    """The rows without headings below which nothing stands."""
    found: list[tuple[Cell, ...]] = []
    for row in reversed(rows):
        alone = row[0].heading and not any(cell.text for cell in row[1:])
        under = found[-1] if found else None
        if alone and (under is None or (under[0].heading and not any(c.text for c in under[1:]))):
            continue
        found.append(row)
    return tuple(reversed(found))


def _without_references(block: Block, there: set[str]) -> Block | None:
    """Without sentences that refer to a table or figure that is not there."""
    sentences = _sentences(block)
    kept = [s for s in sentences if set(REFERENCE.findall(s.text)) <= there]
    return block if len(kept) == len(sentences) else _with_sentences(block, kept)


def _with_sentences(block: Block, kept: Sequence[Sentence]) -> Block | None:
    """The block with these sentences; None where it had some and none is left."""
    if _sentences(block) and not kept:
        return None
    if isinstance(block, Points):
        return replace(block, items=tuple(kept))
    if isinstance(block, Paragraph | Caution):
        return replace(block, sentences=tuple(kept))
    return block
