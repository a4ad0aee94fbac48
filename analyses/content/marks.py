"""Marks in a table: a letter behind a number for what has to be known of it, told below.

A cell whose text ends in the mark has something to say (`Estimate.notes`); cells that say the
same share a letter.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import count, product
from string import ascii_lowercase

from analyses.content.blocks import Cell, Table

MARK = " †"


def lettered(table: Table) -> Table:
    """The table with ` [a]`, ` [b]` … for its marks, and what they mean among its notes."""
    letters: dict[tuple[str, ...], str] = {}
    names = _letters()

    def shown(cell: Cell) -> Cell:
        if cell.estimate is None or not cell.text.endswith(MARK):
            return cell
        notes = cell.estimate.notes()
        if notes not in letters:
            letters[notes] = next(names)
        return replace(cell, text=f"{cell.text.removesuffix(MARK)} [{letters[notes]}]")

    rows = tuple(tuple(map(shown, row)) for row in table.rows)
    told = tuple(f"[{letter}] {'; '.join(notes)}." for notes, letter in letters.items())
    if told:
        told = (" ".join(told),)
    return replace(table, rows=rows, notes=(*table.notes, *told))


def _letters() -> Iterator[str]:
    """a, b … z, aa, ab …"""
    for length in count(1):
        yield from map("".join, product(ascii_lowercase, repeat=length))
