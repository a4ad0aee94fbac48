"""Cells of the old sheet that nobody could take as they stand: each has to be reported."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pandas as pd

from synthetic_cohort.old_sheet_cells import Cell, Fate
from synthetic_cohort.old_sheet_columns import Person


@dataclass(frozen=True)
class SheetFault:
    """A kind of fault under one heading: what stands in place of the cell (None: not here).

    `fate` is "reported", or "blank" where a sign for "not recorded" stands in a column that may
    not be blank: then the patient is reported as incomplete.
    """

    kind: str
    heading: str
    raw: Callable[[Cell, Person], Any]
    fate: Fate = "reported"


def _fixed(text: str) -> Callable[[Cell, Person], Any]:
    return lambda cell, person: text


def _clean_day(cell: Cell) -> pd.Timestamp:
    return cell.facts[0].value  # type: ignore[return-value]


def _wrong_order(cell: Cell, person: Person) -> str | None:
    """A date in the order the row's fellow does not use, which fits only that order."""
    day = _clean_day(cell)
    if day.day <= 12:
        return None
    return day.strftime("%d/%m/%Y" if person.month_first else "%m/%d/%Y")


def _no_such_day(cell: Cell, person: Person) -> str:
    year = _clean_day(cell).year
    return f"02/30/{year}" if person.month_first else f"30/02/{year}"


def _misspelt(cell: Cell, person: Person) -> str | None:
    text = str(cell.raw)
    return text.replace("temporal", "tmeporal") if "temporal" in text else None


def _without_side(cell: Cell, person: Person) -> str | None:
    side, _, site = str(cell.raw).partition(" ")
    return None if " " in site else site


def _half_count(cell: Cell, person: Person) -> str | None:
    return f"{cell.raw} x?" if len(cell.facts) == 1 else None


def _unknown_artery(cell: Cell, person: Person) -> str | None:
    return "callosal br. x2" if len(cell.facts) == 2 else None


FAULTS: tuple[SheetFault, ...] = (
    SheetFault("misspelt site", "Location", _misspelt),
    SheetFault("side left out", "Location", _without_side),
    SheetFault("words for a size", "Size", _fixed("about 3, see CT")),
    SheetFault("unknown unit", "Size", _fixed("1.5x1 inch")),
    SheetFault("two grades", "SM gr.", _fixed("II/III")),
    SheetFault("unlisted presentation", "Presented with", _fixed("found at check-up")),
    SheetFault("age range", "Age", _fixed("30s")),
    SheetFault("day that does not exist", "Session 1 date", _no_such_day),
    SheetFault("date in the other order", "Session 1 date", _wrong_order),
    SheetFault("date in words", "Session 2 date", _fixed("spring")),
    SheetFault("more than", "S1 % occl", _fixed(">90")),
    SheetFault("word for a per cent", "S1 % occl", _fixed("subtotal")),
    SheetFault("per cent above 100", "S2 % occl", lambda cell, person: 180),
    SheetFault("occlusion not assessed", "S2 % occl", _fixed("not done")),
    SheetFault("number of pedicles not said", "S1 pedicles", _half_count),
    SheetFault("unknown artery", "S1 pedicles", _unknown_artery),
    SheetFault("unlisted complication", "Complications", _fixed("bit drowsy, ?cause")),
    SheetFault("maybe", "Eloq", _fixed("borderline")),
    SheetFault("unlisted result", "Surgery result", _fixed("GTR (surgeon's view)")),
    SheetFault("letter for a number", "mRS last", _fixed("O")),
    SheetFault("required cell not recorded", "mRS pre", _fixed("?"), "blank"),
    SheetFault("required cell not recorded", "Date seen", _fixed("n/a"), "blank"),
    SheetFault("required cell not recorded", "Size", _fixed("nk"), "blank"),
)
