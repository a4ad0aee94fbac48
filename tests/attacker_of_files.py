"""Who has the folder of a report, and nothing else: which small counts of groups can be told?

Written apart from the program. Every file is read back as a reader has it: `results.json`, CSV,
.xlsx, .docx, the page, the words of the figures. What stands beside the name of a group is taken
as told of that group; percentages are turned back into counts; then it adds and subtracts: the
rest of an n, a total less its groups, one n less another of the same group.
"""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any

import docx
import openpyxl

SMALLEST = 5
"""Counts under this, and over 0, are what is looked for."""

GROUPINGS: Mapping[str, str] = {
    "Spetzler–Martin grade": "sm_grade", "Spetzler–Ponce class": "ponce_class",
    "Intent": "intent", "Agent": "agent", "Calendar year": "period", "Ruptured": "ruptured",
    "Extent of embolization": "extent", "Days since the last session": "interval",
    "Formulation": "formulation",
}
"""A heading that says that groups of patients follow → its column in `results.json`."""
LEVELS = ("Grade I", "Grade II", "Grade III", "Grade IV", "Grade V", "EVOH only",
          "cyanoacrylate only", "other copolymer only", "several liquids", "no liquid",
          "before resection", "before radiosurgery", "curative", "palliative", "not embolized",
          "EVOH 6 %", "EVOH 8 %", "EVOH 6.5 %", "under 50 %", "50 to under 90 %", "90 % or more")
"""Names of groups that need no heading to be known."""
DIVIDES = frozenset(GROUPINGS.values()) | {
    "half", "embolized_before", "presented", "mrs", "mechanism", "attribution", "deficit",
    "clavien_dindo", "mrs_30d", "rescue", "preventable", "term"}
"""Columns of an entry's group that divide patients, or their events."""
STUDY_CODE = re.compile(r"\b[A-Z]{1,4}-\d{3,6}\b")

OF_N = re.compile(r"(\d[\d,]*)/(\d[\d,]*)")
WITH_SHARE = re.compile(r"^(\d[\d,]*) \((\d+(?:\.\d+)?) %\)")
SIZE = re.compile(r"\bn = (\d[\d,]*)")
MEDIAN_OF = re.compile(r"\), (\d[\d,]*)(?: \[\w+\])?$")


@dataclass(frozen=True)
class Told:
    """What a file tells of one group: `n` units, and `events` of them (None: not told).

    what: the line or the measure; whole: the same of all patients.
    """

    file: str
    what: str
    group: str
    n: int | None
    events: int | None = None
    whole: tuple[int | None, int | None] = (None, None)


@dataclass(frozen=True)
class Grid:
    """A table as it is read: its file, and its rows of text."""

    file: str
    rows: tuple[tuple[str, ...], ...]


def small_counts(folder: Path) -> list[str]:
    """Every count of 1 to 4 of a group that the folder tells, and how; the search for them."""
    told = [*told_by_entries(folder), *told_by_tables(folder), *told_by_words(folder)]
    return sorted({*_at_once(told), *_missing(told), *_left_of_the_whole(told)})


def single_rows(folder: Path) -> list[str]:
    """What shows single patients: study codes, lists with a line an event, pictures of rows."""
    found = [f"{path.name}: rows counted" for path in folder.rglob("*.parquet")]
    for name, text in texts(folder):
        found += [f"{name}: study code {code}" for code in set(STUDY_CODE.findall(text))
                  if not code.startswith(("SHA-", "ISO-", "UTF-", "RFC-"))]
    for grid in grids(folder):
        found += [f"{grid.file}: {row[0]}" for row in grid.rows
                  if row and re.match(r"Patient \d+, event \d+", row[0])]
    drawn = {"air-kerma", "blood-loss-by-extent", "session-timeline", "learning-curve",
             "confirmed-obliteration", "haemorrhage-free", "recurrence"}
    found += [f"{path.name}: single patients drawn" for path in (folder / "figures").glob("*")
              if re.sub(r"-(one-column|two-columns)\.\w+$", "", path.name) in drawn]
    return sorted(found) + _extremes(folder)


def small_characteristics(folder: Path) -> list[str]:
    """Characteristics that 1 to 4 of all patients have, or do not; a blank is none."""
    found = []
    levels: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for e in entries(folder):
        if (e["id"].startswith("baseline.") and not e["group"] and e["kind"] == "proportion"
                and ".missing" not in e["id"] and e["id"].count(".") == 2):
            levels[e["id"].rsplit(".", 1)[0]].append(e)
    for field, every in levels.items():
        found += [f"results.json: {e['id']}: {e['events']} with it" for e in every
                  if is_small(e["events"])]
        found += [f"results.json: {field}: {e['n'] - e['events']} without it" for e in every
                  if len(every) == 1 and is_small(e["n"] - e["events"])]
    for grid in grids(folder):
        if not any(row and row[0] == "Characteristic" for row in grid.rows):
            continue
        found += [f"{grid.file}: {row[0].strip()}: {events} of all" for row in grid.rows
                  if len(row) > 1 and row[0].strip() != "not recorded"
                  and is_small(events := _read(row[1])[1])]
    return found


def _extremes(folder: Path) -> list[str]:
    return [f"results.json: {e['id']} ({e['kind']})" for e in entries(folder)
            if e["kind"] in ("smallest", "largest", "maximum")]


# What is told ------------------------------------------------------------------------------------

def entries(folder: Path) -> list[dict[str, Any]]:
    """The entries of `results.json`."""
    return list(json.loads((folder / "results.json").read_text(encoding="utf-8"))["estimates"])


def told_by_entries(folder: Path) -> Iterator[Told]:
    """Each entry of a group of patients, with the same of all."""
    every = entries(folder)
    whole = {(e["id"], e["unit"]): (e["n"], e["events"]) for e in every if not e["group"]}
    for e in every:
        group = {k: v for k, v in (e["group"] or {}).items() if k in DIVIDES}
        if not group:
            continue
        name = ", ".join(f"{k} {v}" for k, v in group.items())
        unit = f"{e['unit']}: {name}"
        what = f"{e['id']} per {e['unit']}"
        events = e["events"]
        if events is None and e["kind"] == "proportion" and e["value"] is not None and e["n"]:
            events = round(e["value"] * e["n"])
        same = whole.get((e["id"], e["unit"])) if set(e["group"]) <= DIVIDES else None
        yield Told("results.json", what, unit, e["n"], events, same or (None, None))
        if e["clusters"] is not None:
            yield Told("results.json", f"{what}, patients", f"patients of {unit}", e["clusters"])


def told_by_tables(folder: Path) -> Iterator[Told]:
    """Each number in a column or a row that is a group's."""
    for grid in grids(folder):
        for place, head in enumerate(grid.rows):
            columns = {k: text for k, text in enumerate(head) if _names_a_group(text)}
            if columns:
                yield from _by_columns(grid, grid.rows[place + 1:], columns)
            if place <= 1 and head and head[0] in GROUPINGS and len(head) > 1:
                yield from _by_rows(grid, head, grid.rows[place + 1:])


def told_by_words(folder: Path) -> Iterator[Told]:
    """Counts that follow the name of a group in a sentence."""
    names = "|".join(map(re.escape, sorted(LEVELS, key=len, reverse=True)))
    said = re.compile(rf"({names}|(?:{'|'.join(GROUPINGS)}): [^;,.]{{1,40}}?) {OF_N.pattern}")
    for name, text in texts(folder):
        for group, events, n in said.findall(text):
            yield Told(name, "a sentence", group, _whole(n), _whole(events))


def _by_columns(
    grid: Grid, rows: Iterable[tuple[str, ...]], columns: Mapping[int, str],
) -> Iterator[Told]:
    for row in rows:
        whole = _read(row[1]) if len(row) > 1 else (None, None)
        for place, group in columns.items():
            n, events = _read(row[place]) if place < len(row) else (None, None)
            if n is not None or events is not None:
                yield Told(grid.file, row[0].strip(), group, n, events, whole)


def _by_rows(
    grid: Grid, head: tuple[str, ...], rows: Iterable[tuple[str, ...]],
) -> Iterator[Told]:
    kept = [row for row in rows if len(row) == len(head) and row[0]]
    last = next((row for row in kept if row[0] == "All"), None)
    for row in kept:
        if row[0] == "All":
            break
        for place in range(1, len(row)):
            n, events = _read(row[place])
            whole = _read(last[place]) if last else (None, None)
            if n is not None or events is not None:
                yield Told(grid.file, head[place], f"{head[0]}: {row[0]}", n, events, whole)


def _names_a_group(text: str) -> bool:
    return text in LEVELS or any(text.startswith(f"{heading}: ") for heading in GROUPINGS)


def _read(text: str) -> tuple[int | None, int | None]:
    """(n, events) of a cell; an n is worked out of a count and its percentage."""
    if found := OF_N.search(text):
        return _whole(found[2]), _whole(found[1])
    if found := WITH_SHARE.match(text):
        return _n_of_share(_whole(found[1]), found[2]), _whole(found[1])
    if found := SIZE.search(text):
        return _whole(found[1]), None
    if found := MEDIAN_OF.search(text):
        return _whole(found[1]), None
    return None, None


def _n_of_share(events: int, share: str) -> int | None:
    """The one n that gives this percentage, as far as it was printed; None where several do."""
    digits = len(share.partition(".")[2])
    fitting = [n for n in range(max(events, 1), 1000)
               if f"{100 * events / n:.{digits}f}" == share]
    return fitting[0] if len(fitting) == 1 and events else None


def _whole(text: str) -> int:
    return int(text.replace(",", ""))


# What follows from it ----------------------------------------------------------------------------

def is_small(count: int | None) -> bool:
    """Whether it is one that is looked for."""
    return count is not None and 0 < count < SMALLEST


def _at_once(told: Iterable[Told]) -> Iterator[str]:
    """Printed as it is, or the rest of its n."""
    for one in told:
        if is_small(one.n):
            yield f"{one.file}: {one.group}: {one.what}: only {one.n} units"
        if is_small(one.events):
            yield f"{one.file}: {one.group}: {one.what}: {one.events} with it"
        if one.n is not None and one.events is not None and is_small(one.n - one.events):
            yield f"{one.file}: {one.group}: {one.what}: {one.n - one.events} without it"


def _missing(told: Iterable[Told]) -> Iterator[str]:
    """One n less another of the same group: those who are in one and not in the other."""
    sizes: dict[tuple[str, str], set[int]] = defaultdict(set)
    for one in told:
        if one.n is not None:
            sizes[one.file, one.group].add(one.n)
    for (file, group), found in sizes.items():
        for fewer, more in pairwise(sorted(found)):
            if is_small(more - fewer):
                yield f"{file}: {group}: n {more} less n {fewer}: {more - fewer} missing"


def _left_of_the_whole(told: Iterable[Told]) -> Iterator[str]:
    """A total less its groups."""
    lines: dict[tuple[str, str, str], list[Told]] = defaultdict(list)
    for one in told:
        lines[one.file, one.what, one.group.partition(": ")[0]].append(one)
    for (file, what, _), found in lines.items():
        for k, name in ((0, "units"), (1, "with it")):
            total = found[0].whole[k]
            parts = [one.n if k == 0 else one.events for one in found]
            if total is None or any(part is None for part in parts):
                continue
            left = total - sum(part for part in parts if part is not None)
            if is_small(left):
                yield f"{file}: {what}: {left} {name} in the group that is not told"


# Files read back ---------------------------------------------------------------------------------

def grids(folder: Path) -> Iterator[Grid]:
    """Every table of the folder."""
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.suffix == ".csv":
            rows = csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig")))
            yield Grid(name, tuple(map(tuple, rows)))
        elif path.suffix == ".xlsx":
            for sheet in openpyxl.load_workbook(path).worksheets:
                yield Grid(f"{name} {sheet.title}", tuple(
                    tuple("" if cell is None else str(cell) for cell in row)
                    for row in sheet.iter_rows(values_only=True)))
        elif path.suffix == ".docx":
            for table in docx.Document(str(path)).tables:
                yield Grid(name, tuple(
                    tuple(cell.text for cell in row.cells) for row in table.rows))
        elif path.suffix == ".html":
            for found in _Tables.of(path.read_text(encoding="utf-8")):
                yield Grid(name, found)


def texts(folder: Path) -> Iterator[tuple[str, str]]:
    """Every file's words: name → text."""
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.suffix in (".txt", ".csv", ".json", ".svg") and path.name != "results.schema.json":
            yield name, path.read_text(encoding="utf-8")
        elif path.suffix == ".html":
            yield name, re.sub(r"<[^>]+>", "", path.read_text(encoding="utf-8"))
        elif path.suffix in (".docx", ".xlsx"):
            with zipfile.ZipFile(path) as package:
                for part in package.namelist():
                    if part.endswith(".xml"):
                        text = package.read(part).decode("utf-8", "ignore")
                        yield f"{name} {part}", re.sub(r"<[^>]+>", "", text)


class _Tables(HTMLParser):
    """The tables of a page as rows of text."""

    def __init__(self) -> None:
        super().__init__()
        self.tables: list[list[list[str]]] = []
        self.inside = False

    @classmethod
    def of(cls, text: str) -> list[tuple[tuple[str, ...], ...]]:
        reader = cls()
        reader.feed(text)
        return [tuple(map(tuple, rows)) for rows in reader.tables]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "table":
            self.tables.append([])
        elif tag == "tr" and self.tables:
            self.tables[-1].append([])
        elif tag in ("td", "th") and self.tables and self.tables[-1]:
            self.tables[-1][-1].append("")
            self.inside = True

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th"):
            self.inside = False

    def handle_data(self, data: str) -> None:
        if self.inside:
            self.tables[-1][-1][-1] += data
