"""What one cell turned into: its value, and what there is to say about it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from registry.privacy.contents import identifying_content
from registry.problems.cell_text import as_text, clean
from registry.problems.problem import Severity
from registry.schema import FieldSpec

LONGEST_SHOWN = 40


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


def fault(rule: str, raw: Any, wanted: str, mend: str) -> Cell:
    """A cell that cannot be taken."""
    return Cell(None, (Remark("error", rule, shown(raw), wanted, mend),))


def shown(raw: Any) -> str:
    """A raw cell as a problem quotes it: in quotation marks, not at length, naming nobody."""
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


def or_blank(spec: FieldSpec) -> str:
    """What may stand instead of a value: a blank, unless the field must be filled in."""
    if spec.required:
        return "; this column may not be blank"
    return ", or leave the cell blank if it was not recorded"


def is_blank(raw: Any, blanks: frozenset[str] = frozenset()) -> bool:
    """Whether a cell says nothing: empty, only invisible characters, or a word for blank."""
    if raw is None:
        return True
    if not isinstance(raw, str):
        return False
    text = clean(raw)
    return not text or text in blanks
