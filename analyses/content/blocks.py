"""The content model of every document: what is said, apart from how it is shown.

A report builds a `Document` from estimates once; the renderers (HTML, .docx, .pptx) turn the same
document into files. A sentence may name a table or figure of its document as `@name`: it is then
shown by its number. A number in a document is always an `Estimate` in a `Cell` or a
`Sentence`, so a renderer can offer the cases behind it, and a check can read it back.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from analyses.statistics.estimate import Estimate

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True)
class Sentence:
    """A sentence with the estimates it was built from (none for plain explanation)."""

    text: str
    estimates: tuple[Estimate, ...] = ()


@dataclass(frozen=True)
class Paragraph:
    """Sentences that belong together."""

    sentences: tuple[Sentence, ...]


@dataclass(frozen=True)
class Points:
    """A list of points, each a sentence."""

    items: tuple[Sentence, ...]


@dataclass(frozen=True)
class Caution:
    """A paragraph that must not be overlooked."""

    title: str
    sentences: tuple[Sentence, ...]


@dataclass(frozen=True)
class Cell:
    """A cell of a table: its text, and the estimate it shows, if it shows one."""

    text: str
    estimate: Estimate | None = None
    heading: bool = False


@dataclass(frozen=True)
class Table:
    """A table: `name` is its handle for files and cross-references, `columns` its headings."""

    name: str
    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    notes: tuple[str, ...] = ()
    folded: bool = False


@dataclass(frozen=True)
class Picture:
    """A figure: how to draw it, and the words that stand in for it (`alt`).

    `draw(width_in)` returns a matplotlib figure of that width in inches; `drawn` keeps those that
    were drawn, by width, for all who show them. `rows_seen`: it draws more than its estimates (a
    step, a point or a bar of single rows), so that it is left out where small cells are hidden.
    """

    name: str
    caption: str
    alt: str
    draw: Callable[[float], Figure]
    estimates: tuple[Estimate, ...] = ()
    rows_seen: bool = True
    drawn: dict[float, Figure] = field(default_factory=dict, init=False, repr=False, compare=False)


@dataclass(frozen=True)
class Verbatim:
    """Text shown letter by letter and line by line: a plan file."""

    text: str


@dataclass(frozen=True)
class PicturePlaces:
    """Places for pictures that somebody puts in by hand: what belongs in each, up to four."""

    name: str
    labels: tuple[str, ...]


Block = PicturePlaces | Paragraph | Points | Caution | Table | Picture | Verbatim


@dataclass(frozen=True)
class Section:
    """A heading and what stands below it; a slide or more where the document is a talk.

    `notes` are for the speaker: definitions and methods behind what the slide shows. `level`: 1
    for a section, 2 for a part of the one before it. Tables and figures of a `supplement` are
    numbered apart (S1, S2 …). `wide`: its tables need a page turned on its side.
    """

    title: str
    blocks: tuple[Block, ...]
    notes: tuple[str, ...] = ()
    level: int = 1
    supplement: bool = False
    wide: bool = False


@dataclass(frozen=True)
class Document:
    """One document.

    `stays_inside`: it may name study codes, and says on its first line that it stays inside the
    service. `footer` stands on every page or slide. `compact`: a paper of two pages for a meeting,
    set closely.
    """

    name: str
    title: str
    subtitle: str
    sections: tuple[Section, ...]
    stays_inside: bool = True
    footer: str = ""
    compact: bool = False

    def blocks(self) -> Iterator[Block]:
        """Every block in order."""
        for section in self.sections:
            yield from section.blocks

    def estimates(self) -> tuple[Estimate, ...]:
        """Every estimate that stands in a sentence, a cell or a figure, in order."""
        return tuple(e for block in self.blocks() for e in _estimates(block))

    def tables(self) -> list[Table]:
        """Every table in order."""
        return [block for block in self.blocks() if isinstance(block, Table)]

    def pictures(self) -> list[Picture]:
        """Every figure in order."""
        return [block for block in self.blocks() if isinstance(block, Picture)]


def _estimates(block: Block) -> Iterator[Estimate]:
    if isinstance(block, Table):
        yield from (c.estimate for row in block.rows for c in row if c.estimate is not None)
    elif isinstance(block, Picture):
        yield from block.estimates
    elif isinstance(block, Paragraph | Caution):
        yield from (e for sentence in block.sentences for e in sentence.estimates)
    elif isinstance(block, Points):
        yield from (e for sentence in block.items for e in sentence.estimates)


def plain(*texts: str) -> Paragraph:
    """A paragraph of plain explanation, without numbers of its own."""
    return Paragraph(tuple(Sentence(text) for text in texts))
