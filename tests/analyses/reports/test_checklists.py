"""Reporting checklists: answered from what the document contains, and nothing claimed beyond it.

Sources of the items: von Elm and others 2007 (STROBE), Mathew and others 2023 (PROCESS), Jayaraman
and others 2012, Joint Writing Group 2001.
"""

from __future__ import annotations

import pytest
from small_cohort import small_tables

from analyses.content.blocks import Document, Table
from analyses.content.numbering import labels_of
from analyses.documents.checklists.filled import ANYWHERE, NAMES, Checklist, checklist
from analyses.documents.series.series_report import (
    checklists_document,
    manuscript_document,
    series_work,
)
from analyses.measures.results import work_out
from analyses.population.unit_frames import units_of
from registry.schema import TABLES


def answers(document: Document, name: str) -> dict[str, str]:
    table = next(t for t in document.tables() if t.name == f"checklist-{name}")
    return {row[0].text: row[2].text for row in table.rows}


@pytest.mark.parametrize("name", NAMES)
def test_every_place_named_by_a_checklist_is_in_a_full_document(name, series):
    known = ({s.title for s in series.outside.sections} | set(ANYWHERE)
             | {f"@{label}" for label in labels_of(series.outside)})
    for item in checklist(name).items:
        assert set(item.where) <= known, item


@pytest.mark.parametrize("name", NAMES)
def test_every_characteristic_named_by_a_checklist_is_in_the_baseline_table(name, series):
    described = {e.id.split(".")[1] for e in series.work.results.estimates
                 if e.id.startswith("baseline.")}
    for item in checklist(name).items:
        assert set(item.fields) <= described and set(item.tables) <= set(TABLES), item


def test_strobe_has_its_22_items():
    numbers = {int(item.no.rstrip("abcde")) for item in checklist("strobe").items}
    assert numbers == set(range(1, 23))


def test_every_item_is_answered_or_left_to_the_authors(series):
    for name in NAMES:
        assert all(answers(series.outside, name).values())


def test_what_only_the_authors_know_is_never_claimed(series):
    strobe = answers(series.outside, "strobe")
    assert all(strobe[no].startswith("[Authors]") for no in ("2", "20", "21", "22"))


def test_an_item_the_data_cannot_answer_says_so():
    tables = {n: t.iloc[:0] if n in ("resections", "follow_ups") else t
              for n, t in small_tables().items()}
    tables["lesions"] = tables["lesions"].assign(nidus_border=None)
    units = units_of(tables, manifest={"date": "2024-06-01"})
    made = manuscript_document(series_work(work_out(units)))
    endovascular = answers(made, "avm-endovascular")
    items: Checklist = checklist("avm-endovascular")
    place = {item.topic: str(n) for n, item in enumerate(items.items, start=1)}
    assert endovascular[place["Other treatment"]].startswith("not in these data")
    assert "nothing recorded of: nidus border" in endovascular[place["Nidus"]]


def test_the_checklists_also_stand_alone(series):
    alone = checklists_document(series.outside)
    shown = [b for b in alone.blocks() if isinstance(b, Table)]
    assert len(shown) == len(NAMES)
    texts = {cell.text for table in shown for row in table.rows for cell in row}
    assert {cell.text for t in series.outside.tables() if t.name.startswith("checklist-")
            for row in t.rows for cell in row} == texts
