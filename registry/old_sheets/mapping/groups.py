"""Rows of the registry that one row of a sheet gives: their tables, numbers and fields."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from registry.old_sheets.mapping.read_columns import number_names
from registry.old_sheets.mapping.statements import Numbers, Target
from registry.schema import TABLES

# A key number that a column of the sheet gives.
FROM_COLUMN = "from a column"


@dataclass(frozen=True)
class Identity:
    """A kind of row that every row of the sheet gives at most once.

    `tokens` are the key numbers in the table's order: a number, "counted…", or `FROM_COLUMN`;
    `beside` are numbers stated that are no key of the table (a complication's session), and the
    part of a cell that makes several counted rows.
    """

    table: str
    tokens: tuple[tuple[str, int | str], ...]
    beside: Numbers = ()
    part: int = 0


@dataclass
class Group:
    """The rows of one identity, column by column: `values[field][sheet row]`, None for a blank.

    `source` says from which column of the sheet (and which part of its cells) a field comes.
    """

    identity: Identity
    rows: int
    values: dict[str, list[Any]] = field(default_factory=dict)
    source: dict[str, tuple[int, int]] = field(default_factory=dict)
    filled: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        self.filled = np.zeros(self.rows, dtype=bool)

    def put(self, name: str, row: int, value: Any, column: int, part: int) -> None:
        """Take a value (None for a faulty one) from a cell of `column`."""
        if name not in self.values:
            self.values[name] = [None] * self.rows
        self.values[name][row] = value
        self.source[name] = (column, part)
        self.filled[row] = True


def identity_of(
    target: Target, stated: Numbers, part: int, numbers: Mapping[str, int | str],
    key_columns: Mapping[str, int],
) -> Identity:
    """The identity of the row that a value of `target` belongs to.

    `stated` are the column's own numbers, `numbers` the mapping's, `key_columns` the key numbers
    that a column gives. A split cell counts on from the number stated for its first row.
    """
    own, spec = dict(stated), TABLES[target.table]
    tokens, extra = [], 0
    for name in spec.key:
        if name not in number_names():
            continue
        token: int | str = own.pop(name, None) or (
            FROM_COLUMN if name in key_columns else numbers.get(name, 1))
        if name == spec.key[-1]:
            if isinstance(token, int):
                token += part
            else:
                extra = part
        tokens.append((name, token))
    beside = tuple((name, value) for name, value in own.items() if name in spec.columns)
    return Identity(target.table, tuple(tokens), beside, extra)
