"""Every number of the case series is read back from its files and found in results.json."""

from __future__ import annotations

import re

import pytest
from report_numbers import all_printed, all_single, docx_texts, html_texts, printed, rebuilt, single

from analyses.documents.series.references import WORKS
from analyses.documents.series.series_report import manuscript_document, series_work
from analyses.measures.results import work_out
from analyses.population.unit_frames import units_of
from analyses.renderers.html_page import page
from registry.schema import TABLES

FIXED = {"365.25"}
"""Numbers of the methods: days in a year."""


@pytest.fixture(scope="module")
def estimates(series):
    return rebuilt(series.entries)


@pytest.fixture(scope="module")
def of_the_words() -> set[str]:
    """Numbers that stand in the text whatever the data: those of a service without patients."""
    nobody = series_work(work_out(units_of(
        {n: t.empty() for n, t in TABLES.items()}, manifest={"date": "2024-06-01"})))
    return single([*html_texts(page(manuscript_document(nobody))), *(work for *_, work in WORKS)])


@pytest.fixture(scope="module")
def of_the_freeze(series) -> set[str]:
    """Days, versions and counts that stand in the freeze's own manifest."""
    return single(re.findall(r"[\d.]+", str(series.work.results.manifest)))


def without_operators(text: str) -> str:
    """The page without what is for the service's own eyes, which results.json does not hold."""
    return re.sub(r'<section id="by-operator-code".*?</section>', "", text, flags=re.DOTALL)


def test_every_number_with_its_interval_in_the_manuscript_is_in_the_results(series, estimates):
    found = printed(docx_texts(series.docx))
    assert len(found) > 500
    assert set(found) <= all_printed(estimates)


def test_every_number_with_its_interval_on_the_page_is_in_the_results(series, estimates):
    found = printed(html_texts(without_operators(series.page)))
    assert len(found) > 500
    assert set(found) <= all_printed(estimates)


def test_every_single_number_of_the_manuscript_is_in_the_results(
    series, estimates, of_the_words, of_the_freeze,
):
    found = single(docx_texts(series.docx))
    assert len(found) > 500
    assert found - all_single(estimates) - of_the_words - of_the_freeze - FIXED == set()


def test_every_single_number_of_the_page_is_in_the_results(
    series, estimates, of_the_words, of_the_freeze,
):
    """Study codes aside; small cells that results.json holds back are compared before that."""
    held_back = [e for e in series.work.results.estimates if e.id.startswith("baseline.")]
    texts = [re.sub(r"L-\d{4}(?:/\d+)*", "", text)
             for text in html_texts(without_operators(series.page))]
    known = all_single([*estimates, *(b for e in held_back for b in (e, *e.beside))])
    assert single(texts) - known - of_the_words - of_the_freeze - FIXED == set()


def test_the_twins_say_the_same(series):
    """What the manuscript prints with an interval, the page prints as well."""
    page_numbers = set(printed(html_texts(series.page)))
    assert set(printed(docx_texts(series.docx))) <= page_numbers


def test_results_hold_every_estimate_once(series):
    names = [(e["id"], e["unit"], tuple(sorted((e["group"] or {}).items())))
             for e in series.entries]
    assert len(names) == len(set(names))


def test_a_changed_number_would_be_noticed(series, estimates):
    """The check itself: a number that is off by one in its last digit is not in the results."""
    known = all_printed(estimates)
    first = next(text for text in printed(docx_texts(series.docx)) if "." in text)
    digit = first.index(".") + 1
    wrong = first[:digit] + str((int(first[digit]) + 1) % 10) + first[digit + 1:]
    assert first in known and wrong not in known


def test_the_manuscript_sets_published_lines_beside_it_and_claims_no_place(series):
    """Version 1 wrote "this service lies in the middle half", and listed no series it named."""
    text = " ".join(docx_texts(series.docx))
    assert "nothing is pooled and this service is given no place" in text
    assert "middle half" not in text and "outside the range of 95 of 100" not in text
    for listed in ("Taylor et al. J Neurosurg, 2004.", "Pan et al. AJNR 35:354, 2014.",
                   "Raymond et al. J Neurosurg 138:1393, 2023."):
        assert listed in text, listed
