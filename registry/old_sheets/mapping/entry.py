"""One section of a mapping file, read key by key, with every fault kept for the end."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from registry.intake.names import nearest


@dataclass
class Faults:
    """Everything wrong with a mapping, as sentences in the order found."""

    file: str
    sentences: list[str] = field(default_factory=list)

    def add(self, line: int, found: str, wanted: str) -> None:
        """One fault; `line` 0 where it is not known or the whole file is meant."""
        where = f"{self.file}, line {line}" if line else self.file
        self.sentences.append(f"{where}: {found}; wanted: {wanted}.")


@dataclass
class Entry:
    """A section with its name for sentences and its line."""

    content: Mapping[str, Any]
    line: int
    what: str
    faults: Faults
    _asked: set[str] = field(default_factory=set)

    def fault(self, found: str, wanted: str) -> None:
        """Note what is wrong with this section."""
        self.faults.add(self.line, f"{self.what}: {found}", wanted)

    def has(self, key: str) -> bool:
        """Whether the section states `key`."""
        return key in self.content

    def text(self, key: str, *, needed: bool = False) -> str | None:
        """A text; None where it is not stated."""
        value = self._get(key)
        if value is None:
            if needed:
                self.fault(f'"{key}" is not stated', f'{key} = "…"')
            return None
        if not isinstance(value, str):
            self.fault(f'"{key}" is {value!r}', f'a text in quotation marks: {key} = "…"')
            return None
        return value

    def words(self, key: str) -> frozenset[str]:
        """A list of texts (numbers are taken as texts); empty where it is not stated."""
        value = self._get(key)
        if value is None:
            return frozenset()
        items = value if isinstance(value, list) else [value]
        if not all(isinstance(item, str | int | float) for item in items):
            self.fault(f'"{key}" is {value!r}', f'a list such as {key} = ["?", "-"]')
            return frozenset()
        return frozenset(loose_word(item) for item in items)

    def one_of(self, key: str, allowed: tuple[str, ...]) -> Any:
        """One of a few texts; None where it is not stated."""
        value = self._get(key)
        if value is None or value in allowed:
            return value
        listed = " or ".join(f'"{word}"' for word in allowed)
        self.fault(f'"{key}" is {value!r}', listed)
        return None

    def flag(self, key: str) -> bool:
        """true or false; false where it is not stated."""
        value = self._get(key)
        if value is None or isinstance(value, bool):
            return bool(value)
        self.fault(f'"{key}" is {value!r}', f"{key} = true, or no such line")
        return False

    def whole(self, key: str, low: int, high: int) -> int | None:
        """A whole number within limits; None where it is not stated."""
        value = self._get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            self.fault(f'"{key}" is {value!r}', f"a whole number from {low} to {high}")
            return None
        return value

    def any(self, key: str) -> Any:
        """Whatever is stated; None where nothing is."""
        return self._get(key)

    def close(self) -> None:
        """Note the keys nobody asked for: a misspelt key must not pass in silence."""
        for key in self.content:
            if key not in self._asked:
                near = nearest(key, self._asked)
                self.fault(
                    f'"{key}" is no statement of this section',
                    f'"{near}", if that is meant' if near else "one of " + ", ".join(
                        sorted(self._asked)),
                )

    def _get(self, key: str) -> Any:
        self._asked.add(key)
        return self.content.get(key)


def loose_word(raw: Any) -> str:
    """A cell or word as words are compared: letter case, kinds of dash and spaces do not count."""
    from registry.problems.cell_text import as_text, clean, plain_dashes

    return plain_dashes(clean(as_text(raw))).casefold()
