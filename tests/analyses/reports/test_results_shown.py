"""Results show themselves: units, denominators and intervals, as HTML and as plain text."""

from __future__ import annotations

from analyses.content.unbroken import unbroken
from analyses.measures.results import work_out
from analyses.population.unit_frames import units_of
from registry.schema import TABLES


def test_results_as_html_have_units_denominators_and_intervals(series):
    shown = series.work.results._repr_html_()
    found = series.work.results.one("complication.any", "session")
    assert unbroken(found.number_text()) in shown and "per session" in shown
    assert "<table" in shown and 'scope="col"' in shown


def test_results_as_plain_text_are_short_and_say_how_to_go_on(series):
    text = repr(series.work.results)
    assert "Any complication" in text and "results.one(id, unit, group)" in text
    assert len(text) < 6000 and "<" not in text


def test_results_of_nobody_can_be_shown():
    nobody = work_out(units_of({name: table.empty() for name, table in TABLES.items()}))
    assert "0 patients" in repr(nobody) and "0 patients" in nobody._repr_html_()


def test_an_estimate_reads_as_a_line(series):
    found = series.work.results.one("complication.any", "session")
    assert str(found) == f"complication.any: {found.as_text()}"
