"""The command line as its three users meet it: one verb a job, plain sentences, exit codes."""

from __future__ import annotations

import shutil
import tomllib
from fnmatch import fnmatch
from importlib.metadata import version
from pathlib import Path

import pandas as pd
import pytest
import typer
from attacker_of_files import single_rows, small_characteristics, small_counts
from registry_sources import clean_registry
from results_checked import checked_file
from small_cohort import small_tables
from typer.testing import CliRunner, Result
from untidy_workbook import mend_workbook, untidy_workbook

from analyses.commands.app import VERBS, app
from analyses.commands.speaking import CallError, Told, spoken
from analyses.commands.who_may_see import OUTPUTS, SERIES, Sight, outputs_of, who_may_see
from analyses.measures.declared import all_measures
from analyses.models.field_uses import field_uses
from registry.intake.workbook_write import fill_workbook
from registry.problems.printed_path import shorter_path
from registry.quality import follow_up_schedule
from registry.quality.dictionary import data_dictionary


def nidusbook(*words: object) -> Result:
    """Run the command and return what it printed and its exit code."""
    return CliRunner().invoke(app, [str(word) for word in words])


def no_traceback(done: Result) -> bool:
    return "Traceback" not in done.output and (
        done.exception is None or isinstance(done.exception, SystemExit))


def test_the_whole_way_from_untidy_workbook_to_report(tmp_path: Path) -> None:
    book, store = tmp_path / "cases.xlsx", tmp_path / "avm.sqlite"
    untidy = untidy_workbook(book, seed=1)
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
    assert made.exit_code == 0 and "Stays inside the service: the freeze" in made.output

    report = nidusbook("report", frozen, "--out", tmp_path / "report")
    assert report.exit_code == 0, report.output
    assert "May leave the service: results.json, *.docx, figures/*, tables/*" in report.output
    assert "results.schema.json (no data)" in report.output
    assert "Stays inside the service: case-series.html, cases.parquet" in report.output
    written = [path.relative_to(tmp_path / "report").as_posix()
               for path in (tmp_path / "report").rglob("*") if path.is_file()]
    named = [output.name for output in outputs_of(SERIES)]
    assert [name for name in written if not any(fnmatch(name, one) for one in named)] == []
    record = checked_file(tmp_path / "report" / "results.json")
    assert record["freeze"]["freeze_hash"] in made.output
    ids = {e["id"] for e in record["estimates"]}
    assert {"obliteration.final_confirmed", "complication.any", "rate.haemorrhage"} <= ids
    assert (tmp_path / "report" / "case-series.html").read_text(encoding="utf-8").count("<table")


@pytest.mark.slow
def test_the_whole_way_to_files_without_small_cells(tmp_path: Path) -> None:
    """Ten patients: workbook, intake, freeze, report; then what the folder tells an attacker."""
    book, store, frozen = (tmp_path / name for name in ("cases.xlsx", "avm.sqlite", "freeze"))
    fill_workbook(book, small_tables())
    assert nidusbook("intake", book, "--registry", store, "--by", "AB").exit_code == 0
    assert nidusbook("freeze", "--registry", store, "--out", frozen).exit_code == 0
    out = tmp_path / "out"
    done = nidusbook("report", frozen, "--out", out, "--small-cells", "hide")
    assert done.exit_code == 0 and "Stays inside" not in done.output, done.output
    assert small_counts(out) == small_characteristics(out) == single_rows(out) == []
    again = nidusbook("report", frozen, "--out", out, "--small-cells", "hide")
    assert again.exit_code == 0, again.output
    (out / "cases.parquet").write_bytes(b"")
    beside = nidusbook("report", frozen, "--out", out, "--small-cells", "hide")
    assert beside.exit_code == 2 and "cases.parquet" in beside.output


def test_a_second_look_at_the_same_file_changes_nothing(tmp_path: Path) -> None:
    from synthetic_cohort import make_cohort

    book, store = tmp_path / "cases.xlsx", tmp_path / "avm.sqlite"
    fill_workbook(book, make_cohort(25, 3).tables)
    nameless = nidusbook("intake", book, "--registry", store)
    assert nameless.exit_code == 0 and "does not say who took this in: add --by" in nameless.output
    before = store.read_bytes()
    named = nidusbook("intake", book, "--registry", store, "--by", "AB")
    assert named.exit_code == 0 and "add --by" not in named.output
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


@pytest.mark.parametrize("ending", [".xlsx", ".csv", ".md"])
def test_the_data_dictionary_is_written_and_never_over_a_file(ending: str, tmp_path: Path) -> None:
    out = tmp_path / f"fields{ending}"
    done = nidusbook("dictionary", "--out", out)
    assert done.exit_code == 0, done.output
    if ending == ".xlsx":
        found = pd.read_excel(out, dtype="string", keep_default_na=False)
        assert found.to_numpy().tolist() == data_dictionary(field_uses()).to_numpy().tolist()
        listed = pd.read_excel(out, sheet_name="Measures", dtype="string", keep_default_na=False)
        assert listed.columns.tolist() == ["Id", "Label", "Definition", "Units", "Fields"]
        assert listed["Id"].tolist() == list(all_measures())
        asked = listed.set_index("Id").loc["complication.any"]
        assert "session" in asked["Units"] and "complications.attribution" in asked["Fields"]
    else:
        text = out.read_text(encoding="utf-8")
        assert "feeding_artery" in text and "Immediate complete occlusion" in text
        assert ("| complication.any | Any complication |" in text) is (ending == ".md")
        assert ("the fields alone" in done.output) is (ending == ".csv")
    again = nidusbook("dictionary", "--out", out)
    assert again.exit_code == 2 and "there already" in again.output and no_traceback(again)


def test_the_changes_of_a_registry_are_listed_once(tmp_path: Path) -> None:
    store = tmp_path / "avm.sqlite"
    clean_registry(store)
    out = tmp_path / "changes.csv"
    done = nidusbook("changes", "--registry", store, "--out", out, "--patient", "N-0001")
    assert done.exit_code == 0 and "Stays inside the service: the list of changes" in done.output
    assert "N-0001, Lesion number 1" in out.read_text(encoding="utf-8")
    again = nidusbook("changes", "--registry", store, "--out", out)
    assert again.exit_code == 2 and "there already" in again.output and no_traceback(again)


def test_the_data_dictionary_has_three_endings(tmp_path: Path) -> None:
    done = nidusbook("dictionary", "--out", tmp_path / "fields.pdf")
    assert done.exit_code == 2 and ".xlsx, .csv or .md" in done.output
    assert not list(tmp_path.iterdir())


def test_check_takes_the_services_own_follow_up_schedule(tmp_path: Path) -> None:
    store, own = tmp_path / "avm.sqlite", tmp_path / "visits.toml"
    clean_registry(store)
    text = Path(follow_up_schedule.__file__).with_suffix(".toml").read_text(encoding="utf-8")
    source = tomllib.loads(text)["source"]
    own.write_text(text.replace(source, "our protocol of 2024"), encoding="utf-8")
    done = nidusbook("check", "--registry", store, "--schedule", own)
    assert "(schedule: our protocol of 2024)" in done.output
    wrong = nidusbook("check", "--registry", store, "--schedule", tmp_path / "none.toml")
    assert wrong.exit_code == 2 and no_traceback(wrong)


def test_the_version_is_that_of_the_distribution() -> None:
    done = nidusbook("--version")
    assert done.exit_code == 0 and done.output == f"nidusbook {version('nidusbook')}\n"


@pytest.mark.parametrize(("words", "line"), [
    (("workbook", "blank.xlsx"), "May leave the service: the blank workbook (no data)."),
    (("dictionary", "--out", "fields.csv"),
     "May leave the service: the data dictionary (no data)."),
    (("plan", "plan.toml"), "May leave the service: the plan (no data)."),
    (("intake", "old.csv", "--mapping", "old.toml", "--draft"),
     "Stays inside the service: the mapping (words of the old spreadsheet); "
     "what is on the screen (study codes)."),
])
def test_a_verb_says_which_of_what_it_made_may_leave_the_service(
    words: tuple[str, ...], line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "old.csv").write_text("Hosp no,Age\n11,34\n12,51\n", encoding="utf-8")
    done = nidusbook(*words)
    assert done.exit_code == 0, done.output
    assert line in done.output.splitlines()


def test_a_verb_without_a_line_in_the_list_does_not_go_unnoticed() -> None:
    with pytest.raises(KeyError, match="cupboard"):
        spoken(lambda: Told("cupboard"))()


def test_a_fault_of_the_call_is_its_sentence_and_exit_code_2(
    capsys: pytest.CaptureFixture[str],
) -> None:
    def wrong() -> Told:
        raise CallError("It needs a path.")

    with pytest.raises(typer.Exit) as left:
        spoken(wrong)()
    assert left.value.exit_code == 2
    assert capsys.readouterr().err == "It needs a path.\n"


def test_the_list_knows_every_verb_and_no_other_job() -> None:
    jobs = {job.split()[0] for output in OUTPUTS for job in output.made_by}
    assert jobs == {verb.__name__ for verb in VERBS} | {"draft"}


def test_each_sort_of_reader_has_one_line() -> None:
    lines = who_may_see("demo")
    assert [line.split(":")[0] for line in lines] == list(Sight)


PLAN = '''code = "HARM-2021"
declared_by = "quality lead"
measure = "complication.any"
baseline_from = 2015-01-01
baseline_to = 2021-01-01
planned_to = 2027-01-01
'''


def test_a_plan_is_declared_once_and_looked_at_again(tmp_path: Path) -> None:
    store, plan = tmp_path / "avm.sqlite", tmp_path / "plan.toml"
    clean_registry(store)
    nothing = nidusbook("monitor", "--registry", store)
    assert nothing.exit_code == 0 and "No monitoring plan is declared" in nothing.output
    plan.write_text(PLAN.replace("complication.any", "catheter.any"), encoding="utf-8")
    wrong = nidusbook("monitor", "--registry", store, "--plan", plan)
    assert wrong.exit_code == 2 and "counted of sessions is wanted" in wrong.output
    plan.write_text(PLAN, encoding="utf-8")
    done = nidusbook("monitor", "--registry", store, "--plan", plan)
    assert done.exit_code == 0 and no_traceback(done)
    assert "Plan HARM-2021 (complication.any" in done.output and "Cannot be told" in done.output
    assert "Stays inside the service" in done.output
    plan.write_text(PLAN.replace("2021-01-01", "2022-01-01"), encoding="utf-8")
    moved = nidusbook("monitor", "--registry", store, "--plan", plan)
    assert moved.exit_code == 2 and "Nothing was written" in moved.output
    assert "HARM-2021" in nidusbook("monitor", "--registry", store).output


def test_a_path_is_printed_as_it_is_shortest_to_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert shorter_path(tmp_path / "nidusbook-demo") == Path("nidusbook-demo")
    assert shorter_path(Path("../demo")) == Path("../demo")
    assert shorter_path(Path("/d")) == Path("/d")
