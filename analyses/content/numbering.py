"""The numbers of a document's tables and figures, and the references to them in its text."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from analyses.content.blocks import Document, Picture, Table


@dataclass(frozen=True)
class Label:
    """`Table 3` or `Figure S1`: kind, whether it is the supplement's, and the number."""

    kind: str
    supplement: bool
    number: int

    @property
    def stem(self) -> str:
        """What stands before the number: `Table `, `Table S`."""
        return f"{self.kind} {'S' if self.supplement else ''}"

    @property
    def text(self) -> str:
        """The whole label."""
        return f"{self.stem}{self.number}"


Labels = Mapping[str, Label]
"""Name of a table or figure → its label."""


def labels_of(document: Document) -> dict[str, Label]:
    """Label of every table and figure by its name, numbered in order, the supplement apart.

    Raises ValueError where two share a name: a reference could not tell them apart.
    """
    seen: Counter[tuple[str, bool]] = Counter()
    found: dict[str, Label] = {}
    for section in document.sections:
        for block in section.blocks:
            if not isinstance(block, (Table, Picture)):
                continue
            if block.name in found:
                raise ValueError(f"Two tables or figures are called {block.name}.")
            kind = ("Table" if isinstance(block, Table) else "Figure", section.supplement)
            seen[kind] += 1
            found[block.name] = Label(*kind, seen[kind])
    return found


def pieces(text: str, labels: Labels) -> Iterator[tuple[str, str]]:
    """The text in pieces: (words, "") or ("", name of the table or figure referred to)."""
    if not labels:
        yield text, ""
        return
    # The longest first: @technique must not be found in @technique-by-agent.
    names = "|".join(re.escape(name) for name in sorted(labels, key=len, reverse=True))
    for place, piece in enumerate(re.split(f"@({names})", text)):
        if piece:
            yield ("", piece) if place % 2 else (piece, "")


def numbered(text: str, labels: Labels) -> str:
    """The text with every reference as its number."""
    return "".join(labels[name].text if name else words for words, name in pieces(text, labels))
