"""How names of sheets and columns are compared: letter case, spaces and marks do not matter."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable

from registry.problems.cell_text import clean, plain_dashes
from registry.schema import TABLES

_UNIT = re.compile(r"^(?P<label>.+?)\s*\((?P<unit>[^()]*)\)$")


def loose(text: str) -> str:
    """`text` for comparison: folded case, no spaces, underscores, hyphens, commas or stars."""
    folded = unicodedata.normalize("NFKC", plain_dashes(clean(text))).casefold()
    return re.sub(r"[\s_\-*,;:]+", "", folded)


def split_unit(heading: str) -> tuple[str, str]:
    """A heading's label and the unit in parentheses at its end ("" where there is none)."""
    match = _UNIT.match(clean(heading).rstrip("* "))
    return (match["label"], match["unit"]) if match else (clean(heading).rstrip("* "), "")


def table_of(sheet_name: str) -> str | None:
    """The table a sheet or file name means, or None."""
    wanted = loose(sheet_name)
    for name, table in TABLES.items():
        if wanted in {loose(name), loose(table.label)}:
            return name
    return None


def nearest(text: str, candidates: Iterable[str]) -> str | None:
    """The candidate most like `text`, or None when none is near; the first of equals."""
    by_key: dict[str, str] = {}
    for candidate in candidates:
        by_key.setdefault(loose(candidate), candidate)
    near = difflib.get_close_matches(loose(text), list(by_key), n=1, cutoff=0.7)
    return by_key[near[0]] if near else None
