"""The summary of a case series: five sentences, every main outcome in one of them."""

from __future__ import annotations

from small_cohort import small_tables

from analyses.documents.series.series_report import summary_sentences
from analyses.measures.declared import shown_at
from analyses.measures.places import Place
from analyses.measures.results import work_out
from analyses.population.unit_frames import units_of
from registry.schema import TABLES


def test_five_sentences_with_all_counts_and_outcomes():
    results = work_out(units_of(small_tables()))
    summary = [*shown_at(Place.HEADLINE), *shown_at(Place.SUMMARY)]
    sentences = summary_sentences(results)
    assert len(sentences) == 5
    shown = [e for sentence in sentences for e in sentence.estimates]
    assert [(e.id, e.unit) for e in shown if not e.id.startswith("count.")] == summary
    assert sum(e.id.startswith("count.") for e in shown) == 4
    assert "sessions of embolization; immediate complete occlusion by emb" in sentences[1].text
    assert all(s.text.endswith(".") and str(results.one(*pair).n) in s.text
               for s, pair in zip(sentences, summary, strict=True))


def test_the_summary_begins_with_the_harm_of_the_whole_treatment():
    results = work_out(units_of(small_tables()))
    headline = summary_sentences(results)[0]
    assert headline.estimates == (results.one("combined.permanent_deficit_or_death", "patient"),)
    assert headline.text.startswith(
        "A new permanent deficit or death from any treatment phase was there in at least ")


def test_nobody_treated_is_said_as_well():
    sentences = summary_sentences(work_out(units_of({n: t.empty() for n, t in TABLES.items()})))
    assert sentences[1].text.startswith(
        "0 patients with 0 lesions were treated; 0 of them had 0 sessions of embolization")
    assert all(s.text.endswith(".") for s in sentences)
