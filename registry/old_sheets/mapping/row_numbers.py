"""Key numbers of the rows: stated, from a column, or counted in the order of the sheet."""

from __future__ import annotations

from typing import Any

from registry.old_sheets.mapping.groups import FROM_COLUMN, Identity
from registry.old_sheets.mapping.sheet_rows import SheetRows
from registry.old_sheets.mapping.statements import COUNTED
from registry.schema import TABLES

# A counted number belongs to one instance: a sheet row, and what tells its rows apart.
_Tag = tuple[Any, ...]


class Numbering:
    """Resolves the key numbers of every row of every group."""

    def __init__(self, rows: SheetRows) -> None:
        self._rows = rows
        self._counted: dict[str, dict[tuple[int, _Tag], int]] = {}
        for name in _counted_names(rows):
            self._counted[name] = {}
            self._count(name)

    def key(self, identity: Identity, row: int) -> tuple[Any, ...]:
        """The key numbers of a group's row, outermost first; None for one that is not known."""
        return tuple(self._number(identity, name, token, row) for name, token in identity.tokens)

    def _number(self, identity: Identity, name: str, token: int | str, row: int) -> int | None:
        if isinstance(token, int):
            return token
        if token == FROM_COLUMN:
            return self._rows.key_values[name][row]
        return self._counted.get(name, {}).get((row, _tag(identity, name)))

    def _count(self, name: str) -> None:
        """Number the instances of one key under each parent, outer keys being known already."""
        waiting: dict[tuple[Any, ...], list[tuple[int, int, _Tag, Identity]]] = {}
        seen: set[tuple[int, _Tag]] = set()
        for order, (identity, group) in enumerate(self._rows.groups.items()):
            if not str(dict(identity.tokens).get(name, "")).startswith(COUNTED):
                continue
            tag = _tag(identity, name)
            for row in group.filled.nonzero()[0].tolist():
                if (row, tag) not in seen:
                    seen.add((row, tag))
                    parent = (self._rows.patients[row], *self._outer(identity, name, row))
                    waiting.setdefault(parent, []).append((row, order, tag, identity))
        for instances in waiting.values():
            instances.sort(key=lambda one: (*self._date(name, one[3], one[0]), one[0], one[1]))
            for number, (row, _, tag, _) in enumerate(instances, start=1):
                self._counted[name][row, tag] = number

    def _outer(self, identity: Identity, name: str, row: int) -> tuple[Any, ...]:
        found = []
        for outer, token in identity.tokens:
            if outer == name:
                break
            found.append(self._number(identity, outer, token, row))
        return tuple(found)

    def _date(self, name: str, identity: Identity, row: int) -> tuple[bool, Any]:
        """By which field the instances are put in order; blanks come last."""
        _, _, by = str(dict(identity.tokens)[name]).partition(" by ")
        if not by:
            return (False, 0)
        owner = owner_of(name)
        for other, group in self._rows.groups.items():
            if other.table == owner and by in group.values and _tag(other, name) == _tag(
                identity, name
            ):
                value = group.values[by][row]
                if value is not None:
                    return (False, value)
        return (True, 0)


def owner_of(name: str) -> str:
    """The table whose rows a key number counts."""
    return next(table.name for table in TABLES.values() if table.key[-1] == name)


def _counted_names(rows: SheetRows) -> list[str]:
    """The key numbers that are counted, outermost first."""
    names: dict[str, int] = {}
    for identity in rows.groups:
        for depth, (name, token) in enumerate(identity.tokens):
            if isinstance(token, str) and token.startswith(COUNTED):
                names[name] = max(depth, names.get(name, 0))
    return sorted(names, key=lambda name: (names[name], name))


def _tag(identity: Identity, name: str) -> _Tag:
    """What tells the instances of `name` within one sheet row apart."""
    stated: list[Any] = []
    for outer, token in identity.tokens:
        if outer == name:
            break
        stated.append((outer, token))
    own = identity.tokens[-1][0] == name
    # Rows of the tables below belong to the plain instance of their sheet row.
    return (*stated, *((identity.beside, identity.part) if own else ((), 0)))


__all__ = ["Numbering", "owner_of"]
