"""Results that show themselves: the same numbers as their estimates, in HTML and as text."""

from __future__ import annotations

import re
from html import unescape

import pytest
from small_cohort import small_tables

from analyses.measures.durations import bleed_durations, obliteration_durations
from analyses.measures.over_time import (
    BLEED_FREE,
    OBLITERATION,
    bleed_free,
    bracketed,
    incidence,
)
from analyses.monitoring.procedure_frame import procedure_frame
from analyses.monitoring.service import quality_analysis
from analyses.population.unit_frames import units_of
from analyses.statistics.control_charts.attribute_charts import p_chart
from analyses.words.self_showing import Displayed, Summary


@pytest.fixture(scope="module")
def units():
    return units_of(small_tables())


def plain(html: str) -> str:
    return unescape(re.sub(r"<[^>]+>", " ", html))


def test_a_survival_curve_shows_its_own_values(units):
    curves = bleed_free(bleed_durations(units))
    text = str(curves)
    at_one = curves.at(1)
    assert f"{100 * at_one.value:.1f} %" in text
    assert "1 years" in text and "Still followed" in text
    assert "Kaplan–Meier" in curves._repr_html_()


def test_cumulative_incidence_shows_who_is_followed_and_the_competing_events(units):
    curves = incidence(obliteration_durations(units), OBLITERATION, "lesion")
    rows = curves.summary().rows
    for row in rows:
        time = float(row[0].split()[0])
        counted = curves.at_risk_table([time]).iloc[0]
        assert tuple(map(int, row[2:])) == (
            counted["at_risk"], counted["events"], counted["competing"])


def test_groups_have_a_row_each_at_every_time(units):
    curves = incidence(obliteration_durations(units), OBLITERATION, "lesion", "ruptured")
    summary = curves.summary()
    assert summary.headings[0] == "ruptured"
    assert {row[0] for row in summary.rows} == set(map(str, curves.groups))


def test_bracketed_times_say_that_imaging_only_brackets_them(units):
    found = bracketed(obliteration_durations(units))
    assert "Turnbull" in str(found) and "between two dates" in str(found)


def test_a_chart_names_its_centre_limits_and_signals():
    chart = p_chart([1, 1, 1, 1, 9], [20] * 5)
    text = str(chart)
    assert "p chart" in text and "Signal at 5" in text
    assert "No signal" in str(p_chart([1, 1, 1, 1, 1], [20] * 5))


def test_a_quality_analysis_shows_every_sentence(units):
    frame = procedure_frame(units)
    found = quality_analysis(frame[frame["complication"].notna()])
    shown = plain(found._repr_html_())
    assert all(sentence in shown for sentence in found.sentences)
    assert all(problem in shown for problem in found.problems)


def test_text_is_escaped_and_headings_are_marked():
    shown = Summary("a < b", ("<h>",), (("<script>",),), ("x & y",)).html()
    assert "<script>" not in shown and "&lt;script&gt;" in shown
    assert '<th scope="col"' in shown and "<caption" in shown and "x &amp; y" in shown


def test_a_result_cannot_be_made_without_a_summary_of_its_own():
    class Mute(Displayed):
        pass

    with pytest.raises(TypeError, match="abstract"):
        Mute()


def test_the_name_of_a_curve_is_that_of_the_catalogue(units):
    from analyses.measures.declared import about

    assert about(BLEED_FREE).label in str(bleed_free(bleed_durations(units)))
