"""Small cells hidden in every file of a report: what an attacker with the folder can work out."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from attacker_of_files import grids, single_rows, small_characteristics, small_counts
from results_checked import checked_file
from study_of_ten import study_of_ten

from analyses.commands.who_may_see import SERIES_HIDDEN, Sight, outputs_of
from analyses.documents.report_making import (
    Wish,
    hidden_quality_files,
    hidden_series_files,
    refuse_other_files,
)
from analyses.renderers.report_folder import ReportError, text_writer, write_folder
from analyses.renderers.table_files import table_writers
from analyses.study.study_errors import StudyError


@pytest.fixture(scope="module")
def hidden(series: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("hidden") / "report"
    files, first = hidden_series_files(
        series.work.results, Wish(small_cells="hide"), lambda *words: None)
    assert first in files
    write_folder(folder, files)
    return folder


@pytest.fixture(scope="module")
def ordinary(series: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The files of an ordinary report, so that the attacker can be seen to find something."""
    folder = tmp_path_factory.mktemp("ordinary") / "report"
    write_folder(folder, {
        "results.json": text_writer(series.results_json),
        "case-series.html": text_writer(series.page),
        **table_writers(series.outside)})
    shutil.copy(series.docx, folder / "case-series.docx")
    return folder


def test_the_attacker_gets_small_counts_from_every_kind_of_file(ordinary: Path) -> None:
    """So that the check below can fail."""
    found = small_counts(ordinary)
    for sort in ("results.json", "tables/baseline.csv", "tables/tables.xlsx",
                 "tables/complications-by-sm_grade.csv", "case-series.docx", "case-series.html"):
        assert any(line.startswith(sort) for line in found), sort
    table_1 = [line for line in found if line.startswith("tables/baseline.csv")]
    for how in ("missing", "not recorded", "with it"):
        assert any(how in line for line in table_1), how
    assert any("in the group that is not told" in line for line in found)
    assert small_characteristics(ordinary)
    rows = single_rows(ordinary)
    assert any("Patient 1, event 1" in line for line in rows)
    assert any("study code" in line for line in rows) and any("smallest" in line for line in rows)


def test_where_small_cells_are_hidden_the_attacker_gets_none(hidden: Path) -> None:
    assert small_counts(hidden) == []
    assert small_characteristics(hidden) == []
    assert single_rows(hidden) == []


def test_every_file_may_leave(hidden: Path) -> None:
    assert {output.sight for output in outputs_of(SERIES_HIDDEN)} == {Sight.LEAVES}
    names = {path.name for path in hidden.iterdir()}
    assert "case-series-to-share.html" in names and "case-series-to-share.docx" in names
    assert not names & {"cases.parquet", "case-series.html"}
    assert "Stays inside" not in (hidden / "case-series-to-share.html").read_text(encoding="utf-8")


def test_harm_overall_stands_in_every_file(hidden: Path, series: Any) -> None:
    found = series.work.results.one("complication.any", "session")
    said = f"{found.events}/{found.n} ("
    held = {grid.file.split(" ")[0] for grid in grids(hidden)
            for row in grid.rows if any(said in cell for cell in row)}
    assert {"tables/complications-summary.csv", "tables/tables.xlsx", "case-series-to-share.docx",
            "case-series-to-share.html"} <= held
    entries = checked_file(hidden / "results.json")["estimates"]
    assert any(e["id"] == "complication.any" and e["events"] == found.events for e in entries)


def test_the_paper_says_what_is_hidden_and_refers_to_nothing_that_is_gone(hidden: Path) -> None:
    text = (hidden / "case-series-to-share.html").read_text(encoding="utf-8")
    assert "published as data" in text and "Left out for everybody" in text
    assert "P values" not in text and "Differences of two proportions" not in text
    assert not re.search(r"@[a-z]+-", text)
    record = checked_file(hidden / "results.json")["small_cells"]
    assert record["smallest_shown"] == 5 and "ruptured" in record["groupings"]


def test_an_ordinary_report_hides_nothing(ordinary: Path) -> None:
    record = json.loads((ordinary / "results.json").read_text(encoding="utf-8"))
    assert "small_cells" not in record
    assert "suppressed" not in {e["kind"] for e in record["estimates"]}
    cells = [cell for grid in grids(ordinary) for row in grid.rows for cell in row]
    assert "not shown" not in cells


def test_the_quality_report_to_share_tells_no_small_count(
    series: Any, tmp_path: Path,
) -> None:
    files, _ = hidden_quality_files(
        series.work.results, Wish(small_cells="hide"), lambda *words: None)
    write_folder(tmp_path / "quality", files)
    assert small_counts(tmp_path / "quality") == [] == single_rows(tmp_path / "quality")
    assert {path.name for path in (tmp_path / "quality").iterdir()} == {
        "quality-report-to-share.docx", "results.json", "results.schema.json", ".written.json"}


# What is refused ---------------------------------------------------------------------------------

@pytest.mark.parametrize(("also", "sentence"), [
    ({"audience": "conference"}, "it is about one patient"),
    ({"plan": "plan.toml"}, "it compares groups"),
    ({"small_cells": "mask"}, "give --small-cells show or --small-cells hide"),
])
def test_hiding_is_refused_in_a_sentence(
    also: dict[str, str], sentence: str, tmp_path: Path,
) -> None:
    with pytest.raises(ReportError, match=sentence):
        study_of_ten().report(tmp_path / "out", **{"small_cells": "hide", **also})
    assert not (tmp_path / "out").exists()


def test_a_frame_of_rows_cannot_be_hidden(tmp_path: Path) -> None:
    with pytest.raises(StudyError, match="a row for each unit"):
        study_of_ten().export(tmp_path / "s.csv", unit="session", small_cells="hide")
    assert not (tmp_path / "s.csv").exists()


def test_a_folder_with_other_files_is_refused(tmp_path: Path) -> None:
    (tmp_path / "results.json").write_text("{}")
    (tmp_path / ".written.json").write_text("{}")
    refuse_other_files(tmp_path, ["results.json"])
    (tmp_path / "cases.parquet").write_bytes(b"")
    with pytest.raises(ReportError, match=r"cases\.parquet.*Give another --out"):
        refuse_other_files(tmp_path, ["results.json"])
