"""`Estimate`, the one currency of the analyses.

A number that a person reads is never a bare float: it carries what was counted, over what,
with which interval, and the keys of the rows behind it. Tables, sentences, figures and
`results.json` are all drawn from estimates, so that they cannot disagree.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple


class CountedRow(NamedTuple):
    """A unit that an estimate counted: its key as text, and whether it was an event."""

    key: str
    event: bool


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """One result with its uncertainty and its rows.

    value, low and high are on the scale of `kind`: a proportion or probability from 0 to 1
    (printed as per cent), a rate per `per` units of person-time, a median or mean in `measure`,
    a ratio as it is, a difference of proportions from -1 to 1 (printed in percentage points).
    `None` stands for "cannot be given"; the flags then say why.
    """

    id: str
    kind: str
    value: float | None
    low: float | None = None
    high: float | None = None
    level: float = 0.95
    method: str = ""
    unit: str = ""
    events: int | None = None
    n: int | None = None
    denominator: float | None = None
    per: float | None = None
    clusters: int | None = None
    group: Mapping[str, str] | None = None
    flags: tuple[str, ...] = ()
    measure: str = ""
    counted: tuple[CountedRow, ...] = field(default=(), repr=False, compare=False)
