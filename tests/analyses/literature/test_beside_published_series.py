"""Sections that set our rates beside published ones: what is pooled, said, drawn, and kept."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from small_cohort import small_tables

from analyses.content.blocks import Document, Picture, Points, Sentence, Table
from analyses.documents.notebook_show import show
from analyses.documents.series.literature_beside import literature_sections
from analyses.documents.series.literature_section import (
    literature_methods,
    literature_results,
    literature_supplement,
)
from analyses.documents.series.references import references_section
from analyses.literature.comparison import NEEDED_TOPICS, beside_literature
from analyses.literature.published import read_series
from analyses.measures.declared import label_of
from analyses.measures.results import work_out_topics
from analyses.population.unit_frames import units_of
from analyses.statistics.pooling.pooled_proportion import pool_proportions
from analyses.statistics.proportions.clustered import clustered_proportion

MANIFEST = {"date": "2022-06-01", "purpose": "quality", "freeze_hash": "0" * 64, "left_out": {}}
HEAD = "id,authors,year,journal,identifier,unit,measure,events,total,agent_group,as_printed,seen"
FIVE = ((6, 80), (4, 120), (0, 30), (12, 95), (9, 210))
SESSION = "haemorrhagic complication"


@pytest.fixture(scope="module")
def results():
    """The ten patients by hand, with sessions that repeat within patients in one estimate."""
    found = work_out_topics(NEEDED_TOPICS, units_of(small_tables(), manifest=MANIFEST))
    own = clustered_proportion(
        [1, 1, 1, 0, 0, 0] + [0] * 114, [p // 3 for p in range(120)],
        id="complication.haemorrhagic", unit="session")
    others = tuple(e for e in found.estimates
                   if (e.id, e.unit, e.group) != (own.id, own.unit, None))
    return replace(found, estimates=(*others, own))


@pytest.fixture(scope="module")
def lines(tmp_path_factory):
    """A service's own table: five series of one thing, one of another."""
    path = tmp_path_factory.mktemp("series") / "own.csv"
    rows = [f"s{i},Series {i},2010,Journal,doi:{i},session,{SESSION},{y},{n},EVOH,,abstract"
            for i, (y, n) in enumerate(FIVE)]
    rows.append("x,Other,2011,Journal,doi:x,session,any complication,3,50,EVOH,,abstract")
    path.write_text("\n".join([HEAD, *rows]) + "\n", encoding="utf-8")
    return read_series(path)


@pytest.fixture(scope="module")
def literature(results, lines):
    return beside_literature(results, lines)


@pytest.fixture(scope="module")
def five(literature):
    return next(c for c in literature.comparisons if c.one.id == "complication.haemorrhagic")


def texts(sections):
    return re.sub(r"\s+", " ", str(show(list(sections))))


def test_the_five_are_pooled_as_by_hand(five):
    alone = pool_proportions(*zip(*FIVE, strict=True))
    assert five.is_pooled and len(five.alike) == 5
    assert (five.pooled.estimate.value, five.pooled.prediction.high) == (
        alone.estimate.value, alone.prediction.high)


def test_our_sessions_stand_among_them_at_their_effective_number(five):
    assert five.own.effective_n < five.own.n
    assert five.place.total == five.own.effective_n
    assert "because patients repeat" in five.place.words


def test_one_line_alone_is_shown_and_not_pooled(results, lines):
    section = literature_sections(results, lines)[0]
    text = texts([section])
    assert "nothing is pooled" in text and "3/50" in text and "typical" not in text.lower()


def test_two_lines_are_shown_and_not_pooled(results, lines):
    two = [line for line in lines if line.id in ("s0", "s1")]
    text = texts(literature_sections(results, two))
    assert "Two series cannot tell how much series differ" in text
    assert "6/80" in text and "4/120" in text and "prediction interval)" not in text


def test_a_measure_without_a_line_says_so(results, lines):
    assert "No published line of the table counts this" in texts(
        literature_sections(results, lines))


def test_the_text_gives_no_verdict_no_rank_and_no_p_value(results, lines):
    text = texts(literature_sections(results, lines))
    assert not re.search(r"\b[Pp] ?[=<]|significant(ly)? (better|worse|different)|outperform", text)
    assert "neither a verdict nor a rank" in text


def test_every_number_shown_is_among_the_estimates_of_the_comparison(results, lines, literature):
    shown = Document("d", "D", "", literature_sections(results, lines)).estimates()
    known = {(e.id, e.unit) for e in (*literature.estimates, *results.estimates)}
    assert {(e.id, e.unit) for e in shown} <= known


def test_every_estimate_has_words_and_none_stands_twice(literature):
    names = [(e.id, e.unit) for e in literature.estimates]
    assert len(names) == len(set(names))
    for e in literature.estimates:
        if not e.id.startswith("published."):
            assert label_of(e) != e.id


@pytest.mark.parametrize("width", [3.35, 6.5])
def test_figures_draw_every_pooled_series_and_this_service(results, lines, width):
    section = next(s for s in literature_sections(results, lines)
                   if s.title == "Haemorrhagic complication, per session")
    plain, funnel = (b for b in section.blocks if isinstance(b, Picture))
    assert "5 of them pooled" in plain.caption and len(plain.draw(width).axes[0].lines) == 16
    axes = funnel.draw(width).axes[0]
    said = " ".join(text.get_text() for text in axes.texts)
    assert all(f"Series {i} 2010: {y}/{n}" in said for i, (y, n) in enumerate(FIVE))
    legend = " ".join(axes.get_legend_handles_labels()[1])
    assert "this service" in legend and "independent units" in legend


def test_the_manuscript_says_it_shortly_and_shows_it_in_the_supplement(literature, five):
    (part,) = literature_results(literature)
    text = texts([part])
    assert five.own.number_text() in text and "3/50" in text and five.place.words in text
    (more,) = literature_supplement(literature)
    table = next(b for b in more.blocks if isinstance(b, Table))
    ours = [row for row in table.rows if row[1].text == "This service"]
    assert len(ours) == len(literature.comparisons)
    assert [c.estimate for row in table.rows for c in row if c.estimate == five.pooled.prediction]
    assert more.supplement and more.level == 2


def test_the_works_it_rests_on_are_cited(literature):
    (cited,) = references_section(literature_methods(literature)).blocks
    assert isinstance(cited, Points)
    for name in ("Higgins", "Röver", "Stijnen"):
        assert any(isinstance(w, Sentence) and w.text.startswith(name) for w in cited.items)


def test_without_any_published_line_the_manuscript_is_silent(results):
    nothing = beside_literature(results, ())
    assert not literature_results(nothing) and not literature_supplement(nothing)
    assert not literature_methods(nothing) and nothing.estimates == ()


def test_a_faulty_table_stops_a_report_in_a_sentence_before_anything_is_worked_out(tmp_path):
    from typer.testing import CliRunner

    from analyses.commands.app import app

    (tmp_path / "own.csv").write_text("id,authors\na,b\n", encoding="utf-8")
    done = CliRunner().invoke(app, ["report", str(tmp_path / "no-freeze"), "--out",
                                    str(tmp_path / "out"), "--published",
                                    str(tmp_path / "own.csv")])
    assert done.exit_code == 2 and "lacks the columns" in done.output
    assert not (tmp_path / "out").exists()
