"""The design matrix of a model and the way back from its columns to its terms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analyses.statistics.arrays import Floats
from analyses.statistics.regression.terms import Encoding, Term, encoding_of

INTERCEPT = "intercept"


@dataclass(frozen=True)
class DesignColumns:
    """Encodings of all terms; makes the design matrix of any frame with the same columns."""

    terms: tuple[Term, ...]
    encodings: tuple[tuple[Encoding, ...], ...]  # one inner tuple a term, several: a product

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the matrix's columns, the intercept first."""
        return (INTERCEPT, *(name for parts in self.encodings for name in _names(parts)))

    def places(self, term: str) -> list[int]:
        """Which matrix columns a term (by its name) makes, interactions with it left out."""
        found: list[int] = []
        at = 1
        for one, parts in zip(self.terms, self.encodings, strict=True):
            width = len(_names(parts))
            if one.name == term:
                found.extend(range(at, at + width))
            at += width
        if not found:
            raise ValueError(f"{term!r} is not a term of this model")
        return found

    def encode(self, frame: pd.DataFrame) -> Floats:
        """(rows, columns) design matrix with its intercept."""
        blocks: list[Floats] = [np.ones((len(frame), 1))]
        for parts in self.encodings:
            block = parts[0].encode(frame)
            for part in parts[1:]:
                other = part.encode(frame)
                block = (block[:, :, None] * other[:, None, :]).reshape(len(frame), -1)
            blocks.append(block)
        return np.column_stack(blocks)


def _names(parts: tuple[Encoding, ...]) -> tuple[str, ...]:
    names = parts[0].names
    for part in parts[1:]:
        names = tuple(f"{a} × {b}" for a in names for b in part.names)
    return names


def design_columns(frame: pd.DataFrame, terms: Sequence[Term]) -> DesignColumns:
    """Learn the encodings of `terms` from complete rows.

    An interaction takes each of its columns in the form that column has as a term of its own.
    Raises ValueError listing every term that cannot be used.
    """
    own = {term.name: term for term in terms if len(term.columns) == 1}
    encodings, problems = [], []
    for term in terms:
        try:
            parts = [own.get(column, Term((column,))) for column in term.columns]
            if len(parts) == 1:
                parts = [replace(term, columns=term.columns)]
            encodings.append(tuple(encoding_of(part, frame[part.columns[0]]) for part in parts))
        except ValueError as problem:
            problems.append(str(problem))
    if problems:
        raise ValueError("; ".join(problems))
    return DesignColumns(tuple(terms), tuple(encodings))
