"""What one cell turned into: its value, and what there is to say about it."""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from dataclasses import dataclass
from typing import Any

from registry.problems.problem import Severity

LONGEST_SHOWN = 40
# Minus, hyphens and dashes that word processors put where a hyphen was meant.
_DASHES = re.compile(r"[\u2010-\u2015\u2212\ufe63\uff0d]")


@dataclass(frozen=True)
class Remark:
    """One thing to say about a cell; the place is added by whoever knows it."""

    severity: Severity
    rule: str
    found: str
    wanted: str
    mend: str


@dataclass(frozen=True)
class Cell:
    """A cell's value (None where blank or faulty) and the remarks on it."""

    value: Any = None
    remarks: tuple[Remark, ...] = ()

    @property
    def faulty(self) -> bool:
        """Whether the cell keeps its patient out."""
        return any(remark.severity == "error" for remark in self.remarks)


@dataclass(frozen=True)
class NoResult:
    """A formula whose result the file does not hold."""


@dataclass(frozen=True)
class ErrorValue:
    """A cell in which the spreadsheet itself shows an error, such as #REF!."""

    text: str


def fault(rule: str, raw: Any, wanted: str, mend: str) -> Cell:
    """A cell that cannot be taken."""
    return Cell(None, (Remark("error", rule, shown(raw), wanted, mend),))


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


def shown(raw: Any) -> str:
    """A raw cell as a problem quotes it: in quotation marks, not at length, naming nobody."""
    from registry.privacy.contents import identifying_content

    if kind := identifying_content(raw):
        return f"content that looks like {kind} (not repeated here)"
    text = clean(as_text(raw))
    if len(text) > LONGEST_SHOWN:
        text = text[: LONGEST_SHOWN - 1] + "…"
    if isinstance(raw, dt.date):
        return f"the date {text}"
    if isinstance(raw, dt.time | dt.timedelta):
        return f"the clock time {text}"
    return f'"{text}"' if isinstance(raw, str) else text


def is_blank(raw: Any, blanks: frozenset[str] = frozenset()) -> bool:
    """Whether a cell says nothing: empty, only invisible characters, or a word for blank."""
    if raw is None:
        return True
    if not isinstance(raw, str):
        return False
    text = clean(raw)
    return not text or text in blanks
