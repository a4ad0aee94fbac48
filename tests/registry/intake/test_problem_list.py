"""The problems as a table a person can act on."""

from __future__ import annotations

import openpyxl
import pytest

from registry.intake.problem_list import HEADINGS, write_problem_list
from registry.problems.problem import OutputError, Place, Problem

QUERY = Problem("query", "grade", "lesions", "sm_grade_recorded", "N-0001", Place("Lesions", 4),
                "grade 2", "grade 3", "check [the] size")
ERROR = Problem("error", "after death", "patients", None, None, None, "=HYPERLINK(1)", "+1", "@x")


def test_what_must_be_mended_comes_first_and_every_cell_says_where(tmp_path):
    write_problem_list(tmp_path / "problems.xlsx", [QUERY, ERROR])
    rows = list(openpyxl.load_workbook(tmp_path / "problems.xlsx").active.values)
    assert rows[0] == HEADINGS
    assert rows[1][0] == "to be mended" and rows[1][1] == "(in the registry)"
    assert rows[2] == ("please check", "Lesions", 4, "Spetzler–Martin grade, as written",
                       "N-0001", "grade 2", "grade 3", "check [the] size")


def test_no_text_can_act_as_a_formula(tmp_path):
    write_problem_list(tmp_path / "problems.xlsx", [ERROR])
    row = openpyxl.load_workbook(tmp_path / "problems.xlsx").active[2]
    for cell, text in zip(row[5:8], ("=HYPERLINK(1)", "+1", "@x"), strict=True):
        assert cell.value == text and cell.data_type == "s" and cell.quotePrefix


def test_a_folder_that_is_not_there_is_said(tmp_path):
    with pytest.raises(OutputError, match="cannot be written"):
        write_problem_list(tmp_path / "nowhere" / "problems.xlsx", [QUERY])


def test_a_sentence_says_where_what_wanted_and_how_to_mend():
    assert QUERY.sentence() == (
        'Lesions, row 4, column "Spetzler–Martin grade, as written": found grade 2; wanted: '
        "grade 3. Check [the] size."
    )
    assert ERROR.sentence().startswith("Patients, already in the registry: found")
