"""The command line as its three users meet it: one verb a job, plain sentences, exit codes."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from analyses.commands.verbs import app
from registry.intake.workbook_write import fill_workbook
from synthetic_cohort.untidy import mend_workbook, untidy_workbook


def nidusbook(*words: object) -> Result:
    """Run the command and return what it printed and its exit code."""
    return CliRunner().invoke(app, [str(word) for word in words])


def no_traceback(done: Result) -> bool:
    return "Traceback" not in done.output and (
        done.exception is None or isinstance(done.exception, SystemExit))


def test_the_whole_way_from_untidy_workbook_to_report(tmp_path: Path) -> None:
    book, store = tmp_path / "cases.xlsx", tmp_path / "avm.sqlite"
    untidy = untidy_workbook(book, seed=1, fill=fill_workbook)
    assert len(untidy.damages) >= 25

    tried = nidusbook("intake", book, "--registry", store, "--try")
    assert tried.exit_code == 1 and "nothing was written" in tried.output
    assert sorted(p.name for p in tmp_path.iterdir()) == ["cases.xlsx"]

    taken = nidusbook("intake", book, "--registry", store, "--by", "AB")
    assert taken.exit_code == 1 and no_traceback(taken)
    assert (tmp_path / "cases-problems.xlsx").exists()

    corrected = tmp_path / "corrected.xlsx"
    shutil.copy(tmp_path / "cases-to-correct.xlsx", corrected)
    assert mend_workbook(corrected, untidy.damages)
    again = nidusbook("intake", corrected, "--registry", store, "--by", "AB")
    assert again.exit_code == 0, again.output

    held = nidusbook("check", "--registry", store)
    assert held.exit_code == 0 and "Held back by errors: nobody" in held.output

    frozen = tmp_path / "freeze"
    made = nidusbook("freeze", "--registry", store, "--out", frozen)
    assert made.exit_code == 0 and "stays inside the service" in made.output

    report = nidusbook("report", frozen, "--out", tmp_path / "report")
    assert report.exit_code == 0, report.output
    record = json.loads((tmp_path / "report" / "results.json").read_text(encoding="utf-8"))
    assert record["freeze"]["freeze_hash"] in made.output
    ids = {e["id"] for e in record["estimates"]}
    assert {"obliteration.final_confirmed", "complication.any", "rate.haemorrhage"} <= ids
    assert (tmp_path / "report" / "case-series.html").read_text(encoding="utf-8").count("<table")


def test_a_second_look_at_the_same_file_changes_nothing(tmp_path: Path) -> None:
    from synthetic_cohort import make_cohort

    book, store = tmp_path / "cases.xlsx", tmp_path / "avm.sqlite"
    fill_workbook(book, make_cohort(25, 3).tables)
    assert nidusbook("intake", book, "--registry", store).exit_code == 0
    before = store.read_bytes()
    assert nidusbook("intake", book, "--registry", store).exit_code == 0
    assert store.read_bytes() == before


@pytest.mark.parametrize(("words", "sentence"), [
    (("intake", "nothing.xlsx", "--registry", "r.sqlite"), "nothing.xlsx"),
    (("intake", "README", "--registry", "r.sqlite"), "README"),
    (("intake", "x.xlsx"), "--registry"),
    (("intake", "x.xlsx", "--draft"), "--mapping"),
    (("check", "--registry", "missing.sqlite"), "There is no registry"),
    (("freeze", "--registry", "missing.sqlite", "--out", "f"), "There is no registry"),
    (("report", "no-freeze", "--out", "r"), "no-freeze"),
    (("report", "no-freeze", "--out", "r", "--for", "nobody"), "nobody"),
])
def test_a_wrong_call_is_a_sentence_and_exit_code_2(
    words: tuple[str, ...], sentence: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "README").write_text("no workbook")
    before = sorted(p.name for p in tmp_path.iterdir())
    done = nidusbook(*words)
    assert done.exit_code == 2
    assert sentence in done.output and no_traceback(done)
    assert sorted(p.name for p in tmp_path.iterdir()) == before


def test_verify_prints_found_expected_source_and_agreement() -> None:
    done = nidusbook("verify")
    assert done.exit_code == 0, done.output
    for word in ("Newcombe 1998", "Steiner 2000", "common practice,", "agree."):
        assert word in done.output
    assert " NO " not in done.output


def test_the_blank_workbook_is_written_where_asked(tmp_path: Path) -> None:
    done = nidusbook("workbook", tmp_path / "blank.xlsx")
    assert done.exit_code == 0 and (tmp_path / "blank.xlsx").stat().st_size > 10_000
