"""Freezes with almost nothing in them give a complete and truthful case series."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

import pandas as pd
import pytest
from small_cohort import small_tables

from analyses.content.blocks import Document, Picture
from analyses.content.numbering import labels_of
from analyses.documents.series.references import texts_of
from analyses.documents.series.series_report import manuscript_document, series_work
from analyses.measures.results import work_out
from analyses.population.unit_frames import units_of
from analyses.renderers.html_page import page

Tables = Mapping[str, pd.DataFrame]


def only(tables: Tables, patients: set[str]) -> dict[str, pd.DataFrame]:
    return {name: table[table["patient_id"].isin(patients)].reset_index(drop=True)
            if "patient_id" in table else table for name, table in tables.items()}


def without(*names: str) -> Callable[[Tables], dict[str, pd.DataFrame]]:
    def dropped(tables: Tables) -> dict[str, pd.DataFrame]:
        return {name: table.iloc[:0] if name in names else table
                for name, table in tables.items()}
    return dropped


EDGES: dict[str, Callable[[Tables], dict[str, pd.DataFrame]]] = {
    "no events": without("complications", "haemorrhages"),
    "one patient": lambda tables: only(tables, {"A-0002"}),
    "no resections": without("resections"),
    "no follow-up": without("follow_ups"),
    "nobody": lambda tables: only(tables, set()),
}


@pytest.fixture(scope="module", params=list(EDGES))
def edge(request: pytest.FixtureRequest) -> tuple[str, Document]:
    tables = EDGES[request.param](small_tables())
    return request.param, manuscript_document(series_work(work_out(units_of(tables, manifest={
        "purpose": "quality", "date": "2024-06-01"}))))


def said(document: Document) -> str:
    return " ".join(text for section in document.sections for text in texts_of(section))


def test_the_document_is_complete(edge):
    _, document = edge
    titles = [section.title for section in document.sections]
    assert {"Summary", "Methods", "Results", "Limitations", "Supplement"} <= set(titles)
    assert labels_of(document) and page(document)


def test_every_figure_can_be_drawn_in_one_column(edge):
    for block in edge[1].blocks():
        if isinstance(block, Picture):
            assert block.draw(3.35).get_axes()


def test_nothing_is_invented(edge):
    """No number is made up where there is nothing: no nan, no infinity, no None."""
    text = said(edge[1])
    cells = " ".join(c.text for t in edge[1].tables() for row in t.rows for c in row)
    assert not re.search(r"\bnan\b|\binf\b|\bNone\b|<NA>|NaT", f"{text} {cells}")


def test_it_says_what_cannot_be_said(edge):
    name, document = edge
    text = said(document)
    wanted = {
        "no events": "none of",
        "one patient": "cannot be carried by these data",
        "no resections": "there was no lesion to count",
        "no follow-up": "no visit at least 90 days",
        "nobody": "there was no",
    }[name]
    assert wanted.lower() in text.lower()


def test_no_event_is_not_called_safe(edge):
    name, document = edge
    if name == "no events":
        assert "cannot be excluded" in said(document)
        assert "No signal is not evidence of safety" in said(document)
