"""`Estimate`, the one currency of the analyses.

A number that a person reads is never a bare float: it carries what was counted, over what,
with which interval, and the keys of the rows behind it. Tables, sentences, figures and
`results.json` are all drawn from estimates, so that they cannot disagree.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, NamedTuple, TypedDict, TypeVar, Unpack

from analyses.words import estimate_text
from analyses.words.flags import flag_words

if TYPE_CHECKING:
    import pandas as pd

RECORD_KEYS = (
    "id", "kind", "unit", "group", "events", "n", "denominator", "per", "clusters",
    "value", "low", "high", "level", "method", "flags",
)
"""The keys of one entry of `results.json`, in their order there."""

Number = TypeVar("Number", int, float)


class CountedRow(NamedTuple):
    """A unit that an estimate counted: its key as text, and whether it was an event."""

    key: str
    event: bool


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """One result with its uncertainty and its rows.

    value, low and high are on the scale of `kind`: a proportion or probability from 0 to 1
    (printed as per cent), a rate per `per` units of person-time, a median or mean in `measure`,
    a ratio as it is, a difference of proportions from -1 to 1 (printed in percentage points;
    with a `measure`, in that measure). `None` stands for "cannot be given"; the flags then say
    why. NaN becomes None; an infinite bound stays infinite here and is null in `results.json`.

    `label` is what it is called where no measure of its id is declared.
    `effective_n` is the number of independent rows the interval is worth, where rows repeat.
    `arms` are the two estimates that a difference or ratio compares, the first minus (over)
    the second. `beside` are estimates to be shown with this one: the other bound, a standard
    deviation, quartiles.

    Raises ValueError where events exceed n, or the bounds are in the wrong order: an estimate
    that contradicts itself must not reach a reader.
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
    label: str = field(default="", compare=False)
    effective_n: float | None = field(default=None, compare=False)
    arms: tuple[Estimate, ...] = field(default=(), repr=False, compare=False)
    beside: tuple[Estimate, ...] = field(default=(), repr=False, compare=False)
    counted: tuple[CountedRow, ...] = field(default=(), repr=False, compare=False)

    def __post_init__(self) -> None:
        for name in ("value", "low", "high", "denominator", "per", "effective_n"):
            object.__setattr__(self, name, _number(getattr(self, name)))
        for name in ("events", "n", "clusters"):
            count = _number(getattr(self, name))
            object.__setattr__(self, name, None if count is None else int(count))
        object.__setattr__(self, "flags", tuple(self.flags))
        self._refuse_contradictions()

    def _refuse_contradictions(self) -> None:
        if self.kind == "proportion" and (self.events or 0) > (self.n or 0):
            raise ValueError(f"{self.id}: {self.events} events among {self.n} cannot be.")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError(f"{self.id}: lower bound {self.low} is above {self.high}.")
        if not 0 < self.level < 1:
            raise ValueError(f"{self.id}: level {self.level} is not between 0 and 1.")

    def rows(self) -> pd.DataFrame:
        """The units counted: columns `key` (text) and `event` (boolean), one row a unit."""
        import pandas as pd

        return pd.DataFrame({
            "key": pd.Series([row.key for row in self.counted], dtype="object"),
            "event": pd.Series([bool(row.event) for row in self.counted], dtype="bool"),
        })

    def number_text(self) -> str:
        """The numbers alone, as `29/377 (7.7 %, 5.2–10.9)`; for tables whose notes stand below."""
        return estimate_text.number_text(self)

    def as_text(self) -> str:
        """The numbers, then the flags in plain words: `1/4 (25.0 %, 0.6–80.6); too few …`."""
        return "; ".join((self.number_text(), *self.notes()))

    def notes(self) -> tuple[str, ...]:
        """The flags in plain words."""
        return flag_words(self.flags)

    def sentence(self, subject: str | None = None) -> str:
        """An English sentence; `subject` is a noun phrase for what was counted (else the id)."""
        return estimate_text.sentence(self, subject or self.id)

    def as_record(self) -> dict[str, Any]:
        """The entry of `results.json`: numbers to 12 significant digits, None where not finite."""
        found = {name: getattr(self, name) for name in RECORD_KEYS}
        found["group"] = None if self.group is None else {
            str(key): str(value) for key, value in self.group.items()
        }
        found["flags"] = list(self.flags)
        return {name: _recorded(value) for name, value in found.items()}

    def __str__(self) -> str:
        return f"{self.id}{estimate_text.group_words(self)}: {self.as_text()}"

    def _repr_html_(self) -> str:
        from html import escape

        title = f"{self.method}; {100 * self.level:g} % interval" if self.method else ""
        name = f"<b>{escape(self.id)}</b>{escape(estimate_text.group_words(self))}"
        return f'<span title="{escape(title)}">{name}: {escape(self.as_text())}</span>'


def counted_rows(keys: Iterable[Any] | None, events: Iterable[Any]) -> tuple[CountedRow, ...]:
    """Pair unit keys with whether each was an event; empty where no keys are given.

    A key is text, or a tuple of its parts (`("AV-001", 1, 2)` becomes `AV-001/1/2`).
    Raises ValueError where the two differ in length.
    """
    if keys is None:
        return ()
    named = [_key(key) for key in keys]
    found = [bool(event) for event in events]
    if len(named) != len(found):
        raise ValueError(f"There are {len(named)} keys for {len(found)} rows.")
    return tuple(map(CountedRow, named, found))


class Parts(TypedDict, total=False):
    """The parts of an `Estimate` by name, so that a type checker sees which are changed."""

    id: str
    kind: str
    value: float | None
    low: float | None
    high: float | None
    level: float
    method: str
    unit: str
    events: int | None
    n: int | None
    denominator: float | None
    per: float | None
    clusters: int | None
    group: Mapping[str, str] | None
    flags: tuple[str, ...]
    measure: str
    label: str
    effective_n: float | None
    arms: tuple[Estimate, ...]
    beside: tuple[Estimate, ...]
    counted: tuple[CountedRow, ...]


def replaced(estimate: Estimate, **changes: Unpack[Parts]) -> Estimate:
    """The same estimate with some parts changed (a group, a unit, an id).

    A calculation names what was counted once, in an estimate without a value, and fills in value,
    bounds and method as far as it gets.
    """
    now = {f.name: getattr(estimate, f.name) for f in fields(estimate)}
    return Estimate(**{**now, **changes})


def given(number: Number | None) -> Number:
    """A part of an estimate that is known to be there.

    Raises ValueError where it is not: a fault of the calculation, never of the data.
    """
    if number is None:
        raise ValueError("A number that the calculation needs was not given.")
    return number


def _key(key: Any) -> str:
    return "/".join(str(part) for part in key) if isinstance(key, (tuple, list)) else str(key)


def _number(value: Any) -> float | None:
    """A plain Python float, so that numpy's do not leak into JSON; NaN is "cannot be given"."""
    if value is None:
        return None
    number = float(value)
    return None if math.isnan(number) else number


def _recorded(value: Any) -> Any:
    if not isinstance(value, float):
        return value
    return float(f"{value:.12g}") if math.isfinite(value) else None
