"""On which line of a TOML file a statement stands: the ledger names it.

The standard reader gives values without lines. Headers of sections and the keys under them are
found by a plain scan; where it does not agree with what was read (a header inside a text of
several lines), the line is left at 0 and the entry is named by its number instead.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

_ENTRY = re.compile(r"\s*\[\[\s*([A-Za-z_]+)\s*\]\]\s*(#.*)?")
_SECTION = re.compile(r"\s*\[\s*([A-Za-z_]+)\s*\]\s*(#.*)?")
_KEY = re.compile(r"\s*([A-Za-z_]+)\s*=")


def entry_lines(text: str, content: Mapping[str, Any]) -> dict[str, list[int]]:
    """The lines of the `[[name]]` entries, by name; 0 where they cannot be told."""
    found: dict[str, list[int]] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if match := _ENTRY.fullmatch(line):
            found.setdefault(match[1], []).append(number)
    for name, entries in content.items():
        if isinstance(entries, list) and len(found.get(name, [])) != len(entries):
            found[name] = [0] * len(entries)
    return found


def key_lines(text: str) -> dict[tuple[str, str], int]:
    """(section, key) → line, for the sections that stand once; "" is the top of the file."""
    lines: dict[tuple[str, str], int] = {}
    section: str | None = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if match := _SECTION.fullmatch(line):
            section = match[1]
            lines.setdefault((section, ""), number)
        elif _ENTRY.fullmatch(line):
            section = None
        elif section is not None and (match := _KEY.match(line)):
            lines.setdefault((section, match[1]), number)
    return lines
