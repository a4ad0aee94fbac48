"""Cells of the old sheet: clean values written in the ways of the service, ways recorded."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import pandas as pd

from synthetic_cohort.old_sheet_words import BLANKS, WORDS

Fate = Literal["taken", "reported", "blank", "left out"]
"""taken: a mapping can bring back the clean value; reported: it cannot, and has to say so;
blank: the cell says "not recorded"; left out: nothing of the registry."""


@dataclass(frozen=True)
class Fact:
    """A value of the clean tables that a cell carries (None: the cell no longer says it)."""

    table: str
    key: tuple[object, ...]
    field: str
    value: object


@dataclass(frozen=True)
class Cell:
    """A written cell: raw content, how the clean value was changed, what should come of it.

    `shown` is the number format where the cell is a number shown in a special way.
    """

    raw: Any
    way: str = "as it is"
    fate: Fate = "taken"
    facts: tuple[Fact, ...] = field(default=())
    shown: str = ""


def pick(options: Sequence[Any], u: float) -> Any:
    """One of several ways, by a uniform number."""
    return options[min(int(u * len(options)), len(options) - 1)]


def word(kind: str, value: Any, u: float) -> Cell:
    """A listed value in one of the service's words for it."""
    found = pick(WORDS[kind][value], u)
    return Cell(found, "as it is" if found == value else "the service's own word")


def blank(u: float) -> Cell:
    """A sign for "not recorded"."""
    return Cell(pick(BLANKS, u), "sign for not recorded", "blank")


def date(day: pd.Timestamp, u: float, *, month_first: bool) -> Cell:
    """A day: half as the spreadsheet's own dates, half as text in the writer's order."""
    if u < 0.45:
        return Cell(day.to_pydatetime(), "the spreadsheet's own date")
    if u < 0.55:
        return Cell(f"{day.day} {day:%b} {day.year}", "date as text, month in letters")
    order = "%m/%d/%Y" if month_first else "%d/%m/%Y"
    if u < 0.85 or month_first:
        return Cell(day.strftime(order), f"date as text, {order[1]} first")
    return Cell(f"{day.day}.{day.month}.{day:%y}", "date as text, year in two figures")


def part_date(day: pd.Timestamp, known_to: str) -> Cell:
    """A date of which only the month or the year is known."""
    text = f"{day:%m/%Y}" if known_to == "month" else f"{day:%Y}"
    return Cell(text, f"only the {known_to} known")


def age(value: float, u: float) -> Cell:
    """Age in years."""
    if u < 0.6:
        return Cell(int(value))
    return Cell(pick((f"{value:g}y", f"{value:g} yrs", f" {value:g} "), (u - 0.6) / 0.4),
                "unit or blanks around the number")


def size(length: float, width: float, height: float, u: float, order: float) -> Cell:
    """Three diameters in one cell, in any order and unit."""
    sides = [length, width, height]
    turn = int(order * 3)
    sides = sides[turn:] + sides[:turn]
    cm = [f"{side / 10:g}" for side in sides]
    styles = (
        "x".join(cm) + " cm", " x ".join(cm), "x".join(f"{side:g}" for side in sides) + " mm",
        " × ".join(cm), "x".join(part.replace(".", ",") for part in cm) + "cm",
    )
    return Cell(pick(styles, u), "three diameters in one cell")


def mrs(value: int, u: float) -> Cell:
    """An mRS, sometimes as a range of which the higher counts."""
    if value >= 1 and u > 0.85:
        return Cell(f"{value - 1}-{value}", "range, the higher counts")
    if u < 0.6:
        return Cell(int(value))
    return Cell(f"mRS {value}", "words around the number")


def pedicles(arteries: Sequence[str], u: float) -> Cell:
    """ "MCA x3, PCA x1"; arteries of one name stand together."""
    names: dict[str, int] = {}
    for artery in arteries:
        short = WORDS["artery"][artery][0]
        names[short] = names.get(short, 0) + 1
    if u < 0.7:
        text = ", ".join(f"{name} x{count}" for name, count in names.items())
    else:
        text = " + ".join(name if count == 1 else f"{name} x{count}"
                          for name, count in names.items())
    return Cell(text, "arteries with their number")


def volumes(values: Sequence[float], u: float) -> Cell:
    """ "2.4cc + 1.1": one volume a pedicle, in the order of the arteries."""
    if len(values) == 1 and u < 0.5:
        return Cell(float(values[0]))
    first = f"{values[0]:g}cc" if u < 0.7 else f"{values[0]:g}"
    return Cell(" + ".join([first, *(f"{value:g}" for value in values[1:])]),
                "volumes in one cell")


def percent(value: float, u: float) -> Cell:
    """An occlusion in per cent."""
    if u < 0.5:
        return Cell(int(value))
    if u < 0.7:
        return Cell(f"{value:g}%", "per cent sign")
    if u < 0.85:
        return Cell(f"{value:g} %", "per cent sign")
    return Cell(value / 100, "stored as a share, shown as per cent", shown="0%")


def added_up(value: float, u: float, unit: str, step: int = 10) -> Cell:
    """A volume, sometimes as a sum of two."""
    if u < 0.5 or value < 2 * step:
        return Cell(int(value))
    if u < 0.65:
        return Cell(f"{value:g} {unit}", "unit after the number")
    part = step * round(value * (0.4 + 0.3 * u) / step)
    part = min(max(part, step), value - step)
    return Cell(f"{part:g} + {value - part:g}", "a sum in one cell")


def with_facts(cell: Cell, *facts: Fact) -> Cell:
    """The cell with the facts it carries; what is blank or cannot be read says nothing."""
    if cell.fate in ("blank", "left out"):
        facts = tuple(replace(fact, value=None) for fact in facts)
    return replace(cell, facts=facts)


def fictional_number(place: int) -> int:
    """A hospital number that plainly is none: 9,000,000 and up."""
    return 9_000_000 + 37 * place


def fictional_birth(age_y: float, seen: pd.Timestamp, u: float) -> dt.datetime:
    """A day of birth that fits the age."""
    born = seen - pd.Timedelta(days=round(365.25 * (age_y + 0.1 + 0.8 * u)))
    return born.to_pydatetime().replace(hour=0, minute=0, second=0, microsecond=0)
