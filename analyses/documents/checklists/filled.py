"""Checklists answered from a document: where each item stands, or what only the authors can add."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from analyses.content.blocks import Cell, Document, Section, Table, plain
from analyses.content.numbering import Labels, labels_of
from analyses.measures.declared import answering
from analyses.measures.results import Results
from analyses.measures.small_cells import SUPPRESSED

NAMES = ("strobe", "process", "avm-endovascular", "avm-terminology")
ANYWHERE = ("title", "not matched")
"""Answers that stand in every document of this kind."""


@dataclass(frozen=True)
class Item:
    """One item: what it asks, and what answers it.

    where: section titles and `@name` of tables and figures; fields, tables: what the data must
    hold for those to be an answer (every characteristic recorded at least once, tables with
    rows); author: what only the authors can add. Which measures answer it, they say themselves
    (`Measure.answers`): one of them must have counted something.
    """

    topic: str
    item: str
    no: str = ""
    where: tuple[str, ...] = ()
    fields: tuple[str, ...] = ()
    tables: tuple[str, ...] = ()
    author: str = ""


@dataclass(frozen=True)
class Checklist:
    """A checklist with its source."""

    name: str
    title: str
    source: str
    items: tuple[Item, ...]


@cache
def checklist(name: str) -> Checklist:
    """A checklist by its name (one of NAMES)."""
    text = (files(__package__) / f"{name}.toml").read_text(encoding="utf-8")
    content = tomllib.loads(text)
    return Checklist(content["name"], content["title"], content["source"],
                     tuple(map(_item, content["item"])))


def _item(told: Mapping[str, Any]) -> Item:
    parts: dict[str, Any] = {
        key: tuple(value) if isinstance(value, list) else value for key, value in told.items()}
    return Item(**parts)


def checklist_sections(document: Document, results: Results) -> list[Section]:
    """Every checklist filled in for this document, as sections of its supplement."""
    labels = labels_of(document)
    titles = {section.title for section in document.sections}
    held = _held(results)
    head = Section("Reporting checklists", (plain(
        "Filled in from what this document contains. Items are in our own words; the papers named "
        "below each table have the full text. [Authors]: only the authors can add it."),),
        level=2, supplement=True)
    return [head, *(Section(found.title, (_table(found, labels, titles, results, held),),
                            level=2, supplement=True) for found in map(checklist, NAMES))]


def _table(
    found: Checklist, labels: Labels, titles: set[str], results: Results,
    held: Mapping[str, int],
) -> Table:
    rows = tuple(
        (Cell(item.no or str(place), heading=True), Cell(f"{item.topic}: {item.item}"),
         Cell(answer(found.name, item, labels, titles, results, held)))
        for place, item in enumerate(found.items, start=1))
    return Table(f"checklist-{found.name}", found.title, ("No", "Item", "Where"), rows,
                 (found.source,))


def key_of_item(name: str, item: Item) -> str:
    """What a measure says that it answers: "strobe 15", or "avm-terminology: Haemorrhage"."""
    return f"{name} {item.no}" if item.no else f"{name}: {item.topic}"


def answer(
    name: str, item: Item, labels: Labels, titles: set[str], results: Results,
    held: Mapping[str, int],
) -> str:
    """Where the item is answered, what the data lack for it, and what the authors add."""
    lacking = [f for f in item.fields if not held.get(f"baseline.{f}")]
    empty = [t for t in item.tables if results.units.tables[t].empty]
    measures = answering(key_of_item(name, item))
    none = bool(measures) and not any(held.get(id) for id in measures)
    said = [] if none or empty else list(filter(None, (
        _place(where, labels, titles) for where in item.where)))
    if item.where and not said:
        said = ["not in these data"]
    if lacking and said != ["not in these data"]:
        word = "shown" if results.hidden else "recorded"
        said.append(f"nothing {word} of: {', '.join(f.replace('_', ' ') for f in lacking)}")
    if item.author or not said:
        said.append(f"[Authors] {item.author or 'the whole item'}")
    return "; ".join(said)


def _place(where: str, labels: Labels, titles: set[str]) -> str:
    if where.startswith("@"):
        found = labels.get(where[1:])
        return found.text if found else ""
    if where in ANYWHERE:
        return where
    return f"“{where}”" if where in titles else ""


def _held(results: Results) -> dict[str, int]:
    """How many units stand behind each id overall; of a characteristic, in how many it is known."""
    found: dict[str, int] = {}
    for e in results.estimates:
        overall = not e.group or set(e.group) <= {"years", "analysis"}
        if not overall or e.kind == SUPPRESSED:
            continue
        found[e.id] = max(found.get(e.id, 0), e.n or 0)
        if e.id.startswith("baseline.") and not e.id.endswith(".missing"):
            stem = ".".join(e.id.split(".")[:2])
            found[stem] = max(found.get(stem, 0), e.n or 0)
    return found
