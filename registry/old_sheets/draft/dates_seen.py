"""The dates of an old sheet: how many need a person to state the order of day and month."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from registry.old_sheets.draft.proposal import Proposal
from registry.old_sheets.draft.sheet_shape import Shape
from registry.problems.cell_text import clean, plain_dashes

_FIGURES = re.compile(r"(\d{1,2})[-/. ]+(\d{1,2})[-/. ]+(\d{4}|'?\d{2})")


@dataclass
class DatesSeen:
    """Dates written as text in figures, by the orders in which they can be read."""

    either: int = 0
    day_first: int = 0
    month_first: int = 0
    short_years: int = 0

    def lines(self) -> Iterator[str]:
        """Statements and remarks for the draft; the order itself is never proposed."""
        if self.either + self.day_first + self.month_first:
            yield (f"# Dates in figures: {self.day_first} fit only the day first, "
                   f"{self.month_first} only the month first, {self.either} either way.")
            yield ('# dates = "day first"  # DECIDE: or "month first"; until it is stated, those '
                   "that fit either way are problems. Rows of another order: [[dates_in_rows]]")
        if self.short_years:
            yield (f"# short_years_from = 1950  # DECIDE: {self.short_years} years have two "
                   "figures; 1950 reads 49 as 2049 and 50 as 1950")


def dates_seen(proposals: list[Proposal], shape: Shape) -> DatesSeen:
    """Count the dates in figures of the columns that the draft takes for dates."""
    seen = DatesSeen()
    for proposal in proposals:
        if proposal.plan and proposal.plan.targets[0].spec.type == "date":
            for _, raw in shape.cells(proposal.column):
                if isinstance(raw, str):
                    _count(seen, raw)
    return seen


def _count(seen: DatesSeen, raw: str) -> None:
    match = _FIGURES.match(plain_dashes(clean(raw)))
    if not match:
        return
    first, second = int(match[1]), int(match[2])
    seen.short_years += len(match[3].lstrip("'")) == 2
    if first > 12 >= second:
        seen.day_first += 1
    elif second > 12 >= first:
        seen.month_first += 1
    elif first != second:
        seen.either += 1
