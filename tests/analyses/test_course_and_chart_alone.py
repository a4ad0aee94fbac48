"""One patient's course on one page, and one chart as a file of its own."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import combinations
from pathlib import Path

import pytest
from monitoring_procedures import procedures
from registry_cases import with_cells
from small_cohort import small_tables

from analyses.cases.patient_course import patient_course
from analyses.documents.quality.single_chart import NoSuchChart, single_chart, words_of
from analyses.figures.course_page import course_page
from analyses.monitoring.monitoring_plan import MonitoringPlan
from analyses.monitoring.service import quality_analysis
from analyses.population.unit_frames import units_of
from analyses.renderers.single_picture import PictureFileError, write_picture
from registry.schema import TABLES

DATED = ("sessions", "resections", "radiosurgeries", "complications", "haemorrhages",
         "follow_ups")


@pytest.fixture(scope="module")
def units():
    return units_of(small_tables())


def texts(figure) -> list[str]:
    return [text.get_text() for text in figure.texts]


@pytest.mark.parametrize("code", ["A-0002", "A-0004", "A-0007"])
def test_every_dated_row_of_the_patient_is_a_line_in_order_of_time(units, code: str) -> None:
    course = patient_course(units, code)
    mine = sum((units.tables[name]["patient_id"] == code).sum() for name in DATED)
    died = units.tables["patients"].set_index("patient_id")["death_date"].notna()[code]
    assert len(course.lines) == mine + died
    days = [line.day for line in course.lines]
    assert days == sorted(days)
    shown = texts(course_page(course, "Today"))
    assert sum(told.startswith("Inside the service only") for told in shown) == 2
    assert all(line.what in [told.replace("\n", " ") for told in shown]
               and line.day.isoformat() in " ".join(shown) for line in course.lines)


def test_an_operation_that_left_a_deficit_is_ringed_and_written_as_harm() -> None:
    tables = small_tables()
    code = tables["resections"]["patient_id"].iloc[0]
    for deficit, harm in (("none", False), ("permanent", True)):
        made = with_cells(tables, "resections", deficit=deficit)
        course = patient_course(units_of(made), code)
        operation = next(line for line in course.lines if line.what.startswith("Resection"))
        label = course_page(course, "Today").get_axes()[0].get_xlabel()
        assert operation.harm is harm and ("ringed: with a new deficit" in label) is harm


@pytest.mark.parametrize("code", ["A-0002", "A-0004"])
def test_no_words_of_a_course_run_into_the_next_column_or_off_the_page(units, code: str) -> None:
    course = patient_course(units, code)
    longest = replace(course.lines[-1], what="Distal arterial occlusion by agent, lesion 2",
                      told="phase embolization; " * 9)
    figure = course_page(replace(course, lines=(*course.lines, longest)), "Today")
    figure.draw_without_rendering()
    (axes,) = figure.get_axes()
    boxes = [text.get_window_extent()
             for text in (*figure.texts, *axes.get_xticklabels()) if text.get_text()]
    assert not [(a, b) for a, b in combinations(boxes, 2) if a.overlaps(b)]
    assert max(box.x1 for box in boxes) <= figure.bbox.x1


def test_a_course_too_long_for_its_page_says_how_many_visits_are_left_out(units) -> None:
    course = patient_course(units, "A-0007")
    visit = next(line for line in course.lines if line.lane == "Follow-up")
    many = (*course.lines, *(replace(visit, day=visit.day + timedelta(days=k))
                             for k in range(1, 200)))
    figure = course_page(replace(course, lines=tuple(sorted(many, key=lambda x: x.day))), "")
    shown = texts(figure)
    listed = sum(told == visit.what for told in shown)
    left_out = next(told for told in shown if "left out" in told)
    assert listed + int(left_out.split()[0]) == sum(line.what == visit.what for line in many)
    lowest = min(text.get_position()[1] for text in figure.texts)
    assert 0 < lowest < 0.03, "nothing runs off the page"


def test_a_try_to_reach_the_patient_stands_in_the_course(units) -> None:
    import pandas as pd

    tries = TABLES["contacts"].typed(pd.DataFrame([{
        "patient_id": "A-0004", "try_no": 1, "contact_date": "2024-02-03", "how": "telephone",
        "result": "no answer"}]))
    course = patient_course(replace(units, tables={**units.tables, "contacts": tries}), "A-0004")
    told = {line.what: line.told for line in course.lines}
    assert told["Try 1"] == "telephone: no answer"


def test_a_chart_alone_carries_its_words_and_overwrites_nothing(tmp_path: Path) -> None:
    plan = MonitoringPlan("HARM-2026", date(2026, 1, 1), "complication.any", date(2019, 1, 1),
                          date(2021, 12, 31), None, 2.0)
    found = quality_analysis(procedures(300, seed=2), baseline_until="2021-12-31")
    picture = single_chart(found, "chart")
    words = words_of(picture, plan)
    assert "shows no signal" in words[0] or "signals at" in words[0]
    assert words[1].startswith("Monitoring plan HARM-2026") and "Inside" in words[-1]
    for format in ("svg", "png"):
        write_picture(picture, tmp_path / f"chart.{format}", words=words)
        content = (tmp_path / f"chart.{format}").read_bytes()
        with pytest.raises(PictureFileError, match="stays as it is"):
            write_picture(picture, tmp_path / f"chart.{format}", words=words)
        assert (tmp_path / f"chart.{format}").read_bytes() == content
    with pytest.raises(NoSuchChart, match="there are: chart, cusum, "):
        single_chart(found, "pie")
