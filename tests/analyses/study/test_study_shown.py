"""A study shows itself: units, denominators and intervals, as HTML and as plain text."""

from __future__ import annotations

from pathlib import Path

import pytest
from study_of_ten import MANIFEST, study_of_ten

from analyses import open_study
from analyses.content.unbroken import unbroken
from analyses.documents.notebook_show import show
from registry.freeze.freeze_reading import Freeze
from registry.schema import TABLES

STUDY = study_of_ten()


def test_a_study_as_html_has_units_denominators_and_intervals() -> None:
    shown = STUDY._repr_html_()
    found = STUDY.ask("complication.any", unit="session").estimates[0]
    assert unbroken(found.number_text()) in shown and "per session" in shown
    assert "<table" in shown and 'scope="col"' in shown
    assert show(STUDY).html == shown


def test_a_study_as_plain_text_is_short_and_says_how_to_go_on() -> None:
    text = repr(STUDY)
    assert "Any complication" in text and "study.measures()" in text and "0123456789ab" in text
    assert len(text) < 6000 and "<" not in text


def test_what_was_left_out_is_shown() -> None:
    part = STUDY.where("age_y > 35", why="the older half")
    assert "the older half" in repr(part) and part.hash[:12] in repr(part)


def test_a_study_of_nobody_can_be_shown() -> None:
    tables = {name: table.empty() for name, table in TABLES.items()}
    nobody = open_study(Freeze(tables, dict(MANIFEST), Path("nobody")))
    assert "It holds 0 patients" in repr(nobody) and "0 patients" in nobody._repr_html_()


def test_results_read_as_a_line_that_says_how_to_go_on() -> None:
    results = STUDY.results_of(["complications"])
    assert "results.one(id, unit, group)" in repr(results) and "complication" in repr(results)
    with pytest.raises(KeyError):
        results.one("complication.any", "sesion")


def test_an_estimate_reads_as_a_line() -> None:
    found = STUDY.results_of(["complications"]).one("complication.any", "session")
    assert str(found) == f"complication.any: {found.as_text()}"
