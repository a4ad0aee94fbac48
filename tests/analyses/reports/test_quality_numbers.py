"""The quality report's numbers, read back from the page and the .docx."""

from __future__ import annotations

import re

import pytest
from meeting_reports import entries_of, quality_folder, service
from report_numbers import all_printed, all_single, docx_texts, html_texts, printed, rebuilt, single

from analyses.documents.quality.quality_work import BEFORE, SINCE, first_change, quality_work
from analyses.documents.report_making import OPERATORS
from analyses.measures.harm import ANY
from analyses.monitoring.project import ProjectProblem, read_project

RATIO = re.compile(r"observed/expected ratio [\d.]+ \([^()]*\)")
IN_WORDS = {"0.30", "0.16", "20", "30", "120", "95", "2.0", "25", "986", "2016", "60", "18", "100"}
"""The default practice limits, interval levels, SQUIRE and its paper, the follow-up horizon."""


@pytest.fixture(scope="module")
def folder():
    return quality_folder()


@pytest.fixture(scope="module")
def estimates(folder):
    return rebuilt(entries_of(folder))


@pytest.fixture(scope="module")
def page(folder):
    return html_texts((folder / "quality-report.html").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def shared(folder):
    return docx_texts(folder / "quality-report-to-share.docx")


def test_every_number_with_its_interval_in_the_paper_is_in_the_results(shared, estimates):
    found = printed(shared)
    assert len(found) >= 10
    assert set(found) <= all_printed(estimates)


def test_every_number_with_its_interval_on_the_page_is_in_the_results(folder, page, estimates):
    named = rebuilt(entries_of(folder, OPERATORS))
    found = printed(page)
    assert len(found) >= 30
    assert set(found) <= all_printed([*estimates, *named])


def test_ratios_of_the_charts_are_those_of_the_results(folder, page, shared, estimates):
    found = {r for text in (*page, *shared) for r in RATIO.findall(text)}
    known = {e.number_text() for e in (*estimates, *rebuilt(entries_of(folder, OPERATORS)))}
    said = {re.sub(r"95 % confidence interval ", "", r).replace(" to ", "–") for r in found}
    assert found
    assert said <= known


def test_every_single_number_of_the_paper_is_in_the_results(shared, estimates):
    text = [t for t in shared if "freeze" not in t]
    counts = single(m for t in text for m in re.findall(
        r"chart of [\d,]+ |no signal in [\d,]+ sessions|Within the practice limits.*", t))
    days = single(d for t in text for d in re.findall(r"\d{4} Q\d|\d{4}-\d\d-\d\d", t))
    rest = single(text) - all_single(estimates) - IN_WORDS - counts - days
    # The numbers not recorded of each limit are counted from the same checks.
    missing = {f"{n:,}" for n in quality_work(service()[0]).process.pareto["missing"]}
    # Captions and pages number themselves.
    assert rest - missing - {str(n) for n in range(10)} == set()


def test_results_hold_every_estimate_of_both_documents(folder):
    from analyses.documents.quality.quality_report import quality_document

    project = read_project(folder / "words.toml")
    work = quality_work(service()[0], project=project)
    known = {(e["id"], e["unit"], str(e["group"])): e
             for e in (*entries_of(folder), *entries_of(folder, OPERATORS))}
    for inside in (True, False):
        shown = quality_document(work, inside=inside).estimates()
        assert len(shown) > 10
        for e in shown:
            record = e.as_record()
            assert known[e.id, e.unit, str(record["group"])] == record


def test_operators_are_in_their_own_file_and_in_no_other(folder):
    assert all("operator" not in (e["group"] or {}) for e in entries_of(folder))
    named = entries_of(folder, OPERATORS)
    assert named and all("operator" in e["group"] for e in named)
    first = (folder / OPERATORS).read_text(encoding="utf-8").splitlines()[1]
    assert "Stays inside" in first


def test_before_and_since_the_change_add_up_to_all_sessions(folder):
    """Counted by hand from the sessions' own dates."""
    results = service()[0]
    project = read_project(folder / "words.toml")
    day = first_change(project.changes).day
    marked = ANY.frame(results.units, "session")
    later = marked["session_date"].dt.date >= day
    shown = next(m for m in quality_work(results, project=project).measures
                 if m.measure.estimate == "complication.any")
    assert (shown.before.events, shown.before.n) == (
        int(marked[~later]["event"].sum()), int((~later).sum()))
    assert (shown.since.events, shown.since.n) == (
        int(marked[later]["event"].sum()), int(later.sum()))
    assert (shown.before.group, shown.since.group) == ({"stage": BEFORE}, {"stage": SINCE})


def test_a_measure_that_names_no_estimate_of_the_report_is_refused_in_words(tmp_path):
    words = tmp_path / "words.toml"
    words.write_text(service()[1].replace('"complication.any"', '"complication.none_such"'),
                     encoding="utf-8")
    with pytest.raises(ProjectProblem, match="complication.none_such.*results.json"):
        quality_work(service()[0], project=read_project(words))
