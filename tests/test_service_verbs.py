"""The verbs of the conference and of the coordinator, from the command line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from registry_cases import clean_tables, frame
from registry_sources import batch
from typer.testing import CliRunner

from analyses.commands.app import app
from registry.freeze.freeze_writing import make_freeze
from registry.privacy.study_codes import StudyCodes
from registry.store.registry import open_registry


def run(*arguments: object) -> Any:
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A registry of one patient, whose operation left a deficit that is no complication row."""
    tables = clean_tables()
    tables["resections"] = tables["resections"].assign(deficit="permanent")
    tables["conference_reviews"] = frame("conference_reviews", [{
        "patient_id": "N-0001", "review_no": 1, "conference_date": "2021-06-01", "lesion_no": 1,
        "event_of": "complication", "event_no": 1}])
    tables["actions"] = frame("actions", [{
        "action_no": 1, "decided_on": "2021-04-01", "action": "Agree on a reflux limit.",
        "responsible": "nurse", "due_date": "2021-09-01", "measure": "complication.any",
        "measure_unit": "session", "state": "open"}])
    open_registry(tmp_path / "registry.sqlite").take_in(batch(tables))
    return tmp_path / "registry.sqlite"


def test_cases_of_a_registry_and_of_its_freeze_are_the_same(place, tmp_path):
    made = make_freeze(open_registry(place), tmp_path / "freeze", purpose="quality")
    of_registry, of_freeze = run("cases", "--registry", place), run("cases", made)
    assert of_registry.exit_code == 0 and of_registry.output == of_freeze.output
    lines = of_registry.output.splitlines()
    assert lines[0].startswith("2021-04-25  N-0001  event 2: new deficit after the operation")
    assert "not discussed yet" in lines[0] and "discussed on 2021-06-01" in lines[1]
    assert "takes N-0001, the gravest" in lines[2] and "Stays inside the service" in lines[4]
    assert lines[3].startswith(
        "Open action 1, decided on 2021-04-01, due 2021-09-01 (nurse): Agree")
    assert "before: 1/1" in lines[3] and "since: 0/1" in lines[3]


def test_cases_are_narrowed_and_the_call_is_checked(place):
    only = run("cases", "--registry", place, "--not-discussed", "--phase", "resection")
    assert only.output.count("N-0001  event") == 1 and "new deficit" in only.output
    assert run("cases").exit_code == 2
    assert run("cases", place, "--registry", place).exit_code == 2


def test_the_course_of_a_patient_is_written_once_on_one_page(place, tmp_path):
    out = tmp_path / "course.pdf"
    done = run("cases", "--registry", place, "--case", "N-0001", "--out", out)
    assert done.exit_code == 0 and "Course of N-0001" in done.output
    assert "Stays inside the service: the course of a patient" in done.output
    content = out.read_bytes()
    assert content.count(b"/Type /Page\n") + content.count(b"/Type /Page ") == 1
    assert b"/MediaBox [ 0 0 595" in content, "A4"
    again = run("cases", "--registry", place, "--case", "N-0001", "--out", out)
    assert again.exit_code == 2 and "stays as it is" in again.stderr
    assert out.read_bytes() == content
    for wrong, said in ((("--case", "N-0001"), "go together"),
                        (("--case", "N-0009", "--out", tmp_path / "x.pdf"), "no patient N-0009"),
                        (("--case", "N-0001", "--out", tmp_path / "x.doc"), "name that ends so"),
                        (("--case", "N-0001", "--out", tmp_path / "no" / "x.pdf"), "cannot be")):
        refused = run("cases", "--registry", place, *wrong)
        assert refused.exit_code == 2 and said in refused.stderr, wrong
    assert [path.name for path in tmp_path.iterdir() if "x." in path.name] == []


def test_a_chart_needs_its_file_and_a_plan(place, tmp_path):
    assert "go together" in run("monitor", "--registry", place, "--chart", "cusum").stderr
    none = run("monitor", "--registry", place, "--chart", "cusum", "--out", tmp_path / "c.png")
    assert none.exit_code == 2 and "no plan is declared" in none.stderr


def test_from_the_services_number_to_the_code_and_back(tmp_path):
    key = tmp_path / "service.key"
    codes = StudyCodes(key, "N")
    code = codes.code("0012345678")
    codes.save()
    before = sorted(path.name for path in tmp_path.iterdir())
    assert code in run("cases", "--number", "12345678", "--key", key).output
    numbers = tmp_path / "numbers.txt"
    numbers.write_text("777\n12345678\n")
    back = run("cases", "--code", code, "--key", key, "--numbers", numbers)
    assert back.exit_code == 0 and "12345678" in back.output and "Stays inside" in back.output
    assert sorted(p.name for p in tmp_path.iterdir() if p != numbers) == before
    unknown = run("cases", "--number", "999", "--key", key)
    assert unknown.exit_code == 2 and "no study code" in unknown.stderr
    numbers.write_text("777\n")
    assert run("cases", "--code", code, "--key", key, "--numbers", numbers).exit_code == 2
    assert run("cases", "--code", code, "--key", tmp_path / "none").exit_code == 2


def test_the_follow_up_list_is_written_once_and_said(place, tmp_path):
    out = tmp_path / "list.xlsx"
    done = run("follow-up", "--registry", place, "--out", out)
    assert done.exit_code == 0 and out.exists()
    assert "1 patient due" in done.output and "the follow-up list (study codes)" in done.output
    again = run("follow-up", "--registry", place, "--out", out)
    assert again.exit_code == 2 and "it was left as it is" in again.stderr
