"""Sections that set our rates beside published ones: what is pooled, said, drawn, and kept."""

from __future__ import annotations

import re
from dataclasses import replace

import pandas as pd
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
from analyses.measures.counting import share
from analyses.measures.declared import label_of
from analyses.measures.gate import Known
from analyses.measures.results import work_out_topics
from analyses.population.unit_frames import units_of
from analyses.statistics.pooling.pooled_proportion import pool_proportions
from analyses.statistics.proportions.clustered import clustered_proportion

MANIFEST = {"date": "2022-06-01", "purpose": "quality", "freeze_hash": "0" * 64, "left_out": {}}
HEAD = "id,authors,year,journal,identifier,unit,code,events,total,agent_group,as_printed,seen"
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
    assert five.is_pooled and len(five.recent) == 5
    assert (five.pooled.estimate.value, five.pooled.prediction.high) == (
        alone.estimate.value, alone.prediction.high)


def test_four_series_are_shown_with_the_reason_and_neither_pooled_nor_placed(results, lines):
    """The floor is five series of the last 15 years (`analysis-plan.md`, Literature)."""
    four = [line for line in lines if line.id != "s4"]
    found = beside_literature(results, four)
    one = next(c for c in found.comparisons if c.one.id == "complication.haemorrhagic")
    assert one.pooled is None and one.place is None
    assert {e.id for e in one.estimates} == {f"published.s{i}" for i in range(4)}
    text = texts(literature_sections(results, four))
    assert "4 series of the last 15 years before the freeze print a count" in text
    assert "fewer than 5" in text and "given no place" in text
    assert all(f"{y}/{n}" in text for y, n in FIVE[:4])
    assert "typical" not in text.lower() and "prediction" not in text


def test_an_old_fifth_series_does_not_make_a_pool(results, lines):
    """Published 16 years before the freeze of 2022; 15 years before, it counts."""
    def with_year(year):
        aged = [replace(line, year=year) if line.id == "s4" else line for line in lines]
        return next(c for c in beside_literature(results, aged).comparisons
                    if c.one.id == "complication.haemorrhagic")

    assert with_year(2007).is_pooled and not with_year(2006).is_pooled
    assert len(with_year(2006).lines) == 5, "it is shown all the same"


def test_years_are_counted_from_the_freeze_and_not_from_today(results, lines):
    later = replace(results, units=replace(
        results.units, manifest={**results.units.manifest, "date": "2030-01-01"}))
    one = next(c for c in beside_literature(later, lines).comparisons
               if c.one.id == "complication.haemorrhagic")
    assert not one.is_pooled and one.series == 0


def test_five_parts_of_one_paper_are_one_series(results, lines):
    split = [replace(line, cohort="one paper", subgroup=f"grade {i}")
             for i, line in enumerate(lines) if line.code == SESSION]
    (one,) = beside_literature(results, split).comparisons
    assert len(one.recent) == 5 and one.series == 1 and not one.is_pooled


def test_bounds_have_neither_place_nor_funnel_nor_point(results, lines):
    """Where the gate refuses a point: the lines are pooled, this service is not drawn."""
    own = results.one("complication.haemorrhagic", "session")
    rows = pd.DataFrame({"event": pd.array([True, False, False, None] * 10, dtype="boolean"),
                         "patient_id": list("abcd") * 10, "key": [str(i) for i in range(40)]})
    bounds = share(rows, "event", id=own.id, unit=own.unit, known=Known.ONLY_WITH_AN_EVENT)
    assert bounds.kind == "bounds"
    others = tuple(e for e in results.estimates if e is not own)
    held = replace(results, estimates=(*others, bounds))
    found = next(c for c in beside_literature(held, lines).comparisons
                 if c.one.id == "complication.haemorrhagic")
    assert found.is_pooled and found.place.prediction is None
    section = next(s for s in literature_sections(held, lines)
                   if s.title == "Haemorrhagic complication, per session")
    assert not [b for b in section.blocks if isinstance(b, Picture)]
    assert "has no place among published series" in texts([section])
    (part,) = literature_results(beside_literature(held, lines))
    assert "has no place among published series" in texts([part])


def test_our_sessions_stand_in_the_funnel_at_their_effective_number(results, lines, five):
    assert five.own.effective_n < five.own.n
    section = next(s for s in literature_sections(results, lines)
                   if s.title == "Haemorrhagic complication, per session")
    _, funnel = (b for b in section.blocks if isinstance(b, Picture))
    assert (f"worth {round(five.own.effective_n)} independent ones because patients repeat"
            in funnel.caption)


def test_one_line_alone_is_shown_and_not_pooled(results, lines):
    section = next(s for s in literature_sections(results, lines)
                   if s.title == "Any complication, per session")
    text = texts([section])
    assert "nothing is pooled" in text and "3/50" in text and "typical" not in text.lower()
    assert "One series of the last 15 years before the freeze prints a count" in text


def test_measures_without_a_line_are_named(results, lines):
    text = texts(literature_sections(results, lines))
    assert "No published line of the table counts the same thing in the same unit as" in text
    assert "Permanent deficit or death from embolization, per patient" in text


def test_the_text_gives_no_verdict_no_rank_and_no_p_value(results, lines):
    text = texts(literature_sections(results, lines))
    assert not re.search(r"\b[Pp] ?[=<]|significant(ly)? (better|worse|different)|outperform", text)
    assert "neither a standard nor a ranking" in text
    assert "middle half" not in text and "of 100 such series" not in text


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


def test_the_works_it_rests_on_are_cited(literature, results, lines):
    (cited,) = references_section(literature_methods(literature)).blocks
    assert isinstance(cited, Points)
    for name in ("Higgins", "Röver", "Stijnen"):
        assert any(isinstance(w, Sentence) and w.text.startswith(name) for w in cited.items)
    few = beside_literature(results, lines[:2])
    assert "nothing is pooled" in texts(literature_methods(few))
    assert not references_section(literature_methods(few)).blocks[0].items


def test_references_carry_every_series_named_in_the_manuscript(results):
    """By authors, journal and year: no title, so that no brand in a title is printed."""
    literature = beside_literature(results)
    sections = [*literature_results(literature), *literature_supplement(literature)]
    (cited,) = references_section(sections, literature.lines).blocks
    said = [item.text for item in cited.items]
    for line in literature.lines:
        assert f"{line.authors}. {line.journal}, {line.year}. {line.identifier}." in said
    assert len(said) == len({line.identifier for line in literature.lines})
    only = references_section(literature_results(literature), literature.lines).blocks[0]
    assert not any("Morgan" in item.text for item in only.items), "not named in the main part"


def test_the_manuscript_shows_the_packages_lines_and_claims_nothing(results):
    """Version 1: "this service lies in the middle half of what such series would show"."""
    literature = beside_literature(results)
    text = texts([*literature_methods(literature), *literature_results(literature),
                  *literature_supplement(literature)])
    assert "No measure has so many: nothing is pooled" in text
    for said in ("23/130", "29/377", "26/339", "11 % (count not printed) in Taylor et al 2004",
                 "92/846", "27/84"):
        assert said in text, said
    for banned in ("middle half", "outside the range", "as high a proportion", "typical series"):
        assert banned not in text.lower()


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
