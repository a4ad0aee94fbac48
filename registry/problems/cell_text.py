"""The text of a raw cell, as a person reads it."""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from dataclasses import dataclass
from typing import Any

# Minus, hyphens and dashes that word processors put where a hyphen was meant.
_DASHES = re.compile(r"[\u2010-\u2015\u2212\ufe63\uff0d]")


@dataclass(frozen=True)
class NoResult:
    """A formula whose result the file does not hold."""


@dataclass(frozen=True)
class ErrorValue:
    """A cell in which the spreadsheet itself shows an error, such as #REF!."""

    text: str


def clean(text: str) -> str:
    """`text` as a person reads it: no invisible characters, single plain spaces, none outside."""
    visible = "".join(
        " " if unicodedata.category(c) in {"Zs", "Cc", "Zl", "Zp"} else c
        for c in text
        if unicodedata.category(c) != "Cf"
    )
    return " ".join(visible.split())


def plain_dashes(text: str) -> str:
    """`text` with every kind of dash or minus sign as a hyphen."""
    return _DASHES.sub("-", text)


def as_text(raw: Any) -> str:
    """A raw cell as text: dates year-month-day, whole numbers without a decimal point."""
    if raw is None:
        return ""
    if isinstance(raw, str):
        return raw
    if isinstance(raw, bool):
        return "TRUE" if raw else "FALSE"
    if isinstance(raw, float):
        return str(int(raw)) if raw.is_integer() and abs(raw) < 1e15 else repr(raw)
    if isinstance(raw, dt.datetime):
        midnight = raw.time() == dt.time()
        return raw.date().isoformat() if midnight else raw.isoformat(sep=" ")
    if isinstance(raw, ErrorValue):
        return raw.text
    return "" if isinstance(raw, NoResult) else str(raw)
