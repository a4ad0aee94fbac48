"""The `[[column]]` entries of a mapping file."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from registry.intake.names import nearest
from registry.old_sheets.mapping.entry import Entry, loose_word
from registry.old_sheets.mapping.statements import (
    COUNTED,
    ColumnPlan,
    Numbers,
    Target,
    WordMeaning,
)
from registry.schema import TABLES

SPLITS = ("diameters", "counted", "added up", "parts")
_LETTERS = re.compile(r"[A-Z]{1,3}")
_COUNTED_BY = re.compile(rf"{COUNTED}( by [a-z_0-9]+)?")


def number_names() -> tuple[str, ...]:
    """The key numbers of all tables (lesion_no, session_no, …), outermost first."""
    names: dict[str, None] = {}
    for table in TABLES.values():
        names |= {name: None for name in table.key if table.by_name[name].type == "int"}
    return tuple(names)


def read_target(entry: Entry, text: Any) -> Target | None:
    """ "table.field" as a target; None, with the fault noted, where there is no such field."""
    if text is None:
        return None
    table, _, name = str(text).partition(".")
    spec = TABLES.get(table)
    if spec is not None and name in spec.by_name:
        return Target(table, name)
    every = [f"{t}.{f}" for t, s in TABLES.items() for f in s.columns]
    near = nearest(str(text), every)
    entry.fault(f'there is no field "{text}"',
                f'"{near}", if that is meant' if near else '"table.field", as in the dictionary')
    return None


def read_numbers(entry: Entry, names: Iterable[str] | None = None) -> Numbers:
    """The numbers of rows that an entry states: session_no = 2, or "counted"."""
    found = []
    for name in number_names() if names is None else names:
        value = entry.any(name)
        if value is None:
            continue
        if name not in number_names():
            entry.fault(f'"{name}" is no number of a row', "one of " + ", ".join(number_names()))
        elif _is_number(value):
            found.append((name, value))
        else:
            entry.fault(f'"{name}" is {value!r}', 'a whole number from 1, or "counted"')
    return tuple(found)


def _is_number(value: Any) -> bool:
    """Whether a value says which number rows have: a whole one, or that they are counted."""
    if isinstance(value, str):
        return bool(_COUNTED_BY.fullmatch(value))
    return isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= 999


def read_column(entry: Entry) -> ColumnPlan | None:
    """One column's plan; None where a fault leaves nothing to work with."""
    heading = entry.text("heading", needed=True)
    letters = entry.text("column")
    entry.what = f'[[column]] "{heading}"' if heading else entry.what
    if letters is not None and not _LETTERS.fullmatch(letters):
        entry.fault(f'"column" is "{letters}"', "the spreadsheet's letters, such as F or AB")
    targets = _targets(entry)
    plan = dict(
        line=entry.line, heading=heading or "", column=letters, targets=targets,
        leave_out=entry.text("leave_out"), open=entry.flag("open"), numbers=read_numbers(entry),
        split=entry.one_of("split", SPLITS), split_at=entry.text("split_at") or " ",
        largest_first=entry.flag("largest_first"),
        count_into=read_target(entry, entry.text("count_into")), unit=entry.text("unit"),
        words=_words(entry), blank=entry.words("blank"),
        range=entry.one_of("range", ("higher", "lower")),
        dates=entry.one_of("dates", ("day first", "month first")),
        short_years_from=entry.whole("short_years_from", 1900, 2000),
        part_dates=entry.one_of("part_dates", ("middle",)) is not None,
        not_identifying=entry.text("not_identifying"),
    )
    entry.close()
    if heading is None:
        return None
    return ColumnPlan(**plan)


def _targets(entry: Entry) -> tuple[Target, ...]:
    value = entry.any("field")
    if value is None:
        return ()
    items = value if isinstance(value, list) else [value]
    found = [target for item in items if (target := read_target(entry, item)) is not None]
    if len(set(found)) != len(found):
        entry.fault("a field stands twice in it", "each field once")
    return tuple(found)


def _words(entry: Entry) -> dict[str, WordMeaning]:
    value = entry.any("words")
    if value is None:
        return {}
    if not isinstance(value, dict):
        entry.fault(f'"words" is {value!r}', 'pairs such as words = { "I" = 1, "II" = 2 }')
        return {}
    found: dict[str, WordMeaning] = {}
    for word, meaning in value.items():
        key = loose_word(word)
        if key in found:
            entry.fault(f'the word "{word}" stands twice (letter case does not count)',
                        "each word once")
        found[key] = _meaning(entry, word, meaning)
    return found


def _meaning(entry: Entry, word: str, meaning: Any) -> WordMeaning:
    """A plain value, or groups of values by field, each group a row."""
    groups = [meaning] if isinstance(meaning, dict) else meaning
    if not isinstance(groups, list):
        return meaning
    if not groups or not all(isinstance(group, dict) for group in groups):
        entry.fault(f'"{word}" means {meaning!r}', "a value, or values by field in braces")
        return ""
    return tuple(
        {target: value for name, value in group.items()
         if (target := read_target(entry, name)) is not None}
        for group in groups
    )
